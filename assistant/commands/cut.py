"""`kerfcall cut PLAN`: starts a new session of a plan, live or rehearsed, or of its test joint."""

from __future__ import annotations

import argparse
import contextlib
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from assistant.calibrating.health import kerf_days
from assistant.commands.driving import Run, add_run_options, check_options, drive, is_rehearsed
from assistant.commands.test_joint import OfferAnswer, add_test_joint_options, choice, faults_of, judge
from assistant.errors import BadInput, Fault, JournalError
from assistant.journal.choosing import open_sessions
from assistant.journal.lock import SessionLock
from assistant.journal.store import Journal, default_state_dir
from assistant.pedal.devices import is_named
from assistant.pedal.names import key_from_name
from assistant.plans.job import build_job
from assistant.plans.model import Job, Plan, Shop
from assistant.plans.plan_file import read_both
from assistant.plans.test_joint import build_test_joint
from assistant.runner.clock import LiveClock
from assistant.runner.one_live import LiveLock
from assistant.runner.script import ScriptLine
from assistant.session.state import State


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (TOML)")
    parser.add_argument(
        "--shop", type=Path, metavar="FILE", help="the shop file (default: the one in your configuration folder)"
    )
    add_test_joint_options(parser)
    add_run_options(parser)


def run(args: argparse.Namespace) -> int:
    """Exit code 0 if the session is finished, 1 if it was left or none was wanted. Raises BadInput with every fault."""
    asked = _asked(args)
    # Before the lock and the journal: an answer of "not now" leaves nothing behind.
    chosen = choice(args, asked.plan, asked.shop)
    if chosen == OfferAnswer.LEAVE:
        print("-- No session was started.")
        return 1
    if chosen != OfferAnswer.CUT:
        return _run_session(args, asked, asked.job, chosen == OfferAnswer.SKIP)
    test, _ = build_test_joint(asked.plan, asked.shop)
    code = _run_session(args, asked, replace(test, shop_path=asked.job.shop_path), False)
    # Only what was cut to the end, and in wood, can be put together.
    if code == 0 and not is_rehearsed(args):
        judge(args, asked.plan, asked.shop)
    return code


def _run_session(args: argparse.Namespace, asked: _Asked, job: Job, test_joint_skipped: bool) -> int:
    """A session of this job, from its row in the journal to its end. Returns as `drive` does."""
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
            at_hand = (beside, test_joint_skipped, kerf_days(asked.shop))
            return drive(Run(job, session, journal, State(), None, args.plan, *at_hand), args, asked.script)


@contextlib.contextmanager
def _discarded_unless_begun(journal: Journal, session: str) -> Iterator[None]:
    """On leaving, removes the session from the journal if it has no facts, since nobody could resume it."""
    try:
        yield
    finally:
        with contextlib.suppress(JournalError):  # the error that ended the session is reported instead
            journal.discard_unbegun(session)


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the command line asks to be cut. script: the rehearsal's lines."""

    plan: Plan
    shop: Shop
    job: Job
    script: tuple[ScriptLine, ...]


def _asked(args: argparse.Namespace) -> _Asked:
    """Reads all files. Raises BadInput with every fault of plan, shop, script and options at once."""
    faults: list[Fault] = []
    script: tuple[ScriptLine, ...] = ()
    plan: Plan | None = None
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
        raise BadInput([*error.faults, *faults, *faults_of(args, plan)]) from error
    faults += faults_of(args, plan)
    if faults:
        raise BadInput(faults)
    return _Asked(plan, shop, job, script)
