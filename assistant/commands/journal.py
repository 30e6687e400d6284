"""`kerfcall journal list|show|export|repair [ID]`: shows what was cut, when, and how each pass was recorded."""

from __future__ import annotations

import argparse
import dataclasses
import json
from collections.abc import Callable
from pathlib import Path

from assistant.journal import account, export
from assistant.journal.choosing import all_rows, chosen_row, no_sessions
from assistant.journal.repair import repair
from assistant.journal.store import Journal, journal_path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """A sub-command for each action, with its own options."""
    actions = parser.add_subparsers(dest="action", required=True)
    for action, what in (
        ("export", "one session as CSV, or as JSON with --json"),
        ("list", "all sessions, oldest first"),
        ("repair", "recover a damaged journal"),
        ("show", "what was cut in a session, and when"),
    ):
        own = actions.add_parser(action, help=what, description=f"The journal: {what}.", epilog=parser.epilog)
        if action != "repair":
            which = "only this session" if action == "list" else "the session, e.g. 2026-11-25-1 (default: the latest)"
            own.add_argument("id", metavar="ID", nargs="?", help=which)
        folder = "the folder of the journal (default: your data folder)"
        own.add_argument("--state", metavar="DIR", type=Path, help=folder)
        own.add_argument("--json", action="store_true", help="print JSON, for other programs")


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 2 for an unknown session; 3 if there is nothing to show or the journal can't be read."""
    return _ACTIONS[args.action](args)


def _list(args: argparse.Namespace) -> int:
    rows = all_rows(args.state)
    if args.id is not None:
        rows = [chosen_row(rows, args.id, args.state, "journal list")]
    if args.json:
        print(json.dumps([dataclasses.asdict(row) for row in rows], indent=2))
    else:
        print(account.listing(rows) if rows else no_sessions(args.state))
    return 0


def _show(args: argparse.Namespace) -> int:
    if args.json:
        return _export(args)
    row = chosen_row(all_rows(args.state), args.id, args.state, f"journal {args.action}")
    with Journal.open_to_read(args.state) as journal:
        print(account.account(row, journal.replay(row.id, with_gaps=True)))
    return 0


def _export(args: argparse.Namespace) -> int:
    row = chosen_row(all_rows(args.state), args.id, args.state, f"journal {args.action}")
    with Journal.open_to_read(args.state) as journal:
        records = journal.replay(row.id, with_gaps=True)
        if args.json:
            print(json.dumps(export.as_json(row, records), indent=2))
        else:
            print(export.as_csv(row, records), end="")
    return 0


def _repair(args: argparse.Namespace) -> int:
    found = repair(args.state)
    if args.json:
        print(json.dumps({**dataclasses.asdict(found), "kept": str(found.kept) if found.kept else None}, indent=2))
        return 0
    path = journal_path(args.state)
    holding = f"{account.counted(found.sessions, 'session')}, {account.counted(found.facts, 'fact')}"
    if found.healthy:
        print(f"The journal {path} is undamaged: {holding}. Nothing was changed.")
    else:
        print(f"The journal {path} was damaged. Recovered: {holding}.")
        print(f"The damaged file is kept as {found.kept}.")
    for line in found.lost:
        print(f"  lost: {account.one_line(line)}")
    return 0


_ACTIONS: dict[str, Callable[[argparse.Namespace], int]] = {
    "list": _list,
    "show": _show,
    "export": _export,
    "repair": _repair,
}
