"""`kerfcall cut PLAN`: starts a new session of a plan, live or rehearsed."""

from __future__ import annotations

import argparse
import contextlib
import shlex
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from assistant.commands.driving import Run, add_run_options, check_options, drive, is_rehearsed
from assistant.errors import BadInput, Fault, JournalError
from assistant.journal.lock import SessionLock
from assistant.journal.store import Journal, SessionRow, default_state_dir
from assistant.pedal.devices import is_named
from assistant.pedal.names import key_from_name
from assistant.plans.job import build_job
from assistant.plans.model import Job
from assistant.plans.plan_file import read_both
from assistant.runner.clock import LiveClock
from assistant.runner.one_live import LiveLock
from assistant.runner.script import ScriptLine
from assistant.session.events import OpenSession
from assistant.session.state import State


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (TOML)")
    parser.add_argument(
        "--shop", type=Path, metavar="FILE", help="the shop file (default: the one in your configuration folder)"
    )
    add_run_options(parser)


def run(args: argparse.Namespace) -> int:
    job, script = _job_and_script(args)
    state_dir = args.state or default_state_dir()
    # Taken before the session gets its row, so that a refusal because another live session runs leaves no trace in
    # the journal.
    live = None if is_rehearsed(args) else LiveLock(job.title, args.state)
    with live or contextlib.nullcontext(), Journal.open(state_dir) as journal:
        beside = () if live is None else open_sessions(journal, args.state)
        # The plan's full path, since `resume` can be run from another folder.
        session = journal.new_session(job.title, job.plan_digest, str(args.plan.resolve()), LiveClock().utc())
        with _discarded_unless_begun(journal, session), SessionLock(state_dir, session):
            if live is not None:
                live.name(session)
                print(f"-- Session {session}: {job.title}. Press ? for the keys.")
            # Not to standard output, which has only JSON Lines in a rehearsal.
            for warning in job.warnings:
                print(f"!! {warning}", file=sys.stderr)
            return drive(Run(job, session, journal, State(), None, args.plan, beside), args, script)


def open_sessions(journal: Journal, state_dir: Path | None) -> tuple[OpenSession, ...]:
    """The sessions that have cut wood and were neither finished nor ended early, newest first.

    Empty when the journal can't list them: that is no reason to refuse a cut.
    """
    rows: list[SessionRow] = []
    with contextlib.suppress(JournalError):
        rows = [row for row in journal.sessions() if row.state == "open" and row.facts and not row.rehearsed]
    where = [] if state_dir is None else ["--state", str(state_dir)]
    return tuple(
        OpenSession(row.title, row.passes_cut, shlex.join(["kerfcall", "resume", row.id, *where]))
        for row in reversed(rows)
    )


@contextlib.contextmanager
def _discarded_unless_begun(journal: Journal, session: str) -> Iterator[None]:
    """On leaving, removes the session from the journal if it has no facts, since nobody could resume it."""
    try:
        yield
    finally:
        with contextlib.suppress(JournalError):  # the error that ended the session is reported instead
            journal.discard_unbegun(session)


def _job_and_script(args: argparse.Namespace) -> tuple[Job, tuple[ScriptLine, ...]]:
    """Reads the job and the script. Raises BadInput with every fault of plan, shop, script and options at once."""
    faults: list[Fault] = []
    script: tuple[ScriptLine, ...] = ()
    # Each step is caught by itself, so that the user sees the faults of all of them in one go.
    try:
        script = check_options(args)
    except BadInput as error:
        faults += error.faults
    try:
        plan, shop = read_both(args.plan, args.shop)
        if args.no_drive:
            shop = replace(shop, carriage=replace(shop.carriage, drive=None))
        if not args.no_pedal:
            key_from_name(shop.pedal.key, f"{Path(shop.path).name}: pedal.key", is_named(shop.pedal))
        job = replace(build_job(plan, shop), shop_path=str(Path(shop.path).resolve()))
    except BadInput as error:
        raise BadInput([*error.faults, *faults]) from error
    if faults:
        raise BadInput(faults)
    return job, script
