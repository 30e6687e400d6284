"""Talks with a motion controller: lines and their answers, reports, resets, and waiting for them.

What waits is a generator: it yields until something has come or time has passed, and is then carried on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator
from fractions import Fraction

from assistant.carriage import dialect
from assistant.session.kinds import Doubt

SILENT_S = 1.0
"""How long nothing may come, s, before its place is in doubt."""
ANSWER_S = 1.0
"""How long a line may wait for its answer, s: a planned jog is answered at once."""
STORE_S = 2.0
"""How long storing a setting may take, s: it writes to a slow memory, and hears nothing meanwhile."""
GREETING_S = 2.5
"""A board that starts when its line is opened has its boot loader first, s."""
ASK_AGAIN_S = 0.25
"""After this a question is taken for lost on its way, s."""
AFTER_LINE_S = 0.008
"""While it makes a report it takes no line, and a halt must not overtake one, s."""

Task = Generator[None, None, None]
HOME_AGAIN = "Home it again."


class DoubtfulError(Exception):
    """Nobody knows where the carriage stands."""

    def __init__(self, why: Doubt, text: str):
        self.why, self.text = why, text
        super().__init__(text)


class Talk:
    """The line to one controller, opened at session time `at`, s."""

    def __init__(self, at: float):
        self._now = at
        self._out = bytearray()
        self._part = b""
        self._unanswered: deque[tuple[str, float]] = deque()
        self._refused: dialect.LineRefused | None = None
        self._alarm: dialect.Alarm | None = None
        self._doubt: DoubtfulError | None = None
        self._greetings = 0
        self._listed: list[dialect.ControllerSaid] = []
        self._expecting_greeting = True
        """Whatever comes now may be left over from before a reset."""
        self._storing = False
        self._asks = 0
        self._answered_ask = 0
        """The question that the last report answered, counted from 1."""
        self._ask_at_answer = 0
        """The last question before a line was last answered."""
        self._awaiting_report = False
        self._last_asked = at
        self._sent_at = at - AFTER_LINE_S
        self.report: dialect.Report | None = None
        self.report_at = at

    # --- what came

    def _came(self, data: bytes) -> None:
        *lines, self._part = (self._part + data).split(b"\n")
        for line in lines:
            self._said(dialect.understand(line))
        if len(self._part) > 4 * dialect.LINE_MAX:
            self._part = b""
            self._said(dialect.Garbage(""))

    def _said(self, said: dialect.ControllerSaid) -> None:
        if isinstance(said, dialect.Report):
            self.report, self.report_at = said, self._now
            self._awaiting_report = False
            self._answered_ask = self._asks
        elif isinstance(said, dialect.Ok | dialect.LineRefused):
            self._answer(said)
        elif isinstance(said, dialect.Alarm):
            self._alarm = said
        elif isinstance(said, dialect.Greeting):
            self._greetings += 1
            if self._alarm is None:  # else the alarm says why it greets
                text = "The motion controller started again by itself. Look at its supply and its USB lead."
                self._doubtful(Doubt.RESET, f"{text} {HOME_AGAIN}")
        elif isinstance(said, dialect.Garbage):
            text = "The motion controller sent something unreadable. Look at its USB lead."
            self._doubtful(Doubt.GARBAGE, f"{text} {HOME_AGAIN}")
        elif not isinstance(said, dialect.Message):
            self._listed.append(said)

    def _answer(self, said: dialect.Ok | dialect.LineRefused) -> None:
        if not self._unanswered:
            text = "The motion controller answered a line that was never sent. Look at its USB lead."
            self._doubtful(Doubt.GARBAGE, f"{text} {HOME_AGAIN}")
            return
        self._unanswered.popleft()
        self._ask_at_answer = self._asks
        if isinstance(said, dialect.LineRefused):
            self._refused = said

    def _doubtful(self, why: Doubt, text: str) -> None:
        if self._doubt is None and not self._expecting_greeting:
            self._doubt = DoubtfulError(why, text)

    # --- what goes out

    def _send(self, line: str) -> None:
        self._out += line.encode("ascii") + b"\n"
        self._sent_at = self._now
        self._unanswered.append((line, self._now))

    def _poll(self, every_s: float) -> None:
        """Ask for a report, unless one is still awaited or it is too soon."""
        if self._storing or self._now < self._sent_at + AFTER_LINE_S:
            return
        if self._now >= self._last_asked + (ASK_AGAIN_S if self._awaiting_report else every_s):
            self._out += dialect.STATUS
            self._awaiting_report, self._last_asked = True, self._now
            self._asks += 1

    # --- waiting

    def _wait(self, until: Callable[[], bool], within_s: float, late: DoubtfulError) -> Task:
        """Until this holds. Raises `late` after `within_s`, and whatever doubt comes first."""
        end = self._now + within_s
        while not until():
            self._check()
            if self._now >= end:
                raise late
            yield

    def _pause(self, seconds: float) -> Task:
        end = self._now + seconds
        while self._now < end:
            yield

    def _check(self) -> None:
        if self._doubt is not None:
            raise self._doubt
        if self._alarm is not None and not self._expecting_greeting:
            raise DoubtfulError(Doubt.ALARM, f"The motion controller has stopped: {self._alarm}. {HOME_AGAIN}")

    @property
    def _seen(self) -> dialect.Report:
        assert self.report is not None, "nothing is decided before the first report"
        return self.report

    def _fresh(self) -> Task:
        """A report that was asked for from now on."""
        end = self._now + SILENT_S
        # `?` only sets a flag, so that two sent close together get one report: let the earlier one be answered first.
        while self._awaiting_report and self._now < self._last_asked + ASK_AGAIN_S:
            self._check()
            yield
        asked = self._asks
        while self._answered_ask <= asked:
            self._check()
            if self._now >= end:
                raise self._silent()
            self._poll(0.0)
            yield

    @staticmethod
    def _silent() -> DoubtfulError:
        text = "The motion controller has gone silent. Look at its supply and its USB lead."
        return DoubtfulError(Doubt.SILENT, f"{text} {HOME_AGAIN}")

    def _reset(self) -> Task:
        """Reset it, and forget every line that was out. At rest it keeps its place."""
        self._expecting_greeting = True
        greetings = self._greetings
        # More than once: a boot loader swallows what comes in its first second.
        for _ in range(3):
            self._out += dialect.RESET
            end = self._now + SILENT_S
            while self._greetings == greetings and self._now < end:
                yield
            if self._greetings > greetings:
                yield from self._greeted()
                return
        raise self._silent()

    def _greeted(self) -> Task:
        """Let what belongs to the greeting come, and begin again with nothing out."""
        yield from self._pause(0.05)
        self._unanswered.clear()
        self._refused = self._alarm = self._doubt = None
        self._awaiting_report = False
        self._expecting_greeting = False

    def _line(self, line: str, within_s: float) -> Task:
        """Send a line and wait for its answer."""
        self._refused = None
        self._send(line)
        late = DoubtfulError(Doubt.GARBAGE, f"The motion controller did not answer. {HOME_AGAIN}")
        yield from self._wait(lambda: not self._unanswered, within_s, late)
        self._check()

    def _store(self, number: int, value: Fraction) -> Task:
        """Store a setting while it stands. It hears nothing then, so nothing else is sent before its answer."""
        # It writes its memory with interrupts off, and would lose a `?` that is still on its way.
        while self._awaiting_report and self._now < self._last_asked + SILENT_S:
            self._check()
            yield
        self._storing = True
        try:
            yield from self._line(dialect.write(number, value), STORE_S)
        finally:
            self._storing = False
        if self._refused is not None:
            raise DoubtfulError(Doubt.GARBAGE, f"The motion controller did not store a setting: {self._refused}.")
