"""A session as the journal's tables hold it: its sealed row, and what its facts add up to."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from typing import Any

from assistant.journal.schema import SessionState
from assistant.journal.seals import START, row_seal
from assistant.plans.members import member
from assistant.session.facts import EndedEarly, Fact, Finished, Jumped, Reopened, Resumed, SteppedBack


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One session in the list. passes_cut: those cut and not taken back since. last_utc: of its newest fact, or "".

    rehearsed: whether no wood was cut. last: the number of its last fact, lost or not. fault: what is wrong with its
    facts, "" if nothing is.
    """

    id: str
    title: str
    plan_digest: str
    plan_path: str
    started_utc: str
    state: SessionState
    program_version: str
    facts: int
    passes_cut: int
    last_at: float
    last_utc: str
    rehearsed: bool = False
    last: int = 0
    fault: str = ""


@dataclass(frozen=True, slots=True)
class CheckedRow:
    """A session's row, its seal checked. texts: as in `row_seal`. head: the seal of fact `last`."""

    seq: int
    texts: tuple[bytes, ...]
    last: int
    head: bytes

    @property
    def state(self) -> SessionState:
        return member(SessionState, text_of(self.texts[5]))

    def seal_with(self, state: SessionState, last: int, head: bytes) -> bytes:
        """The seal that the row would have with these values."""
        return row_seal(self.seq, (*self.texts[:5], state.encode(), self.texts[6]), last, head)


@dataclass(slots=True)
class Sum:
    """The totals of a walk through a session's facts. fault: the first thing wrong with them, "" if nothing is."""

    facts: int = 0
    last: int = 0
    head: bytes = START
    at: float = 0.0
    utc: bytes | None = b""
    rehearsed: bool = False
    cut: set[tuple[int, int]] = field(default_factory=set)
    fault: str = ""

    def add(
        self, n: Any, at: Any, utc: bytes | None, kind: bytes | None, body: bytes | None, seal: bytes, right: bytes
    ) -> None:
        """Count one more fact. seal: the seal it has. right: the seal it should have."""
        self.facts += 1
        self.head = seal
        try:
            if seal != right:
                raise ValueError("it doesn't match its checksum")
            if type(n) is not int or type(at) is not float or not math.isfinite(at):
                raise ValueError(f"its number is {n!r:.40}, its time {at!r:.40}")
            self.last, self.at, self.utc = n, at, utc
            # Other bodies aren't read: they would add nothing here, and there may be very many.
            if kind in _COUNTED or n == 1:
                values = json.loads(body or b"")
                if kind == b"started":
                    self.rehearsed = values.get("rehearsed") is True
                elif kind == b"pass_cut":
                    # A set, not a count: one taken back and cut again counts once.
                    self.cut.add((values["setup"], values["pass"]))
                elif kind == b"setup_reopened":
                    self.cut -= {(values["setup"], pass_) for pass_ in values["passes"]}
                elif kind == b"board_spoilt":
                    self.cut = {one for one in self.cut if one[0] not in values["setups"]}
                elif kind == b"job_extended":
                    # Of a setup that another one replaces, the cuts belong to what is there for that one.
                    self.cut = {one for one in self.cut if one[0] in values["order"]}
                elif kind in _COUNTED:
                    self.cut.discard((values["setup"], values["pass"]))
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            self.fault = self.fault or f"fact {n!r:.40} ({text_of(kind)!r:.40}) can't be read: {error!s:.80}"


_COUNTED = (b"pass_cut", b"stepped_back", b"jumped", b"setup_reopened", b"board_spoilt", b"job_extended")


def session_row(row: CheckedRow, of: Sum) -> SessionRow:
    id, title, digest, path, started_utc, _, program = (text_of(text) for text in row.texts)
    return SessionRow(
        id,
        title,
        digest,
        path,
        started_utc,
        row.state,
        program,
        of.facts,
        len(of.cut),
        of.at,
        text_of(of.utc),
        of.rehearsed,
        row.last,
        of.fault,
    )


def state_after(state: SessionState, fact: Fact) -> SessionState:
    """The session's state once this fact holds.

    Going back from a finished session opens it again, and so does resuming one ended early.
    """
    if isinstance(fact, Finished):
        return SessionState.FINISHED
    if isinstance(fact, EndedEarly):
        return SessionState.ENDED_EARLY
    ended = state == SessionState.ENDED_EARLY
    if isinstance(fact, SteppedBack | Jumped | Reopened) or (isinstance(fact, Resumed) and ended):
        return SessionState.OPEN
    return state


def text_of(stored: bytes | None) -> str:
    """The stored bytes as text. Bytes that aren't text become escapes."""
    return (stored or b"").decode("utf-8", "backslashreplace")
