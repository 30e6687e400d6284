"""`kerfcall init`: a shop file from a few questions, or a commented example to start from. Never overwrites a file."""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

from assistant.asking import agreed
from assistant.errors import BadInput, CouldNotRun, Fault, NoSuchPart
from assistant.health import with_tilde
from assistant.plans.document import cleaned
from assistant.plans.examples import SHOPS, example_plans, examples_folder
from assistant.plans.new_file import refuse_existing, write_new_file
from assistant.plans.new_shop import NO, NO_PEDAL, Answers, faults_of, missing, shop_text, with_usual
from assistant.plans.new_shop_questions import CHOICES, ask_all
from assistant.plans.reader import nearest
from assistant.plans.shop_file import default_shop_path

WAIT_S = 30.0  # for the pedal
ANSWERS = tuple(field.name for field in fields(Answers))


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to write; what to copy; every answer as an option."""
    where = "the file to write (default: your own shop.toml; with --plan: NAME.toml in this folder)"
    parser.add_argument("--to", type=Path, metavar="FILE", help=where)
    parser.add_argument("--yes", action="store_true", help="ask nothing and write at once")
    copies = parser.add_argument_group("copy a commented example instead of answering questions")
    copies.add_argument("--copy", choices=tuple(SHOPS), help="a shop file for this kind of carriage")
    plan = copies.add_argument("--plan", metavar="NAME", help=f"a plan: {', '.join(example_plans())}")
    # argcomplete looks for this attribute.
    plan.completer = lambda **_: list(example_plans())  # type: ignore[attr-defined]
    answers = parser.add_argument_group("answers; at a terminal you are asked for the rest")
    answers.add_argument("--unit", choices=CHOICES["unit"], help="the unit of lengths given without one (default: mm)")
    carriage = "how you set the carriage (default: readout)"
    answers.add_argument("--carriage", choices=CHOICES["carriage"], help=carriage)
    smallest = "readout: the smallest step it shows (default: 0.01 mm or 0.001 in)"
    answers.add_argument("--resolution", metavar="LENGTH", help=smallest)
    answers.add_argument("--pitch", metavar="LENGTH", help="handwheel: how far one turn moves the carriage")
    answers.add_argument("--threads-per-inch", metavar="N", help="handwheel: the screw's threads, instead of --pitch")
    answers.add_argument("--divisions", metavar="N", help="handwheel: the marks around it")
    answers.add_argument("--steps-per-mm", metavar="N", help="steps: how many steps move the carriage one millimetre")
    stop = "where the stop is as you stand at the saw (default: left)"
    answers.add_argument("--stop-side", choices=CHOICES["stop_side"], help=stop)
    zero = (
        "outside: at zero the reference edge touches the side of the blade (default); inside: it is level with the "
        "far side"
    )
    answers.add_argument("--zero", choices=CHOICES["zero"], help=zero)
    key = f"the key that the pedal sends, or {NO_PEDAL} (default: page_down); `kerfcall ready --pedal` names it"
    answers.add_argument("--pedal-key", metavar="KEY", help=key)
    answers.add_argument("--pedal-device", metavar="DEVICE", help="the pedal's own device, as `ready --pedal` names it")
    answers.add_argument("--kerf", metavar="LENGTH", help="the width that the blade really cuts, measured")
    printed = "the width printed on the blade, where the kerf is not measured yet: marked as not calibrated"
    answers.add_argument("--kerf-printed", metavar="LENGTH", help=printed)
    answers.add_argument("--voice", choices=CHOICES["voice"], help="whether you want to hear and speak (default: yes)")


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 1 where it was not confirmed, and so nothing was written; raises BadInput with every fault."""
    given = Answers(**{name: _typed(getattr(args, name)) for name in ANSWERS})
    if args.copy is not None or args.plan is not None:
        return _copy(args, given)
    path = args.to or default_shop_path()
    faults = [*_contradictions(given), *refuse_existing(path, "--to")]
    faults += [_of_option(name, fault) for name, fault in faults_of(given).items()]
    asking = not args.yes and sys.stdin is not None and sys.stdin.isatty()
    if not asking:
        faults += [_missing(name) for name in missing(with_usual(given))]
    if faults:
        raise BadInput(faults)
    answers = with_usual(given)
    if asking:
        try:
            answers = with_usual(ask_all(given, input, print, _pressed_key))
        except EOFError:
            print("\nNothing was written.")
            return 1
        except KeyboardInterrupt as stop:
            raise KeyboardInterrupt("nothing was written") from stop
    text = shop_text(answers)
    shown = with_tilde(path)
    if not args.yes:
        print(f"\n{shown}:\n\n{text}")
        if not (asking and agreed(input, print, "Write this?")):
            print("Nothing was written. This command writes it without questions; change what you need:")
            print(f"  {_again(answers, args.to)}")
            return 1
    _write(path, text)
    print(f"Written: {shown}")
    print("\n".join(_next_steps(answers, args.to)))
    return 0


def _again(answers: Answers, to: Path | None) -> str:
    """The command line that gives the same answers again, and writes."""
    words = ["kerfcall", "init", *([] if to is None else ["--to", str(to)])]
    for name in ANSWERS:
        if getattr(answers, name):
            words += [_option(name), getattr(answers, name)]
    return shlex.join([*words, "--yes"])


def _typed(text: str | None) -> str:
    """An empty answer is a wrong answer and no missing one, so that it is not passed over."""
    return "" if text is None else cleaned(text) or " "


def _contradictions(given: Answers) -> Iterator[Fault]:
    if given.kerf and given.kerf_printed:
        mend = "give --kerf for a measured kerf, or --kerf-printed for the width on the blade"
        yield Fault("was given together with --kerf", given.kerf_printed, "--kerf-printed", mend)
    if given.pedal_key == NO_PEDAL and given.pedal_device:
        yield Fault(f"means nothing with --pedal-key {NO_PEDAL}", given.pedal_device, "--pedal-device", "leave it out")


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _of_option(name: str, fault: Fault) -> Fault:
    return Fault(fault.what, fault.value, _option(name), fault.mend)


def _missing(name: str) -> Fault:
    mends = {
        "kerf": "give --kerf LENGTH where it is measured, else --kerf-printed LENGTH",
        "pitch": "give --pitch LENGTH, or --threads-per-inch N",
        "divisions": "give --divisions N",
        "steps_per_mm": "give --steps-per-mm N",
    }
    return Fault("is missing and has no usual value", "", _option(name), mends[name])


def _copy(args: argparse.Namespace, given: Answers) -> int:
    faults = [
        Fault("means nothing where an example is copied", "", _option(name), "leave it out, or edit the copy")
        for name in ANSWERS
        if getattr(given, name)
    ]
    if args.copy is not None and args.plan is not None:
        faults.append(Fault("was given together with --copy", args.plan, "--plan", "copy one file at a time"))
    folder, plans = examples_folder(), example_plans()
    if folder is None:
        raise CouldNotRun("The examples are missing from this installation; install Kerfcall again.")
    if args.copy is not None:
        source, path = folder / SHOPS[args.copy], args.to or default_shop_path()
    else:
        name = args.plan.removesuffix(".toml")
        source, path = plans.get(name, folder), args.to or Path(f"{name}.toml")
        if name not in plans:
            near = nearest(name, plans)
            mend = f"did you mean {near}?" if near else f"there are: {', '.join(plans)}"
            faults.append(Fault("there is no such demo plan", cleaned(args.plan), "--plan", mend))
    faults += refuse_existing(path, "--to") if not faults else []
    if faults:
        raise BadInput(faults)
    _write(path, source.read_text(encoding="utf-8"))
    print(f"Written: {with_tilde(path)}")
    if args.copy is not None:
        print("Put in the figures of your own machine: above all blade.kerf and [carriage].")
        print("\n".join(_next_steps(None, args.to)))
    else:
        print("Put in your own boards, finger and clearance. Then:")
        print(f"  kerfcall layout {shlex.quote(str(path))}")
    return 0


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what, mend = f"its folder cannot be made: {error.strerror}", "check the folder and your right to write there"
        raise BadInput([Fault(what, cleaned(str(path)), "--to", mend)]) from error
    write_new_file(path, text, "--to")


def _next_steps(answers: Answers | None, to: Path | None) -> Iterator[str]:
    """The commands that come next. answers: None for a copied example. to: the file, where it isn't the user's own."""
    shop = "" if to is None else f" --shop {shlex.quote(str(to))}"
    steps = [
        (f"kerfcall ready{shop}", "what works on this machine, and what to do about the rest"),
        (f"kerfcall calibrate kerf --plan kerf-test.toml{shop}", "a test board, to measure what the blade really cuts"),
    ]
    without = [
        *(["--no-pedal"] if answers is not None and answers.pedal_key == NO_PEDAL else []),
        *(["--no-voice"] if answers is not None and answers.voice == NO else []),
    ]
    if without:
        steps.append((f"kerfcall cut PLAN {' '.join(without)}{shop}", "later, to cut"))
    yield "Next:"
    for command, what in steps:
        yield f"  {command}"
        yield f"      {what}"


def _pressed_key() -> tuple[str, str] | None:
    """The key that the pedal sends, once it was pressed, and its own device; None once it is said why there is none."""
    from assistant.pedal.learn import learn
    from assistant.pedal.learned_words import is_usable, what_key
    from assistant.pedal.names import SAFE_KEYS, Named
    from assistant.plans.model import PedalSettings
    from assistant.screens.first_key import first_key, is_terminal, quiet_terminal

    print(f"  Press the pedal once (waiting {WAIT_S:g} s) ..", flush=True)
    key: Named | None = None
    try:
        with quiet_terminal():
            learned = learn(WAIT_S, PedalSettings(), lambda key: print(f"  {key.written}", flush=True), lambda _: None)
        key = learned.key if learned is not None else None
    except NoSuchPart as error:
        if not is_terminal():
            print(f"  {error}")
            return None
        typed = first_key(WAIT_S)
        key = Named(typed, types_text=typed not in SAFE_KEYS) if typed else None
    if key is None:
        print("  No key came. Is the pedal plugged in? Type the name of its key, or none.")
        return None
    if not is_usable(key):
        print(f"  {what_key(key)}")
        return None
    print(f"  The pedal sends {key.written}.")
    return key.written, key.device
