"""Which session a command is about: the one named, the latest, the one to go back to, those left open."""

from __future__ import annotations

import contextlib
import shlex
from difflib import get_close_matches
from pathlib import Path

from assistant.errors import BadInput, CouldNotRun, Fault, JournalError
from assistant.journal.account import one_line
from assistant.journal.playing import played
from assistant.journal.schema import SessionState
from assistant.journal.store import REBUILT, Journal, SessionRow, journal_path
from assistant.session.events import OpenSession
from assistant.session.state import ENDED_EARLY, FINISHED, State


def all_rows(state_dir: Path | None) -> list[SessionRow]:
    """All sessions, oldest first; none if there is no journal."""
    path = journal_path(state_dir)
    # Opening would create a journal: looking must not. A repair that was interrupted leaves only the rebuilt file.
    if not path.exists() and not path.with_name(REBUILT).exists():
        return []
    with Journal.open_to_read(state_dir) as journal:
        return journal.sessions()


def chosen_row(rows: list[SessionRow], id: str | None, state_dir: Path | None, where: str) -> SessionRow:
    """The session named, or the latest for None. where: the command, for a fault.

    Raises CouldNotRun if there is none at all, BadInput for an unknown one.
    """
    if id is None:
        if not rows:
            raise CouldNotRun(no_sessions(state_dir))
        return rows[-1]
    found = next((row for row in rows if row.id == id), None)
    if found is None:
        what = f"there is no session {one_line(id)}"
        if near := get_close_matches(id, [row.id for row in rows], n=3, cutoff=0.5):
            mend = f"similar ones: {', '.join(near)}"
        elif rows:
            mend = "`kerfcall journal list` lists them all"
        else:
            mend = "the journal is empty; `kerfcall cut PLAN` starts a session"
        raise BadInput([Fault(what, "", where, mend)])
    return found


def no_sessions(state_dir: Path | None) -> str:
    return f"No sessions yet in {journal_path(state_dir).parent}; `kerfcall cut PLAN` starts one."


def open_sessions(journal: Journal, state_dir: Path | None) -> tuple[OpenSession, ...]:
    """The sessions that have cut wood and were neither finished nor ended early, newest first.

    Empty when the journal can't list them: that is no reason to refuse a cut.
    """
    rows: list[SessionRow] = []
    with contextlib.suppress(JournalError):
        rows = [row for row in journal.sessions() if row.state == SessionState.OPEN and row.facts and not row.rehearsed]
    where = [] if state_dir is None else ["--state", str(state_dir)]
    return tuple(
        OpenSession(row.title, row.passes_cut, shlex.join(["kerfcall", "resume", row.id, *where]))
        for row in reversed(rows)
    )


def row_to_resume(journal: Journal, id: str | None, rehearsed: bool, named: Path | None) -> SessionRow:
    """The session to go back to: the one named, or the latest that can be for None.

    rehearsed: it is to be gone on with as a rehearsal. named: as for `latest_begun`. Raises CouldNotRun as that does,
    for an unknown session, and where a session that cuts real wood would be rehearsed.
    """
    if not id:
        return latest_begun(journal, rehearsed, named)
    row = next((row for row in journal.sessions() if row.id == id), None)
    if row is None:
        raise CouldNotRun(f"there is no session {id} in {journal.path}; see: kerfcall journal list")
    if rehearsed and not row.rehearsed and not row.fault:
        raise CouldNotRun(
            f"session {id} cuts real wood, and a rehearsal would record passes that nobody has cut; rehearse a new "
            "session with: kerfcall cut PLAN --rehearse SCRIPT"
        )
    return row


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
