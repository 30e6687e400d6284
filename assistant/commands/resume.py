"""`kerfcall resume [ID]`: goes back into an open session, at the pass that was interrupted."""

from __future__ import annotations

import argparse
import contextlib
from dataclasses import replace
from pathlib import Path

from assistant.commands.driving import Run, add_run_options, check_options, drive, is_rehearsed
from assistant.commands.test_joint import reporting
from assistant.journal.choosing import replayed, row_to_resume
from assistant.journal.faults import RECOVERS, of_session
from assistant.journal.lock import SessionLock
from assistant.journal.store import Journal, default_state_dir
from assistant.plans.model import TEST_JOINT, Job
from assistant.plans.since_begun import phrases_left_out, plan_changes, shop_changes, with_drive_of_today
from assistant.runner.one_live import LiveLock
from assistant.session.state import changed as changed_state

REHEARSED = "This session was only rehearsed. The passes that it counts as cut were never cut."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("session", nargs="?", metavar="ID", help="the session (default: the latest unfinished one)")
    parser.add_argument(
        "--shop", type=Path, metavar="FILE", help="the shop file to compare with (default: the session's own)"
    )
    add_run_options(parser)


def run(args: argparse.Namespace) -> int:
    script = check_options(args)
    state_dir = args.state or default_state_dir()
    with Journal.open(state_dir) as journal:
        rehearsed = is_rehearsed(args)
        row = row_to_resume(journal, args.session, rehearsed, args.state)
        session = row.id
        alone = contextlib.nullcontext() if rehearsed else LiveLock(row.title, args.state, session)
        with alone, SessionLock(state_dir, session):
            # Under the lock, so that no other process adds facts meanwhile.
            state = replayed(journal, session, args.state)
            state = changed_state(state, {"job": _as_driven_now(state.the_job, args)})
            if row.fault:  # only the list sees some damage: if the last facts are gone, the rest still replay well
                raise of_session(journal.path, session, row.fault, RECOVERS)
            if not rehearsed:
                print(f"-- Session {session}: {row.title}. Press ? for the keys.")
            job = state.the_job
            plan_notes = plan_changes(Path(row.plan_path), row.plan_digest)
            notes = plan_notes + shop_changes(job, args.shop) + phrases_left_out(job)
            if row.rehearsed and not rehearsed:
                notes = (REHEARSED, *notes)
            code = drive(Run(job, session, journal, state, notes, Path(row.plan_path)), args, script)
        if code == 0 and not rehearsed and row.title.startswith(TEST_JOINT):
            own = Path(job.shop_path) if job.shop_path else None
            print(f"-- {reporting(Path(row.plan_path), args.shop or own, args.state)}")
        return code


def _as_driven_now(job: Job, args: argparse.Namespace) -> Job:
    if args.no_drive:
        return replace(job, carriage=replace(job.carriage, drive=None))
    return with_drive_of_today(job, args.shop)
