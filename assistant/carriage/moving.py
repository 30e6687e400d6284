"""One move of a carriage: jogs in pieces, watched by reports, until it stands where it was sent or was halted."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from fractions import Fraction

from assistant.carriage import dialect, settings
from assistant.carriage.motion import OUT_MAX_S, JogPiece, Leg, Slack, pieces
from assistant.carriage.settings import Controller
from assistant.carriage.talk import ANSWER_S, HOME_AGAIN, SILENT_S, DoubtfulError, Talk, Task
from assistant.joinery.model import Carriage
from assistant.joinery.units import plain_length, round_to_step
from assistant.session.kinds import Doubt

POLL_MOVING_S = 0.025
"""Between two questions for a report while it moves, s: a report of 60 characters takes 5 ms of a 115,200-baud line."""
SETTLE_S = 0.3
"""How long a controller that took a line may still call itself idle, s."""
AGAIN_S = 0.02
"""How often a halt is sent again until it stands: a line still under way would start another jog."""
TAKEN_S = 0.025
"""How long a halt waits for the answer of a line that went out just before, s."""
LINES_OUT = 2
"""Lines without an answer at most: with one on its way and one waiting it moves smoothly, its buffer never full."""
SHOWN = Fraction(1, 2000)
"""mm, half of the last decimal in its reports."""


class StoodError(Exception):
    """It was halted, and stands with its place known."""


class Moving(Talk):
    """A controller whose settings are known, and where its carriage is."""

    def __init__(self, carriage: Carriage, at: float):
        assert carriage.drive is not None, "only a driven carriage has a controller"
        super().__init__(at)
        self.carriage, self.drive = carriage, carriage.drive
        self._axis = dialect.AXES.index(self.drive.axis)
        self.controller: Controller | None = None
        """What it says of itself; None until it has."""
        self._zero: Fraction | None = None
        """The machine coordinate at which the carriage reads 0; None while its place isn't known."""
        self._rests_at: Fraction | None = None
        """The machine coordinate at which it was left."""
        self._slack = Slack(carriage.backlash, Fraction(0))
        self.halting = False
        """What moves is to stop; may be set from any thread."""

    def _check_place(self) -> None:
        """The carriage stands where it was left, and is not locked."""
        if self._seen.locked:
            raise DoubtfulError(Doubt.ALARM, f"The motion controller has locked itself. {HOME_AGAIN}")
        if self._rests_at is None or abs(self._place - self._rests_at) > self._step + SHOWN:
            text = "The motion controller says that the carriage stands elsewhere than it was left."
            raise DoubtfulError(Doubt.ELSEWHERE, f"{text} {HOME_AGAIN}")

    def _end_hold(self) -> Task:
        """Whatever its input held is forgotten, so that nothing but a new order can move it."""
        yield from self._reset()
        yield from self._fresh()

    @property
    def _place(self) -> Fraction:
        """The machine coordinate of the last report, mm."""
        places = self._seen.places
        if places is None or len(places) <= self._axis:
            raise DoubtfulError(Doubt.GARBAGE, f"The motion controller does not report where it stands. {HOME_AGAIN}")
        return places[self._axis]

    @property
    def _step(self) -> Fraction:
        assert self.controller is not None
        return 1 / settings.steps_per_mm(self.drive, self.controller)

    def _elsewhere(self, setting: Fraction) -> DoubtfulError:
        at = self._place - (self._zero or 0)
        text = f"The carriage was sent to {plain_length(setting, places=3)} and stands at {plain_length(at, places=3)}."
        return DoubtfulError(Doubt.ELSEWHERE, f"{text} {HOME_AGAIN}")

    def _go(self, legs: list[Leg], until: Callable[[], bool] | None = None) -> Task:
        """Go along these legs, places in machine coordinates; stop sooner once `until` holds for a report.

        Raises StoodError where it was halted, DoubtfulError where its place is in doubt.
        """
        start = round_to_step(self._place, self._step)
        to_come = deque(pieces(start, legs, self._step))
        if not to_come:
            return
        target = to_come[-1].end
        out: deque[JogPiece] = deque()
        sent_to = start
        seen_at = self.report_at
        idle_since: float | None = None
        self._refused = None
        try:
            while True:
                self._check()
                if self._refused is not None:
                    text = f"The motion controller refused to move: {self._refused}."
                    raise DoubtfulError(Doubt.GARBAGE, f"{text} {HOME_AGAIN}")
                if self._unanswered and self._now - self._unanswered[0][1] > ANSWER_S:
                    raise DoubtfulError(Doubt.GARBAGE, f"The motion controller did not answer. {HOME_AGAIN}")
                if self._now - self.report_at > SILENT_S:
                    raise self._silent()
                if self.halting:
                    yield from self._stop()
                    raise StoodError
                if self.report_at > seen_at:
                    seen_at = self.report_at
                    yield from self._check_way(min(start, sent_to), max(start, sent_to))
                    if until is not None and until():
                        yield from self._stop()
                        return
                    while out and out[0].left(self._place) <= 0:
                        out.popleft()
                    # An `ok` means planned; motion begins later, and an older report may still say that it stands.
                    current = not self._unanswered and self._answered_ask > self._ask_at_answer
                    if not (self._seen.stands and current):
                        idle_since = None
                    # Lines have no checksum: with a digit lost on the way it answers `ok` and goes elsewhere.
                    elif not to_come and abs(self._place - target) <= self._step / 2 + SHOWN:
                        return
                    elif out or not to_come:
                        idle_since = seen_at if idle_since is None else idle_since
                        if seen_at - idle_since > SETTLE_S:
                            raise self._elsewhere(target - (self._zero or 0))
                while (
                    to_come
                    and len(self._unanswered) < LINES_OUT
                    and sum(piece.left(self._place) for piece in out) + to_come[0].seconds <= OUT_MAX_S
                ):
                    piece = to_come.popleft()
                    self._send(dialect.jog(self.drive.axis, piece.end, piece.feed))
                    out.append(piece)
                    sent_to, idle_since = piece.end, None
                self._poll(POLL_MOVING_S)
                yield
        finally:
            self._slack.moved(self._place - start)
            self._rests_at = self._place

    def _check_way(self, low: Fraction, high: Fraction) -> Task:
        """A report on the way: whether the way is still the one that was sent, and nothing has stopped it."""
        report = self._seen
        if report.locked:
            raise DoubtfulError(Doubt.ALARM, f"The motion controller has locked itself. {HOME_AGAIN}")
        slip = self._step + SHOWN
        if not low - slip <= self._place <= high + slip:
            text = "The carriage left the way that it was sent: a line was changed on its way to the controller."
            raise DoubtfulError(Doubt.ELSEWHERE, f"{text} Look at its USB lead. {HOME_AGAIN}")
        if report.hold_input or report.held:
            yield from self._stop()
            raise StoodError

    def _stop(self) -> Task:
        """Halt the jogs until a report asked for since says that it stands, and no line is under way."""
        asks, end, again = self._asks, self._now + 2 * SILENT_S, self._now
        while True:
            self._check()
            if self._now >= again and self.may_halt:
                self._out += dialect.HALT_JOG
                again = self._now + AGAIN_S
            report = self._seen
            if self._answered_ask > max(asks, self._ask_at_answer) and not report.moves:
                stale = self._unanswered and self._now - self._unanswered[0][1] > SETTLE_S
                if self._unanswered and (report.held or stale):
                    # What it has not taken yet would run once it is let go, or join the next line.
                    yield from self._end_hold()
                    self._check_stood()
                    return
                if not self._unanswered:
                    self._check_stood()
                    return
            if self._now >= end or self._now - self.report_at > SILENT_S:
                raise self._silent()
            self._poll(AGAIN_S)
            yield

    @property
    def may_halt(self) -> bool:
        """Whether a halt stops all that was sent.

        One that comes right behind a line, before the controller has planned it, stops what moves; then it takes the
        line and moves on. Its answer comes within milliseconds.
        """
        return not self._unanswered or self._now - self._sent_at > TAKEN_S

    def _check_stood(self) -> None:
        if self._seen.locked:
            raise DoubtfulError(Doubt.ALARM, f"The motion controller has locked itself. {HOME_AGAIN}")
        self._rests_at = self._place
