"""`kerfcall resume [ID]`: back into an open session, at the pass that was in flight."""

from __future__ import annotations

import argparse
import hashlib
from pathlib import Path

from assistant.commands.driving import Run, add_run_options, check_options, drive
from assistant.errors import CouldNotRun
from assistant.journal.lock import SessionLock
from assistant.journal.store import Journal, SessionRow, default_state_dir
from assistant.session.apply import apply
from assistant.session.state import ENDED_EARLY, FINISHED, State


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("session", nargs="?", metavar="ID", help="the session (default: the latest unfinished one)")
    add_run_options(parser)


def run(args: argparse.Namespace) -> int:
    script = check_options(args)
    state_dir = args.state or default_state_dir()
    with Journal.open(state_dir) as journal:
        session = args.session or _latest_begun(journal)
        if session is None:
            raise CouldNotRun("there is no open session to resume; begin one with: kerfcall cut PLAN")
        row = _row(journal, session)
        with SessionLock(state_dir, session):
            state = replayed(journal, session)
            if args.rehearse is None and args.mic is None:
                print(f"-- Session {session}: {row.title}. Press ? for the keys.")
            return drive(Run(state.the_job, session, journal, state, changed_files(row)), args, script)


def _latest_begun(journal: Journal) -> str | None:
    """The newest open session that holds a fact: one killed before its first has nothing to come back to."""
    begun = [row for row in journal.sessions() if row.state == "open" and row.facts]
    return max(begun, key=lambda row: row.started_utc).id if begun else None


def _row(journal: Journal, session: str) -> SessionRow:
    rows = {row.id: row for row in journal.sessions()}
    if session not in rows:
        raise CouldNotRun(f"there is no session {session} in {journal.path}; kerfcall journal list names them")
    return rows[session]


def replayed(journal: Journal, session: str) -> State:
    """The state that the session's facts lead to. Raises CouldNotRun when it is over or never began."""
    state = State()
    for record in journal.replay(session):
        state = apply(state, record)
    if state.mode in (FINISHED, ENDED_EARLY):
        raise CouldNotRun(f"session {session} is {state.mode}; begin another with: kerfcall cut PLAN")
    if state.job is None:
        raise CouldNotRun(f"session {session} was cut off before it began; begin another with: kerfcall cut PLAN")
    return state


def changed_files(row: SessionRow) -> tuple[str, ...]:
    """What the operator should know of the plan file: the session goes on with its own plan in any case."""
    path = Path(row.plan_path)
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return (f"The plan file {path.name} is gone; the session goes on with its own copy.",)
    if digest != row.plan_digest:
        return (f"The plan file {path.name} has changed since; the session goes on with its own copy.",)
    return ()
