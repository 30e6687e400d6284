"""`kerfcall job [ID]`: what a session has cut and what is left, setup by setup; and changes of it, one at a time."""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from pathlib import Path

from assistant.asking import agreed, asker
from assistant.errors import BadInput, CouldNotRun, Fault
from assistant.journal.account import one_line
from assistant.journal.choosing import all_rows, chosen_row
from assistant.journal.faults import RECOVERS, of_session
from assistant.journal.lock import SessionLock
from assistant.journal.playing import played
from assistant.journal.schema import SessionState
from assistant.journal.store import Journal, SessionRow, default_state_dir
from assistant.runner.clock import LiveClock
from assistant.session import facts as f
from assistant.session.events import Event
from assistant.session.kinds import JobChange
from assistant.session.rework import change_job, is_over, read_back, refusal
from assistant.session.state import State
from assistant.session.table import as_json, in_lines, rows_of, standing_of
from assistant.session.turn import Turn
from assistant.wording.joining import YES_NO
from assistant.wording.prompts import Words

CHANGES = {
    "start": JobChange.BOARD,
    "again": JobChange.END,
    "spoilt": JobChange.SPOILT,
    "copy": JobChange.COPY,
}
"""Options that take a setup's number; with --socket, --again is about one socket."""
UNCHANGED = "Nothing was changed."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("id", nargs="?", metavar="ID", help="the session, e.g. 2026-11-25-1 (default: the latest)")
    parser.add_argument("--start", type=int, metavar="N", help="go on with setup N, whatever the order says")
    parser.add_argument("--again", type=int, metavar="N", help="cut the end of setup N off, and cut it again")
    parser.add_argument("--socket", type=int, metavar="S", help="with --again: cut only its socket S again")
    parser.add_argument("--spoilt", type=int, metavar="N", help="the board of setup N is spoilt: cut another")
    parser.add_argument("--copy", type=int, metavar="N", help="cut one more copy of the board of setup N")
    parser.add_argument("--reopen", action="store_true", help="open a session again that is finished or was ended")
    parser.add_argument("--yes", action="store_true", help="answer the question with yes")
    parser.add_argument("--json", action="store_true", help="print the table as JSON, for other programs")
    folder = "the folder of the journal (default: your data folder)"
    parser.add_argument("--state", metavar="DIR", type=Path, help=folder)


def run(args: argparse.Namespace) -> int:
    """Exit code 0; 1 if a change was not agreed to; 2 for one that can't be made and for an unknown session."""
    changes = [name for name in CHANGES if getattr(args, name) is not None] + ["reopen"] * args.reopen
    _refuse_mixed(args, changes)
    begun = [row for row in all_rows(args.state) if args.id or row.facts or row.fault]
    row = chosen_row(begun, args.id, args.state, "job")
    if changes:
        return _change(args, row, changes[0])
    with Journal.open_to_read(args.state) as journal:
        _show(args, row, _state_of(journal, row))
    return 0


def _refuse_mixed(args: argparse.Namespace, changes: list[str]) -> None:
    """Raises BadInput with every fault of the options together."""
    faults = []
    if len(changes) > 1:
        given = " ".join(f"--{name}" for name in changes)
        faults.append(Fault("make one change at a time", given, "job", "give the others in calls of their own"))
    if args.socket is not None and args.again is None:
        faults.append(Fault("means nothing alone", str(args.socket), "job: --socket", "give it with --again N"))
    if args.yes and not changes:
        faults.append(Fault("answers no question here", "", "job: --yes", "leave it out, or give a change"))
    if faults:
        raise BadInput(faults)


def _state_of(journal: Journal, row: SessionRow) -> State:
    """The state after all facts. Raises CouldNotRun for a session that never began, JournalError for a damaged one."""
    state = played(journal, row.id)
    if row.fault:  # only the list sees some damage: if the last facts are gone, the rest still replay well
        raise of_session(journal.path, row.id, row.fault, RECOVERS)
    if state.job is None or not state.setup:
        raise CouldNotRun(f"session {row.id} was interrupted before it began; start a new one with: kerfcall cut PLAN")
    return state


def _change(args: argparse.Namespace, row: SessionRow, name: str) -> int:
    """Ask, and commit the change under the session's lock, so that nothing else is cut or changed meanwhile."""
    state_dir = args.state or default_state_dir()
    with Journal.open(state_dir) as journal, SessionLock(state_dir, row.id):
        state = _state_of(journal, row)
        turn = Turn(state, Event(state.at, LiveClock().utc()))
        if name == "reopen":
            if not is_over(state):
                return _refused(args, row, name, f"Session {row.id} is open already.")
            question = f"Session {row.id} is {state.mode}. Open it again?"
        else:
            what = JobChange.SOCKET if args.socket is not None else CHANGES[name]
            place = getattr(args, name), args.socket or 0
            why_not = refusal(state, what, *place)
            if why_not is not None:
                return _refused(args, row, name, one_line(Words(state.the_job, figures=True).one(why_not)))
            question = one_line(_read_back(state, what, *place))
        if not _agreed(args, question):
            return 1
        if name == "reopen":
            turn.fact(f.Reopened())
        else:
            change_job(turn, what, *place)
        journal.append(row.id, turn.decision(None).records)
    _show(args, row, turn.state)
    return 0


def _read_back(state: State, what: JobChange, setup: int, socket: int) -> str:
    """The question with which the session itself would read the change back."""
    return Words(state.the_job).shown((read_back(state, what, setup, socket),)).removesuffix(YES_NO).rstrip()


def _refused(args: argparse.Namespace, row: SessionRow, name: str, why: str) -> int:
    value = f" {getattr(args, name)}" if name in CHANGES else ""
    table = _command("job", args, row)
    print(f"kerfcall: job: --{name}{value}: {why} {UNCHANGED} The setups: {table}", file=sys.stderr)
    return 2


def _agreed(args: argparse.Namespace, question: str) -> bool:
    """Whether the change is wanted; says so where it isn't."""
    out = sys.stderr if args.json else sys.stdout
    if args.yes:
        print(f"{question} Yes (--yes).", file=out)
        return True
    if sys.stdin is None or not sys.stdin.isatty():
        print(f"{question}\nkerfcall: no terminal to answer on. {UNCHANGED} To answer yes: --yes", file=sys.stderr)
        return False
    if agreed(asker(args.json), lambda line: print(line, file=out), question):
        return True
    spoilt = " If there is no length to spare: --spoilt." if args.again is not None and args.socket is None else ""
    print(f"{UNCHANGED}{spoilt}", file=out)
    return False


def _show(args: argparse.Namespace, row: SessionRow, state: State) -> None:
    """The table, and how to go on."""
    job, standing = state.the_job, str(state.mode) if is_over(state) else str(SessionState.OPEN)
    rows = rows_of(job, standing_of(state))
    if args.json:
        seen = {"session": row.id, "title": row.title, "state": standing, "rehearsed": row.rehearsed}
        sums = {"cut": state.cut_in_all, "passes": state.passes_in_all}
        print(json.dumps({**seen, **sums, "setups": as_json(rows)}, indent=2))
        return
    rehearsed = ", rehearsed" if row.rehearsed else ""
    print(f"Session {row.id}: {one_line(row.title)}")
    print(f"  {standing}{rehearsed}; {state.cut_in_all} of {state.passes_in_all} passes cut\n")
    head, lines = in_lines(job, rows)
    print("\n".join((head, *map(one_line, lines))))
    if is_over(state):
        print(f"\nTo open it again: {_command('job', args, row)} --reopen")
    else:
        print(f"\nTo go on: {_command('resume', args, row)}{' --rehearse SCRIPT' if row.rehearsed else ''}")


def _command(name: str, args: argparse.Namespace, row: SessionRow) -> str:
    where = [] if args.state is None else ["--state", str(args.state)]
    return shlex.join(["kerfcall", name, row.id, *where])
