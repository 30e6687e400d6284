"""`kerfcall carriage where|home|go|configure`: a motor-driven carriage without a session.

`where --json` prints one object: {"port", "firmware", "options", "state", "machine_mm", "reading_mm", "inputs",
"home_switch_closed", "hold_input_closed", "clear", "faults": [{"what", "value", "where", "mend"}]}. "machine_mm" counts
from where the controller started or homed, and is null if it doesn't report that; "reading_mm" is null, since nobody
knows where the carriage stands until it is homed. "home_switch_closed" is null where home is by hand, and "clear",
whether the sled is drawn right back, without a clear input.
"""

from __future__ import annotations

import argparse
import json
import sys
from fractions import Fraction
from pathlib import Path

from assistant.asking import agreed
from assistant.commands.held_moves import held_moves, not_driven
from assistant.errors import BadInput, CouldNotRun
from assistant.joinery.model import Carriage
from assistant.joinery.units import parse_length, plain_length
from assistant.plans.model import Shop
from assistant.plans.shop_file import read_shop
from assistant.runner.held_moves import NO_TERMINAL, setting_typed
from assistant.runner.one_live import LiveLock
from assistant.screens.typed_keys import has_terminal

FORGOTTEN = "Kerfcall forgets where the carriage stands when this ends: each session begins by homing it."
WHAT = {
    "where": "what its controller says: position, state, home switch and clear input; nothing moves",
    "home": "bring it to its home switch",
    "go": "home it, then bring it to a setting",
    "configure": "set its controller up for the shop file's carriage, one setting at a time, each with your yes",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """A sub-command for each thing to do, with its own options only."""
    parts = parser.add_subparsers(dest="part", required=True, help="what to do")
    for part, what in WHAT.items():
        own = parts.add_parser(part, help=what, description=f"The carriage: {what}.", epilog=parser.epilog)
        if part == "go":
            setting = "the setting to go to, in the shop file's unit"
            own.add_argument("setting", metavar="SETTING", help=setting)
        own.add_argument("--shop", type=Path, metavar="FILE", help="the shop file (default: your own shop.toml)")
        if part == "where":
            own.add_argument("--json", action="store_true", help="print one JSON object, for other programs")
        if part in ("home", "go"):
            no_pedal = "use no pedal: each move is a question and yes, and any key halts it"
            own.add_argument("--no-pedal", action="store_true", help=no_pedal)


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 1 where the operator left before it was done.

    Raises BadInput with every fault, CouldNotRun while another process has the carriage or when its place is lost.
    """
    shop = read_shop(args.shop)
    faults = [] if shop.carriage.drive is not None else [not_driven(shop)]
    setting = Fraction(0)
    if args.part == "go":
        try:
            setting = setting_typed(args.setting, shop)
        except BadInput as error:
            faults += error.faults
    if faults:
        raise BadInput(faults)
    if args.part in ("home", "go", "configure") and not has_terminal():
        raise CouldNotRun(NO_TERMINAL)
    # The lock before the line: its refusal says who has the carriage, the line's only that it is in use.
    with LiveLock(f"kerfcall carriage {args.part}", None):
        if args.part == "where":
            return _where(shop.carriage, args.json)
        if args.part == "configure":
            return _configure(shop.carriage)
        with held_moves(shop, pedal=not args.no_pedal) as moves:
            if args.part == "go":
                _print_rounded(args.setting, setting, shop)
            done = moves.home() and (args.part == "home" or moves.go(setting))
    print(FORGOTTEN if done else "Left. The carriage stays where it stands.")
    return 0 if done else 1


def _print_rounded(text: str, setting: Fraction, shop: Shop) -> None:
    if parse_length(text, shop.unit) != setting:
        print(f"The nearest setting is {plain_length(setting, shop.unit)}.")


def _where(carriage: Carriage, as_json: bool) -> int:
    """Exit code 0, or 3 if something must be put right before it may be driven."""
    from assistant.carriage.standing import StandingController, counted_place, switches_of

    drive = carriage.drive
    assert drive is not None
    with StandingController(carriage) as standing:
        report, controller, faults = standing.look(), standing.controller, standing.faults
    place, switches = counted_place(drive, report), switches_of(drive, report)
    switch, clear = switches.home_closed, switches.clear
    if as_json:
        found = {
            "port": drive.port,
            "firmware": controller.version,
            "options": controller.options,
            "state": report.state,
            "machine_mm": None if place is None else float(place),
            "reading_mm": None,
            "inputs": report.pins,
            "home_switch_closed": switch,
            "hold_input_closed": report.hold_input,
            "clear": clear,
            "faults": [{"what": one.what, "value": one.value, "where": one.where, "mend": one.mend} for one in faults],
        }
        print(json.dumps(found, indent=1))
        return 3 if faults else 0
    print(f"Controller at {drive.port}: firmware {controller.version or 'unknown'}, {report.state}.")
    if report.locked:
        print("It is locked, as it always is until the carriage is homed.")
    print("Reading: not known. Nobody knows where the carriage stands until it is homed.")
    if place is not None:
        print(f"The controller counts {plain_length(place)} on {drive.axis}, from where it started or was homed.")
    if switch is not None:
        print(f"Home switch: {'closed' if switch else 'open'}.")
    if clear is not None:
        print(f"Clear input: {'open, so the sled is drawn right back' if clear else 'closed, so the sled is away'}.")
    elif report.hold_input:
        print("Hold or door input: closed.")
    for fault in faults:
        print(f"To put right: {fault}")
    return 3 if faults else 0


def _configure(carriage: Carriage) -> int:
    """Exit code 0 if nothing is left to put right, 1 if something was not wanted, else 3."""
    from assistant.carriage.configure import changes
    from assistant.carriage.standing import StandingController

    with StandingController(carriage) as standing:
        if not standing.controller.settings:
            raise BadInput(standing.faults)
        wanted = changes(carriage, standing.controller)
        print(f"{len(wanted)} to change." if wanted else "Every setting is as the shop file needs it.")
        kept = 0
        for change in wanted:
            print(f"  ${change.number} is {_figure(change.old)}, new {_figure(change.new)}: {change.why}.")
            if not agreed(input, print, f"  Store ${change.number} = {_figure(change.new)}?"):
                kept += 1
                continue
            standing.store(change.number, change.new)
            print(f"  Stored: ${change.number} = {_figure(change.new)}.")
        faults = standing.faults
    for fault in faults:
        print(f"To put right: {fault}", file=sys.stderr)
    return 3 if faults and not kept else 1 if kept else 0


def _figure(value: Fraction) -> str:
    from assistant.carriage.dialect import shown

    return shown(value)
