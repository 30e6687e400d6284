"""`kerfcall calibrate kerf|screw|zero|backlash|fit`: what the machine really does, with a caliper and half an hour.

Writes a test board's plan, takes the readings, shows value and uncertainty, and on confirmation writes the value into
the shop file. JSON lengths are millimetres.
"""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

from assistant.asking import ShowLine, agreed, asker
from assistant.calibrating.blunders import USUAL_CALIPER, Approach, Caliper, Reading
from assistant.calibrating.board import ROUNDS, Place, board_text, driven_places, expected, read_places, sheet
from assistant.calibrating.change import MOST_UNASKED, ShopChange, change_for, computed
from assistant.calibrating.history import note_value, now
from assistant.calibrating.prompts import from_prompts
from assistant.calibrating.readings import ReadingCollector, from_csv, from_options
from assistant.calibrating.values import Value
from assistant.commands.calibrate_text import history_lines, value_json, value_lines
from assistant.commands.figures import length_option
from assistant.errors import BadInput, CouldNotRun, Fault
from assistant.joinery.units import at_least, plain_length
from assistant.plans.document import cleaned
from assistant.plans.model import Shop
from assistant.plans.new_file import write_new_file
from assistant.plans.shop_file import read_shop
from assistant.plans.shop_writer import EntryKind, HistoryEntry, in_force, read_history, undo

FIT = "fit"
# What a line that gives the readings again repeats, beside the readings.
REPEATED = ("plan", "shop", "csv", "caliper", "caliper_range", "caliper_error", "new_blade", "most_change", "plot")
WHAT: dict[str, str] = {
    EntryKind.KERF: "the width that the blade really cuts",
    EntryKind.SCREW: "how far the carriage really moves",
    EntryKind.ZERO: "where the carriage's zero really is",
    EntryKind.BACKLASH: "the play of the carriage's screw",
    FIT: "learn from a finished joint which clearance to write in the next plan",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """A sub-command for each kind, with its own options only."""
    kinds = parser.add_subparsers(dest="kind", required=True, help="what to calibrate")
    for kind, what in WHAT.items():
        own = kinds.add_parser(kind, help=what, description=f"Calibrate: {what}.", epilog=parser.epilog)
        (_add_fit_options if kind == FIT else _add_reading_options)(own)
        if kind in (EntryKind.KERF, FIT):
            blade = "you have fitted another blade: begin a new history for its fit"
            own.add_argument("--new-blade", metavar="NAME", help=blade)
        own.add_argument("--shop", type=Path, metavar="FILE", help="the shop file (default: your own shop.toml)")
        own.add_argument("--history", action="store_true", help="list all calibrations, and which are in force")
        own.add_argument("--undo", action="store_true", help="take back the last calibration; not with --history")
        own.add_argument("--json", action="store_true", help="print JSON instead of text")
        if kind == EntryKind.KERF:
            far = plain_length(MOST_UNASKED)
            most = f"how far --yes may move the kerf (default: {far}); beyond that you must type yes once more"
            own.add_argument("--most-change", metavar="LENGTH", help=most)
            yes = f"write without asking, unless the kerf would move by more than {far} (see --most-change)"
        else:
            if kind == FIT:
                most = "how far the kerf may have changed while the joint was cut (default: not at all)"
                own.add_argument("--most-change", metavar="LENGTH", help=most)
            else:
                own.set_defaults(most_change=None)
            yes = "record the joint even with --json" if kind == FIT else "write without asking"
        own.add_argument("--yes", action="store_true", help=yes)
        if kind not in (EntryKind.KERF, FIT):
            own.set_defaults(new_blade=None)
            drive = "a motor on the screw brings the carriage to each setting, and you measure the carriage there"
            own.add_argument("--drive", action="store_true", help=drive)
        else:
            own.set_defaults(drive=False)


def _add_reading_options(parser: argparse.ArgumentParser) -> None:
    """Of a kind that is measured: its test board, and how its readings come."""
    plan = "the test board's plan: written if the file does not exist, else the board you measured"
    parser.add_argument("--plan", type=Path, metavar="FILE", help=plan)
    reading = "a reading by place (A=8.82) or by setting (20=16.83, '20 down=20.06'); repeat it for each reading"
    parser.add_argument("--reading", action="append", metavar="PLACE=LENGTH", help=reading)
    lines = "a file of readings: a heading with place and reading, then a line for each"
    parser.add_argument("--csv", type=Path, metavar="FILE", help=lines)
    dictate = "dictate the readings digit by digit, with the saw off; each is read back"
    parser.add_argument("--dictate", action="store_true", help=dictate)
    parser.add_argument("--plot", type=Path, metavar="FILE", help="draw the residuals: .svg, or .png with matplotlib")
    parser.add_argument("--caliper", metavar="LENGTH", help="the caliper's resolution (default: 0.01 mm or 0.0005 in)")
    parser.add_argument("--caliper-range", metavar="LENGTH", help="the most it can show (default: 150 mm or 6 in)")
    error = "the most it can be wrong by (default: its resolution)"
    parser.add_argument("--caliper-error", metavar="LENGTH", help=error)


def _add_fit_options(parser: argparse.ArgumentParser) -> None:
    """Of a finished joint: which, and how it went together."""
    parser.add_argument("--plan", type=Path, metavar="FILE", help="the joint's plan (default: of the last joint cut)")
    tight = "how much too tight the joint was; 0 if it was right"
    parser.add_argument("--too-tight", metavar="LENGTH", help=tight)
    parser.add_argument("--too-loose", metavar="LENGTH", help="how much too loose the joint was")
    gap = "the clearance measured in the joint, socket less finger, both glue gaps together; -0.02 where it jams"
    parser.add_argument("--gap", metavar="LENGTH", help=gap)
    parser.add_argument("--wanted", metavar="LENGTH", help="the clearance you want (default: as for earlier joints)")
    parser.add_argument("--clearance", metavar="LENGTH", help="the clearance in the joint's plan, without --plan")
    parser.add_argument("--species", metavar="NAME", help="the wood, where the plan names none")
    state = "without --plan: the folder of the journal with the last joint cut (default: your data folder)"
    parser.add_argument("--state", type=Path, metavar="DIR", help=state)


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 1 where a value was not confirmed; raises BadInput with every fault."""
    shop = read_shop(args.shop)
    if args.history and args.undo:
        raise BadInput([Fault("does another thing than --undo", "", "--history", "give one of them at a time")])
    if args.history:
        return _history(args, shop)
    if args.undo:
        return _undo(args, shop)
    if args.kind == FIT:
        from assistant.commands.calibrate_fit import run_fit

        return run_fit(args, shop)
    caliper, most = _options(args, shop)
    if args.drive:
        _check_drive(args, shop)
    if args.plan is not None and not args.plan.exists():
        return _write_board(args, shop, caliper)
    places = read_places(args.plan, args.kind, shop) if args.plan is not None else []
    if args.drive:
        places = driven_places(args.kind, shop, caliper)
    zero, kerf = shop.carriage.zero, shop.blade.kerf
    about = {p.label: expected(args.kind, p.x, kerf, zero) for p in places}
    # Of the carriage itself only the zero's places are known: where a gauge stands is the operator's choice.
    collector = ReadingCollector(places, shop.unit, about if not args.drive or args.kind == EntryKind.ZERO else {})
    code = 1  # also where something is raised: nothing came of the readings, so they are given back
    try:
        readings = _readings(args, shop, caliper, collector)
        known = in_force(Path(shop.path), read_history(Path(shop.path)))
        value = computed(args.kind, readings, caliper, shop, known)
        change = change_for(value, shop)
        if args.plot is not None:
            from assistant.calibrating.plot import plot

            plot(value, args.plot, shop.unit)
        if args.json:
            print(json.dumps(value_json(value, change), indent=1))
        else:
            print("\n".join(value_lines(value, caliper, shop, change)))
        code = _write(args, shop, value, change, readings, most)
    finally:
        if code:
            for line in again(args, collector):
                print(line, file=sys.stderr)
    return code


def _options(args: argparse.Namespace, shop: Shop) -> tuple[Caliper, Fraction]:
    """(the caliper, how far a kerf may move unasked, mm). Raises BadInput with every fault."""
    faults: list[Fault] = []
    usual = USUAL_CALIPER[shop.unit]
    step, longest = (
        length_option(faults, option, given or usual[n], shop.unit)
        for n, (option, given) in enumerate([("--caliper", args.caliper), ("--caliper-range", args.caliper_range)])
    )
    own = args.caliper_error or args.caliper or usual[2]
    error = length_option(faults, "--caliper-error", own, shop.unit, zero=True)
    most: Fraction | None = MOST_UNASKED
    if args.most_change is not None:
        most = length_option(faults, "--most-change", args.most_change, shop.unit)
    if faults or step is None or longest is None or error is None or most is None:
        raise BadInput(faults)
    return Caliper(step, longest, error, shop.unit), most


def _write_board(args: argparse.Namespace, shop: Shop, caliper: Caliper) -> int:
    """Write the test board's plan, and say how to cut and measure it."""
    if args.reading or args.csv or args.dictate:
        mend = "write and cut the test board first, or give settings instead of places and leave --plan out"
        raise BadInput([Fault("there is no such test board yet", "", cleaned(str(args.plan)), mend)])
    write_new_file(args.plan, board_text(args.kind, shop, caliper), "--plan")
    places = read_places(args.plan, args.kind, shop)
    option = "" if args.shop is None else f" --shop {args.shop}"
    print(f"Written: {cleaned(str(args.plan))}.")
    print("\n".join(sheet(args.kind, places, shop, args.plan, option)))
    return 0


def _readings(args: argparse.Namespace, shop: Shop, caliper: Caliper, collector: ReadingCollector) -> list[Reading]:
    from_options(collector, args.reading or [])
    if args.csv is not None:
        from_csv(collector, args.csv)
    if args.dictate:
        from assistant.calibrating.microphone import from_microphone

        from_microphone(
            collector, shop.voice, caliper, ROUNDS.get(args.kind, 1), lambda line: print(line, file=sys.stderr)
        )
    if args.drive:
        _driven_readings(args, shop, collector)
    elif not (args.reading or args.csv or args.dictate):
        if not collector.places or not sys.stdin.isatty():
            mend = "give --plan FILE to write a test board, then --reading PLACE=LENGTH or --csv FILE"
            raise BadInput([Fault("there is nothing to calibrate from", "", "--reading", mend)])
        from_prompts(collector, asker(args.json), _show_line(args), ROUNDS.get(args.kind, 1))
    return collector.checked()


def _check_drive(args: argparse.Namespace, shop: Shop) -> None:
    """Raises BadInput with every fault of --drive, CouldNotRun without a terminal."""
    from assistant.commands.held_moves import not_driven
    from assistant.runner.held_moves import NO_TERMINAL
    from assistant.screens.typed_keys import has_terminal

    others = {"--plan": args.plan, "--csv": args.csv, "--dictate": args.dictate, "--json": args.json}
    mend = "leave it out: with --drive the carriage itself is measured, and each reading is asked for"
    faults = [Fault("can't be used together with --drive", "", name, mend) for name, given in others.items() if given]
    if shop.carriage.drive is None:
        faults.append(not_driven(shop))
    if faults:
        raise BadInput(faults)
    if not has_terminal():
        raise CouldNotRun(NO_TERMINAL)


def _driven_readings(args: argparse.Namespace, shop: Shop, collector: ReadingCollector) -> None:
    """Home, then go to each place, and ask there what is measured. Readings taken before a halt or a loss are kept."""
    from assistant.commands.held_moves import held_moves
    from assistant.runner.one_live import LiveLock

    print("Unplug the saw. Nothing is cut. Keep your hands off the carriage until it stands.")
    stands: Place | None = None
    with LiveLock(f"kerfcall calibrate {args.kind}", None), held_moves(shop) as moves:

        def bring(place: Place) -> bool:
            nonlocal stands
            if place != stands:
                stands = place if moves.go(place.x, down=place.side == Approach.DOWN) else None
            return stands is not None

        if moves.home():
            from_prompts(collector, asker(args.json), _show_line(args), bring=bring)


def _write(
    args: argparse.Namespace, shop: Shop, value: Value, change: ShopChange, readings: Sequence[Reading], most: Fraction
) -> int:
    """Ask, and write; ask twice where a kerf would move by over `most` mm. Returns 1 where it was not confirmed."""
    stream = sys.stderr if args.json else sys.stdout
    where = Path(shop.path).name
    if change.key:
        question = f"Write {change.key} = {change.text} into {where} (it is {change.before or 'not there'})?"
    else:
        question = f"Note this in the history of {where}?"
    moved, allowed = plain_length(change.moved, shop.unit), ""
    if change.moved > most:
        allowed = f' --most-change "{at_least(change.moved, shop.unit)}"'
    if not confirmed(args, question):
        print(f"Not written. {question.removesuffix('?')} with --yes{allowed}.", file=stream)
        return 1
    # A script that gives --yes never sees the value, so --yes alone doesn't confirm what another blade's readings give.
    sure = f"That moves the kerf by {moved}. Measure again, or say yes to write it."
    if allowed and not confirmed(args, sure, unasked=False):
        print(f"Not written: the kerf would move by {moved}. Measure again, or allow it with{allowed}.", file=stream)
        return 1
    note_value(Path(shop.path), value, change, readings, args.new_blade)
    done = f"{where}: {change.key} = {change.text}." if change.key else f"Noted in the history of {where}."
    print(f"{done} Take it back with: kerfcall calibrate {args.kind} --undo", file=stream)
    return 0


def confirmed(args: argparse.Namespace, question: str, *, unasked: bool = True) -> bool:
    """Whether it is to be written: --yes (with `unasked`), or a yes at a terminal."""
    if args.yes and unasked:
        return True
    return sys.stdin.isatty() and agreed(asker(args.json), _show_line(args), question)


def again(args: argparse.Namespace, collector: ReadingCollector) -> Iterator[str]:
    """Lines that keep what was typed or dictated: the command that gives it again; none where nothing was."""
    if not collector.typed:
        return
    words = ["kerfcall", "calibrate", args.kind]
    for name in REPEATED:
        if getattr(args, name) is not None:
            words += [f"--{name.replace('_', '-')}", str(getattr(args, name))]
    for reading in (*(args.reading or []), *collector.typed):
        words += ["--reading", reading]
    if args.json:
        words.append("--json")
    yield "Your readings are not lost. This gives them again; change or add what you need:"
    yield f"  {shlex.join(words)}"


def _show_line(args: argparse.Namespace) -> ShowLine:
    """Prints beside the questions: on stderr where stdout is JSON."""
    return lambda line: print(line, file=sys.stderr if args.json else sys.stdout)


def _history(args: argparse.Namespace, shop: Shop) -> int:
    entries = read_history(Path(shop.path))
    live = {e.n for e in in_force(Path(shop.path), entries)}
    kind = EntryKind.JOINT if args.kind == FIT else EntryKind(args.kind)
    shown = [e for e in entries if e.kind in (kind, EntryKind.BLADE)]
    if args.json:
        rows = [{name: getattr(e, name) for name in HistoryEntry.__slots__} | {"in_force": e.n in live} for e in shown]
        print(json.dumps(rows, indent=1))
    else:
        print("\n".join(history_lines(shown, live, shop.unit)) or "Nothing yet.")
    return 0


def _undo(args: argparse.Namespace, shop: Shop) -> int:
    kind = EntryKind.JOINT if args.kind == FIT else EntryKind(args.kind)
    if not confirmed(args, f"Take back the last {kind} calibration in force?"):
        print("Nothing was taken back; --undo --yes does it without asking.")
        return 1
    gone = undo(Path(shop.path), kind, now())
    was = f"{gone.key} is {gone.after if gone.after is not None else 'absent'} again" if gone.key else "taken back"
    print(f"{Path(shop.path).name}: {was} (entry {gone.undoes} of its history).")
    return 0
