"""Reads sessions from the journal for the page: the list, and one session with its pace.

Another process may be writing the journal. Reading goes in small steps with pauses, because it shares the interpreter
with a session that may be cutting.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from assistant.journal.account import account, duration, local_time, one_line
from assistant.journal.schema import SessionState
from assistant.journal.store import Journal, SessionRow, journal_path
from assistant.plans.model import Job
from assistant.screens.page.picture import Json, pattern_of
from assistant.screens.view_pace import Pace, time_lines
from assistant.session import facts as f

STEP, PAUSE_S = 50, 0.002  # records in each step, and the pause after it
FRESH_S = 5.0  # how old a list of sessions may be
# As much as a phone draws at once; what is left out is counted.
MOST_LINES = 600
MOST_ROWS = 200
MOST_BOARDS = 12


class History:
    """The journal of one state folder, read on request by one reader at a time. Callable from any thread."""

    def __init__(self, state_dir: Path, now: Callable[[], float] = time.monotonic):
        self._state_dir, self._now = state_dir, now
        self._guard = threading.Lock()
        self._rows: tuple[float, list[SessionRow]] | None = None

    def sessions(self) -> Json:
        """The latest sessions, newest first. Raises JournalError."""
        with self._guard:
            rows = self._fresh_rows()
        return {"sessions": [row_of(row) for row in reversed(rows[-MOST_ROWS:])], "in_all": len(rows)}

    def one(self, id: str) -> Json | None:
        """One session with its account, pace and boards; None if there is no such session."""
        with self._guard:
            row = next((row for row in self._fresh_rows() if row.id == id), None)
            if row is None:
                return None
            with Journal.open_beside(self._state_dir) as journal:
                return detail_of(row, journal.replay(id, with_gaps=True))

    def _fresh_rows(self) -> list[SessionRow]:
        if self._rows is not None and self._now() - self._rows[0] < FRESH_S:
            return self._rows[1]
        rows: list[SessionRow] = []
        if journal_path(self._state_dir).exists():
            with Journal.open_beside(self._state_dir) as journal:
                rows = journal.sessions()
        self._rows = (self._now(), rows)
        return rows


def row_of(row: SessionRow) -> Json:
    return {
        "id": row.id,
        "title": one_line(row.title),
        "state": row.state,
        "started": local_time(row.started_utc),
        "took": duration(row.last_at),
        "took_s": round(row.last_at, 1),
        "passes_cut": row.passes_cut,
        "rehearsed": row.rehearsed,
    }


def detail_of(row: SessionRow, records: Iterable[f.Record], pause: Callable[[float], None] = time.sleep) -> Json:
    """One session as the page shows it. records: this session's, in order. pause: sleeps between steps (s)."""
    times = PassTimes()
    lines = account(row, _with_pauses(times.noting(records), pause)).splitlines()
    left_out = max(0, len(lines) - MOST_LINES)
    job = times.job
    return {
        **row_of(row),
        "of": job.passes_without(times.spoilt) if job else 0,
        "ended": local_time(row.last_utc)[11:16] if row.last_utc and row.state != SessionState.OPEN else "",
        "times": list(time_lines(times.pace.times())),
        "pace": times.passes,
        "account": [*([f"({left_out} lines before these)"] if left_out else []), *lines[left_out:]],
        "boards": [pattern_of(pattern, job) for pattern in job.patterns[:MOST_BOARDS]] if job else [],
    }


class PassTimes:
    """How long each pass took from its call until it was cut, in the order of cutting, but for those taken back."""

    def __init__(self) -> None:
        self.job: Job | None = None
        self.pace = Pace()
        self.passes: list[Json] = []
        self.spoilt: set[int] = set()
        self._called: tuple[int, int, float] | None = None

    def noting(self, records: Iterable[f.Record]) -> Iterator[f.Record]:
        """Yields the same records and keeps their times."""
        for record in records:
            at = record.at
            self.pace.take((record,))
            match record.fact:
                case f.Started(job=job):
                    self.job = job
                case f.JobExtended():
                    self.job = record.fact.extend(self.job) if self.job else None
                case f.DepthSet():
                    self.job = record.fact.change(self.job) if self.job else None
                case f.SetupReopened() | f.BoardSpoilt():
                    gone = _taken_back(record.fact)
                    self.passes = [one for one in self.passes if not gone(one["setup"], one["pass"])]
                    self._called = None
                    if isinstance(record.fact, f.BoardSpoilt):
                        self.spoilt.update(record.fact.setups)
                case f.SettingCalled(setup, pass_, _):
                    self._called = (setup, pass_, at)
                case f.PassCut(setup, pass_, by):
                    if self._called is not None and self._called[:2] == (setup, pass_):
                        took = round(at - self._called[2], 1)
                        self.passes.append({"setup": setup, "pass": pass_, "took_s": took, "by": by})
                    self._called = None
                case f.SteppedBack(setup, pass_) | f.Jumped(setup, pass_):
                    self.passes = [one for one in self.passes if (one["setup"], one["pass"]) != (setup, pass_)]
                    self._called = None
                case f.StoodBy() | f.Resumed():
                    self._called = None
            yield record


def _taken_back(fact: f.SetupReopened | f.BoardSpoilt) -> Callable[[int, int], bool]:
    """Whether a pass no longer counts from this fact on."""
    if isinstance(fact, f.BoardSpoilt):
        return lambda setup, pass_: setup in fact.setups
    return lambda setup, pass_: setup == fact.setup and pass_ in fact.passes


def _with_pauses(records: Iterable[f.Record], pause: Callable[[float], None]) -> Iterator[f.Record]:
    for n, record in enumerate(records, start=1):
        if not n % STEP:
            pause(PAUSE_S)
        yield record
