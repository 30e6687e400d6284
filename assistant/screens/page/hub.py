"""Takes news from the session's thread to every open page: one inbox in, one bounded queue out for each stream.

The session puts a reference on the inbox and goes on. The hub's thread puts the news into words, numbers it and hands
the same bytes to each stream. If a device stops reading, its stream is closed; when it connects again it gets the whole
state. Each message carries the whole state and its sequence number.
"""

from __future__ import annotations

import contextlib
import json
import queue
import secrets
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from typing import Any

from assistant.drawings.holding import Holding, holding_of
from assistant.plans.intents import Mode
from assistant.plans.model import Job
from assistant.screens.page.picture import (
    Json,
    board_of,
    dials_shown,
    entry_of,
    held_of,
    place_in_travel,
    state_of,
    table_of,
)
from assistant.screens.view_move import MOVES
from assistant.screens.view_sight import Gathering, Sight
from assistant.session.effects import View
from assistant.session.events import Event
from assistant.session.facts import Record
from assistant.session.kinds import Klass
from assistant.wording.prompts import Words

MOST_WAITING = 200  # messages for a device that doesn't read
LOG = 120  # lines that a page gets when it opens
MOST_STREAMS = 32
SECRET = Klass.CODE
"""Announcements of this class go to no page: the pairing code is spoken with it."""

Take = Callable[[Gathering], None]


@dataclass(eq=False)
class Stream:
    """What goes out to one page. None in the queue ends it. device: its id."""

    device: str
    queue: queue.Queue[bytes | None] = field(default_factory=lambda: queue.Queue(MOST_WAITING))
    closed: bool = False

    def put(self, message: bytes | None) -> None:
        """Never waits: a full queue means that its device has stopped reading."""
        try:
            self.queue.put_nowait(message)
        except queue.Full:
            self.closed = True


@dataclass(frozen=True, slots=True)
class SessionStanding:
    """What an answer from a page is checked against.

    mode, asked_id: of the newest state. asked_seq: the message that first asked it. seq: the newest message.
    may_record_cuts: whether the shop file lets a page record cuts.
    """

    mode: Mode | None = None
    asked_id: int = -1
    asked_seq: int = 0
    seq: int = 0
    may_record_cuts: bool = False


class Hub:
    """A `Screen` and `Watcher` of the runner's contracts that feeds pages. Without a session its state stays empty."""

    def __init__(self, session: str = "", now: Callable[[], datetime] = datetime.now):
        """session: its id, "" if no session runs here."""
        self.session = session
        self.run = secrets.token_hex(4)  # a page that sees a different run starts again
        self.standing = SessionStanding()
        self._now = now
        self._inbox: queue.SimpleQueue[Take | None] = queue.SimpleQueue()
        self._guard = threading.Lock()
        self._streams: list[Stream] = []
        self._gathering = Gathering()
        self._log: deque[Json] = deque(maxlen=LOG)
        self._logged: Sight | None = None
        self._state: Json = {}
        self._words: Words | None = None
        self.position: Callable[[], Fraction | None] = lambda: None
        """What a driven carriage last reported, mm; None where nobody knows. Called on the servers' threads."""
        self._board: Json | None = None
        self._board_key: object = None
        self._holding: Holding | None = None
        self._held: Json | None = None
        self._dials: Json | None = None
        self._table: Json | None = None
        self._table_key: object = None
        self._thread = threading.Thread(target=self._run, name="page hub", daemon=True)
        self._thread.start()

    # From the session's thread

    def show(self, view: View, line: str | None, words: Words, klass: Klass = Klass.LINE) -> None:
        self._inbox.put(lambda gathering: gathering.show(view, line, words, klass))

    def said(self, text: str, klass: Klass, record: str) -> None:
        if klass != SECRET:
            self._inbox.put(lambda gathering: gathering.said(text, klass, record))

    def turn(self, event: Event, records: Sequence[Record]) -> None:
        self._inbox.put(lambda gathering: gathering.turn(event, records))

    def before(self, records: Sequence[Record]) -> None:
        """Take the facts of a session that is resumed; they give the pace so far."""
        self._inbox.put(lambda gathering: gathering.pace.take(records))

    # From the servers' threads

    def open(self, device: str) -> Stream | None:
        """A new stream that begins with the whole state; None when `MOST_STREAMS` are open."""
        stream = Stream(device)
        with self._guard:
            if len(self._streams) >= MOST_STREAMS:
                return None
            self._streams.append(stream)
            # Within the lock, so that no change falls between this and the first that the stream gets.
            stream.put(self._message("all", {**self._body(), **self._pictures(), "log": list(self._log)}))
        return stream

    def shut(self, stream: Stream) -> None:
        with self._guard, contextlib.suppress(ValueError):
            self._streams.remove(stream)

    def tick(self) -> bytes:
        """The message that shows that the stream is alive, and where the carriage is while it moves."""
        body: Json = {"seq": self.standing.seq, "run": self.run}
        if self.moving and self._words is not None:
            body["carriage"] = place_in_travel(self.position(), self._words, True)
        return self._message("tick", body)

    @property
    def moving(self) -> bool:
        """Whether a driven carriage moves, as far as the pages know."""
        return self.standing.mode in MOVES

    @property
    def alive(self) -> bool:
        """Whether news still gets through. If not, no page must look live."""
        return self._thread.is_alive()

    @property
    def streams(self) -> int:
        return len(self._streams)

    def close(self) -> None:
        """End every stream and the hub's thread."""
        self._inbox.put(None)
        self._thread.join(2.0)
        with self._guard:
            for stream in self._streams:
                stream.closed = True
                stream.put(None)

    # On the hub's thread

    def _run(self) -> None:
        while True:
            take = self._inbox.get()
            # What arrived together, such as all of one turn, goes out as one message.
            while take is not None:
                take(self._gathering)
                try:
                    take = self._inbox.get_nowait()
                except queue.Empty:
                    break
            if take is None:
                return
            if self._gathering.whole:
                self._publish(self._gathering.sight)

    def _publish(self, sight: Sight) -> None:
        """Send this sight to every stream if it has changed."""
        state, entries = state_of(sight), self._new_entries(sight)
        with self._guard:
            if state == self._state and not entries:
                return
            # Something else is open now, and an old refusal would seem to be about it.
            if state.get("asked_id") != self._state.get("asked_id"):
                self._log = deque((entry for entry in self._log if entry["klass"] != Klass.REFUSED), LOG)
            self._state = state
            for entry in entries:
                if self._log and self._log[-1]["n"] == entry["n"]:  # the same line, repeated
                    self._log.pop()
                self._log.append(entry)
            seq, before, view = self.standing.seq + 1, self.standing, sight.view
            if view is None or sight.words is None:
                self.standing = SessionStanding(seq=seq)
            else:
                asked_seq = before.asked_seq if before.asked_id == view.generation else seq
                may = sight.words.job.page.may_record_cuts
                self._words = sight.words
                self.standing = SessionStanding(view.mode, view.generation, asked_seq, seq, may)
            before_these = self._pictures()
            self._draw(sight)
            drawn = {name: made for name, made in self._pictures().items() if made is not before_these[name]}
            message = self._message("change", {**self._body(), **drawn, "log": entries})
            for stream in self._streams:
                stream.put(message)

    def _new_entries(self, sight: Sight) -> list[Json]:
        """Log lines that were not sent yet, or were repeated since.

        Entries are kept by reference, so identity shows which were sent.
        """
        known = self._logged.log if self._logged else ()
        self._logged = sight
        if sight.log is known:
            return []
        ids = {id(entry) for entry in known}
        clock = self._now().strftime("%H:%M:%S")
        return [entry_of(entry, clock) for entry in sight.log if id(entry) not in ids]

    def _pictures(self) -> Json:
        return {"board": self._board, "held": self._held, "dials": self._dials, "job": self._table}

    def _draw(self, sight: Sight) -> None:
        """Make those pictures that differ from the last ones sent. They go out with the state that they belong to."""
        view, words = sight.view, sight.words
        if not self._state or words is None or view is None:
            return
        job: Job = words.job
        key = job.setups[view.setup - 1].pattern
        if key != self._board_key:
            self._board_key, self._board = key, board_of(job, view.setup)
        holding = holding_of(job, job.setups[view.setup - 1], view)
        if holding != self._holding:
            self._holding, self._held = holding, held_of(holding)
        if self._dials is None or self._dials["asked_id"] != view.generation:
            self._dials = dials_shown(view, words)
        if view.standing is not None and (view.standing, job.order) != self._table_key:
            self._table_key, self._table = (view.standing, job.order), table_of(job, view.standing)

    def _body(self) -> Json:
        may = self.standing.may_record_cuts
        seen = {"run": self.run, "seq": self.standing.seq, "session": self.session, "may_record_cuts": may}
        return {**seen, "state": self._state}

    @staticmethod
    def _message(kind: str, body: Any) -> bytes:
        return f"event: {kind}\ndata: {json.dumps(body, ensure_ascii=False)}\n\n".encode()
