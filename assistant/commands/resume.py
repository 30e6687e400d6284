"""`kerfcall resume [ID]`: goes back into an open session, at the pass that was interrupted."""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import shlex
from dataclasses import replace
from pathlib import Path

from assistant.commands.driving import Run, add_run_options, check_options, drive, is_rehearsed
from assistant.commands.test_joint import reporting
from assistant.errors import BadInput, CouldNotRun
from assistant.journal.faults import RECOVERS, of_session
from assistant.journal.lock import SessionLock
from assistant.journal.playing import played
from assistant.journal.schema import SessionState
from assistant.journal.store import Journal, SessionRow, default_state_dir
from assistant.plans.intents import Intent
from assistant.plans.languages import language_of
from assistant.plans.model import TEST_JOINT, Job
from assistant.plans.own_phrases import sayable
from assistant.plans.shop_changes import changed
from assistant.plans.shop_file import default_shop_path, try_shop
from assistant.runner.one_live import LiveLock
from assistant.session.state import ENDED_EARLY, FINISHED, State
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
        if not args.session:
            row = latest_begun(journal, rehearsed, args.state)
        elif (found := next((row for row in journal.sessions() if row.id == args.session), None)) is not None:
            row = found
        else:
            raise CouldNotRun(f"there is no session {args.session} in {journal.path}; see: kerfcall journal list")
        session = row.id
        if rehearsed and not row.rehearsed and not row.fault:
            raise CouldNotRun(
                f"session {session} cuts real wood, and a rehearsal would record passes that nobody has cut; rehearse "
                "a new session with: kerfcall cut PLAN --rehearse SCRIPT"
            )
        alone = contextlib.nullcontext() if rehearsed else LiveLock(row.title, args.state, session)
        with alone, SessionLock(state_dir, session):
            # Under the lock, so that no other process adds facts meanwhile.
            state = replayed(journal, session, args.state)
            state = _with_drive_of_today(state, args)
            if row.fault:  # only the list sees some damage: if the last facts are gone, the rest still replay well
                raise of_session(journal.path, session, row.fault, RECOVERS)
            if not rehearsed:
                print(f"-- Session {session}: {row.title}. Press ? for the keys.")
            notes = changed_files(row) + changed_shop(state.the_job, args.shop) + left_out(state.the_job)
            if row.rehearsed and not rehearsed:
                notes = (REHEARSED, *notes)
            code = drive(Run(state.the_job, session, journal, state, notes, Path(row.plan_path)), args, script)
        if code == 0 and not rehearsed and row.title.startswith(TEST_JOINT):
            own = Path(state.the_job.shop_path) if state.the_job.shop_path else None
            print(f"-- {reporting(Path(row.plan_path), args.shop or own, args.state)}")
        return code


def _with_drive_of_today(state: State, args: argparse.Namespace) -> State:
    """The state with the drive that this run uses: none, or the session's own at the port that the shop file names now.

    A port can have another name after a restart, and moves no cut. Everything else of the drive stays as stored.
    """
    job = state.the_job
    carriage = job.carriage
    if carriage.drive is None:
        return state
    drive = None
    if not args.no_drive:
        path = args.shop or (Path(job.shop_path) if job.shop_path else default_shop_path())
        shop, _ = try_shop(path)
        now = shop.carriage.drive if shop else None
        drive = replace(carriage.drive, port=now.port) if now else carriage.drive
    changed_job = replace(job, carriage=replace(carriage, drive=drive))
    return changed_state(state, {"job": changed_job})


def latest_begun(journal: Journal, rehearsed: bool, named: Path | None = None) -> SessionRow:
    """The newest open session, live or rehearsed as asked, that has at least one fact.

    "Newest" goes by the order of creation, since a clock can be set back. A session killed before its first fact has
    nothing to resume. A damaged one counts: an older one is never quietly taken instead.

    named: the journal's folder, if it was named. Raises CouldNotRun when there is none, and names an open session of
    the other kind if there is one, or else the latest of this kind, which can be opened again.
    """
    rows = [row for row in journal.sessions() if row.facts or row.fault]
    begun = [row for row in rows if row.state == SessionState.OPEN]
    kind = [row for row in begun if row.rehearsed == rehearsed or row.fault]  # a damaged one can be of either kind
    if kind:
        return kind[-1]
    if begun and not rehearsed:
        raise CouldNotRun(
            "there is no open session to resume, only a rehearsal, in which no wood was cut "
            f"(kerfcall resume {begun[-1].id}); start a session with: kerfcall cut PLAN"
        )
    over = [row for row in rows if row.rehearsed == rehearsed]
    if over and not begun:
        raise CouldNotRun(
            f"there is no open session to resume: the latest, {over[-1].id}, is {over[-1].state}; to open it again: "
            f"{reopening(over[-1].id, named)}; to start a new one: kerfcall cut PLAN"
        )
    none = "there is no open rehearsal to resume" if begun else "there is no open session to resume"
    raise CouldNotRun(f"{none}; start one with: kerfcall cut PLAN" + (" --rehearse SCRIPT" if begun else ""))


def replayed(journal: Journal, session: str, named: Path | None = None) -> State:
    """The state that the session's facts lead to. Raises CouldNotRun if the session is over or never began.

    named: the journal's folder, if it was named.
    """
    state = played(journal, session)
    if state.mode in (FINISHED, ENDED_EARLY):
        raise CouldNotRun(
            f"session {session} is {state.mode}; to open it again: {reopening(session, named)} (or, if a board must be "
            "cut again or one more is needed: --again N, --spoilt N, --copy N); start a new one with: kerfcall cut PLAN"
        )
    if state.job is None:
        raise CouldNotRun(f"session {session} was interrupted before it began; start a new one with: kerfcall cut PLAN")
    return state


def reopening(session: str, named: Path | None) -> str:
    """The command that opens a session again. named: as for `latest_begun`."""
    where = [] if named is None else ["--state", str(named)]
    return shlex.join(["kerfcall", "job", session, *where, "--reopen"])


def left_out(job: Job) -> tuple[str, ...]:
    """A line for each of the session's own phrases that isn't listened for, with what to say instead.

    Each could be taken for another phrase. A session keeps its own copy of the phrases, so a change in the shop file
    doesn't reach it: refusing to resume would lock a half-cut board away.
    """
    voice, lines = job.voice, []
    safe = sayable(voice, job.checks)
    for one in safe.left_out:
        check = one.intent == Intent.CHECK
        wording = safe.answers.get(one.meaning) if check else safe.phrases[one.intent][0]
        led = check or one.intent in language_of(voice.language).led
        instead = f'Say "{voice.lead_in} {wording}".' if led else f'Say "{wording}".'
        lines.append(
            f'"{one.text}" for {one.meaning} is not listened for: it sounds too much like "{one.rival}" for {one.of}. '
            + (instead if wording else "Confirm it with a long press.")
        )
    return tuple(lines)


def changed_files(row: SessionRow) -> tuple[str, ...]:
    """A note if the plan file is gone or has changed. The session keeps its own copy of the plan in any case."""
    path = Path(row.plan_path)
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except (OSError, ValueError):  # ValueError: a damaged journal can hold what is no file name at all
        return (f"The plan file {path.name} is gone. The session goes on with its own copy.",)
    if digest != row.plan_digest:
        return (f"The plan file {path.name} has changed since. The session goes on with its own copy.",)
    return ()


def changed_shop(job: Job, named: Path | None) -> tuple[str, ...]:
    """A note if the shop file is gone or has changed. The session keeps its own blade and carriage in any case.

    named: the file to compare with. None: the file that the session was started with or, where that isn't known, the
    user's own. Raises BadInput with every fault of a file that was named.
    """
    path = named or (Path(job.shop_path) if job.shop_path else default_shop_path())
    shop, faults = try_shop(path)
    if shop is not None:
        if not (lines := changed(job, shop)):
            return ()
        return (
            f"The shop file {path.name} has changed since: {'; '.join(lines)}. The session goes on with the old "
            "figures. They are right only for the blade and the carriage that it was started with.",
        )
    if named is not None:
        raise BadInput(faults)
    if not job.shop_path:
        return ()
    what = "can no longer be read" if path.exists() else "is gone"
    return (f"The shop file {path.name} {what}. The session goes on with its own figures.",)
