"""`kerfcall ready`: what works on this machine; with --pedal, the key that a pedal sends; with --sled, the clear input.

`--json` prints one object:

    {"ready": bool, "exit_code": 0 | 2 | 3,
     "parts": [{"part", "state": "works" | "stands in" | "broken", "text", "mend", "data": {..}}]}

Every part is always listed, in the order of `readiness.ORDER`. Where a motor turns the carriage's screw, the carriage
comes after the shop file. What is "stands in" here is "limited" on the screen. "text" says in a sentence how the part
is, and "mend" what to do about it, "" for nothing. "data" is {} or figures: packages {"missing", "wrong_version",
"extras"}, voice {"words_a_minute"}, loudspeaker and microphone {"devices"}, level {"rms_dbfs", "loudest_dbfs",
"peak_dbfs", "spoken"}, noise {"chosen", "asked_for"}, recogniser {"recogniser", "model", "language"}, pedal {"key"},
display {"columns", "lines", "colour", "desktop"}, your answers {"by"}, shop file {"path"} with {"kerf_mm"} or
{"faults"}, a list of texts, each with its own mend; carriage {"port", "firmware", "options", "home_switch_closed",
"clear", "cautions"} and the same {"faults"}; kerf, screw, zero and backlash {"utc", "days", "limit_days", "blade",
"taken_back_utc"}, square the same and {"degrees"}, journal {"folder", "last_entry_utc"}, disk {"free_mb"}, clock
{"utc", "zone"}; any part {"took_s"} if it was slow. Later versions may add keys, but never remove or rename one.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from assistant.carriage.health import CLEAR_PROVES
from assistant.commands.readiness import exit_code, survey
from assistant.errors import BadInput, Fault, NoSuchPart
from assistant.health import BROKEN, SHOWN, Finding
from assistant.pedal.names import SAFE_KEYS, Named
from assistant.plans.model import PedalSettings

WIDEST, NARROWEST = 100, 40  # columns
LOOKING = "Checking: please wait a few seconds, and say a few words for the microphone's level .."
EXIT_CODES = "Exit code: 0 each part works or is limited, 2 bad input or a bad shop file, 3 a part is broken."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--pedal", action="store_true", help="wait for a press, and show which key the pedal sends")
    sled = "have the sled moved both ways, and see whether the carriage's clear input shows both"
    parser.add_argument("--sled", action="store_true", help=sled)
    wait = "with --pedal or --sled: how long to wait (1 to 600 s)"
    parser.add_argument("--seconds", type=float, default=30.0, metavar="N", help=wait)
    parser.add_argument("--shop", type=Path, metavar="FILE", help="the shop file to check")
    parser.add_argument(
        "--square",
        type=float,
        metavar="DEGREES",
        help="record how far blade and carriage together are out of square",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object, for other programs")
    also = "With --pedal: 1 the pedal sent no usable key. With --sled: 1 the clear input did not show both."
    parser.epilog = f"{EXIT_CODES} {also} {parser.epilog or ''}"


def run(args: argparse.Namespace) -> int:
    """Exit code 0: a session can run. 2: bad input, or a bad shop file. 3: another part is broken.

    With --pedal 1: the pedal sent no usable key. With --sled 1: the clear input did not show both ways.
    """
    faults = []
    if not (math.isfinite(args.seconds) and 1 <= args.seconds <= 600):
        faults.append(Fault("out of range", f"{args.seconds:g} s", "--seconds", "give 1 to 600 seconds"))
    given = [option for option, is_given in _ALONE.items() if is_given(args)]
    if len(given) > 1:
        faults.append(Fault(f"can't be used together with {given[0]}", "", given[-1], "leave one of them out"))
    if faults:
        raise BadInput(faults)
    if args.square is not None:
        return _note_square(args.shop, args.square, args.json)
    if args.sled:
        return _sled(args)
    return _pedal(args) if args.pedal else _survey(args)


_ALONE: dict[str, Callable[[argparse.Namespace], bool]] = {
    "--pedal": lambda args: args.pedal,
    "--sled": lambda args: args.sled,
    "--square": lambda args: args.square is not None,
}
"""Options that each do something else than look at every part."""


def _sled(args: argparse.Namespace) -> int:
    """Have the operator move the sled both ways, and see whether the clear input shows it. Nothing is driven.

    Raises BadInput where the shop has no clear input, CouldNotRun and NoSuchPart where its controller can't be asked.
    """
    from assistant.carriage.health import sees_sled
    from assistant.carriage.standing import StandingController
    from assistant.plans.shop_file import read_shop
    from assistant.runner.one_live import LiveLock

    shop = read_shop(args.shop)
    drive = shop.carriage.drive
    if drive is None or not drive.clear_input:
        where = f"{Path(shop.path).name}: carriage.drive.clear_input"
        mend = "set it to true once a switch on the sled is wired to the controller's hold or door input"
        raise BadInput([Fault("there is no clear input to look at", "", where, mend)])

    def say(text: str) -> None:
        print(text, file=sys.stderr if args.json else sys.stdout, flush=True)

    say(f"Saw off, blade still. Nothing is driven (waiting {args.seconds:g} s for each).")
    with LiveLock("kerfcall ready --sled", None), StandingController(shop.carriage) as standing:
        seen = sees_sled(standing, say, args.seconds)
    if args.json:
        print(json.dumps({"clear_input_seen": seen}))
    elif seen:
        print(f"The clear input shows both: the sled right back, and away. {CLEAR_PROVES}")
    else:
        print("The clear input did not show both.")
        print("Do: look at the switch on the sled, its wire, and the board's hold or door input.")
    return 0 if seen else 1


def _note_square(path: Path | None, degrees: float, as_json: bool) -> int:
    """Record in the shop file's history that squareness was checked. degrees: blade tilt and carriage error together.

    Raises BadInput for a bad figure or shop file, CouldNotRun where the history can't be written.
    """
    from assistant.advice.squareness import MOST_DEGREES, SQUARE
    from assistant.calibrating.history import current_blade, now
    from assistant.plans.shop_file import read_shop
    from assistant.plans.shop_writer import in_force, read_history, record

    if not 0 <= degrees <= MOST_DEGREES:
        mend = f"give 0 to {MOST_DEGREES:g}: the lean of blade and carriage together"
        raise BadInput([Fault("out of range", f"{degrees:g} degrees", "--square", mend)])
    shop = Path(read_shop(path).path)
    blade = current_blade(in_force(shop, read_history(shop)))
    entry = record(shop, SQUARE, now(), blade, {"degrees": degrees})
    if as_json:
        print(json.dumps({"noted": SQUARE, "degrees": degrees, "utc": entry.utc}))
    else:
        print(f"Recorded in the history of {shop.name}: blade and carriage checked, {degrees:g} degrees off square.")
    return 0


def _survey(args: argparse.Namespace) -> int:
    with _waiting_shown(not args.json and sys.stdout.isatty()):
        lines = survey(args.shop)
    code = exit_code(lines)
    if args.json:
        parts = [
            {"part": line.part, "state": line.state, "text": line.text, "mend": line.mend, "data": dict(line.data)}
            for line in lines
        ]
        print(json.dumps({"ready": not code, "exit_code": code, "parts": parts}, ensure_ascii=False))
        return code
    columns = shutil.get_terminal_size((80, 24)).columns
    for line in lines:
        print(_on_screen(line, min(max(columns, NARROWEST), WIDEST)))
    for caution in (caution for line in lines for caution in line.data.get("cautions", ())):
        print(textwrap.fill(caution, min(max(columns, NARROWEST), WIDEST), initial_indent="! ", subsequent_indent="  "))
    broken = [line.part for line in lines if line.state == BROKEN]
    print(f"Not ready. Broken: {', '.join(broken)}." if broken else "Ready: a session can run.")
    return code


@contextlib.contextmanager
def _waiting_shown(shown: bool) -> Iterator[None]:
    """Show a line that asks to wait, and remove it at the end."""
    text = LOOKING[: shutil.get_terminal_size((80, 24)).columns - 1]  # a second row could not be removed
    if shown:
        print(text, end="", flush=True)
    try:
        yield
    finally:
        if shown:
            print("\r" + " " * len(text) + "\r", end="", flush=True)


def _on_screen(line: Finding, width: int) -> str:
    """A line for the screen, each fault with what to do below it."""
    head = f"{line.part:<14}{SHOWN[line.state]:<10}"
    indent = " " * len(head)
    rows: list[str] = []
    for fault in line.data.get("faults") or [{"text": line.text, "mend": line.mend}]:
        for text in (fault["text"], f"Do: {fault['mend']}" if fault["mend"] else ""):
            rows += textwrap.wrap(
                text,
                width,
                initial_indent=indent if rows else head,
                subsequent_indent=indent,
                break_long_words=False,  # so that a path or a command can be copied
                break_on_hyphens=False,
            )
    return "\n".join(rows)


def _pedal(args: argparse.Namespace) -> int:
    from assistant.pedal.learn import LearnedKey, learn
    from assistant.pedal.learned_words import is_usable, what_it_does, what_key
    from assistant.plans.shop_file import read_shop
    from assistant.screens.first_key import first_key, is_terminal, quiet_terminal

    # The shop file's timers and device, or the usual ones if no file was named.
    settings = read_shop(args.shop).pedal if args.shop is not None else PedalSettings()

    def say(text: str) -> None:
        print(text, file=sys.stderr if args.json else sys.stdout, flush=True)

    say(f"Press the pedal once (waiting {args.seconds:g} s). Then try a double tap and a long press.")
    learned: LearnedKey | None
    try:
        with quiet_terminal():
            learned = learn(args.seconds, settings, lambda key: say(what_key(key)), lambda made: say(f"  {made.shown}"))
    except NoSuchPart as error:
        say(str(error))
        if not is_terminal():
            raise
        say("Only this terminal's keys can be heard: keep its window in front.")
        typed = first_key(args.seconds)
        learned = LearnedKey(Named(typed, types_text=typed not in SAFE_KEYS)) if typed else None
        if learned:
            say(what_key(learned.key))
    if learned is None:
        say("No key came. Is the pedal plugged in? Some pedals send a mouse or joystick button, which is not a key.")
    elif learned.presses:
        say(what_it_does(learned, settings))
    usable = learned is not None and is_usable(learned.key)
    if args.json:
        found: dict[str, Any] = {"key": None, "usable": usable}
        if learned is not None:
            found = {
                "key": learned.key.written if usable else None,
                "usable": usable,
                "types_text": learned.key.types_text,
                "device": learned.key.device or None,
                "presses": learned.presses,
                "repeats": learned.repeats,
                "longest_down_s": learned.longest_down_s,
                "gestures": list(learned.gestures),
            }
        print(json.dumps(found, ensure_ascii=False))
    return 0 if usable else 1
