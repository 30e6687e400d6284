"""`kerfcall page [serve|devices|revoke]`: shows the journal on a phone or tablet, and manages the paired devices."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

from assistant.commands.page_parts import add_server_options, open_page, server_faults
from assistant.errors import BadInput, Fault
from assistant.journal.account import local_time
from assistant.journal.store import default_state_dir
from assistant.runner.clock import LiveClock
from assistant.screens.notes import Notes
from assistant.screens.page.devices import Devices

ALL = "all"
HINT = "-- Press Enter for a new pairing code, Ctrl-C to close the page."
NO_TERMINAL = "-- No terminal: the code above is the only one. To get more codes, start the page from a terminal."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """serve, devices and revoke, each with its own options; those of serve also without its name."""
    actions = parser.add_subparsers(dest="action")
    # argparse has no default sub-command, but fills in an action's default like any other.
    actions.default = "serve"
    every = [parser]
    for action, what in (
        ("devices", "list the paired devices"),
        ("revoke", "unpair a device"),
        ("serve", "show the journal's sessions until Ctrl-C, as `kerfcall page` alone does"),
    ):
        own = actions.add_parser(action, help=what, description=f"The page: {what}.", epilog=parser.epilog)
        if action == "devices":
            own.add_argument("--json", action="store_true", help="print JSON, for other programs")
        elif action == "revoke":
            own.add_argument("device", nargs="?", metavar="ID", help="the device's number, or all")
        every.append(own)
    for each in every:
        folder = "the folder of the journal (default: your data folder)"
        each.add_argument("--state", type=Path, metavar="DIR", help=folder)
        if each in (parser, actions.choices["serve"]):
            add_server_options(each)


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 2 for bad options or an unknown device; 3 if the page can't be served."""
    faults = server_faults(args) if args.action == "serve" else []
    if args.action == "revoke" and args.device is None:
        faults.append(Fault("no device is given", "", "page revoke", "give its number, or all"))
    if faults:
        raise BadInput(faults)
    return _ACTIONS[args.action](args)


def _serve(args: argparse.Namespace) -> int:
    notes = Notes(sys.stdout)
    page = open_page(args, LiveClock(), notes.note, notes.withdraw)
    try:
        terminal = sys.stdin is not None and sys.stdin.isatty()
        notes.note(HINT if terminal else NO_TERMINAL)
        while not terminal:
            time.sleep(3600)  # unlike waiting for a lock, Ctrl-C ends this on every system
        for line in sys.stdin:  # each line asks for a new code; the end of input closes the page
            notes.typed(line)
            page.invite()
    except KeyboardInterrupt:
        print()
    finally:
        page.close()
    return 0


def _devices(args: argparse.Namespace) -> int:
    devices = _store(args).all()
    if args.json:
        print(json.dumps([{"id": d.id, "name": d.name, "paired": d.paired, "seen": d.seen} for d in devices], indent=2))
        return 0
    if not devices:
        print("No device is paired. `kerfcall page` and `kerfcall cut PLAN --page` show a code for pairing one.")
    for device in devices:
        paired, seen = local_time(device.paired), local_time(device.seen)
        print(f"{device.id:>3}  {device.name:40}  paired {paired}, last seen {seen}")
    return 0


def _revoke(args: argparse.Namespace) -> int:
    gone = _store(args).revoke(None if args.device == ALL else args.device)
    if not gone and args.device != ALL:
        mend = "`kerfcall page devices` lists them"
        raise BadInput([Fault("there is no such device", args.device, "page revoke", mend)])
    for device in gone:
        print(f"Device {device.id}, {device.name}, is unpaired. Any page it has open closes now.")
    if not gone:
        print("No device was paired.")
    return 0


def _store(args: argparse.Namespace) -> Devices:
    return Devices(args.state or default_state_dir(), LiveClock().utc)


_ACTIONS: dict[str, Callable[[argparse.Namespace], int]] = {"serve": _serve, "devices": _devices, "revoke": _revoke}
