"""What a driven carriage does, in bytes and times: what came in, what goes out and what happened. No clock, no thread.

`take` hands in bytes, `passed` says that time has passed; all return the bytes to send. `news` holds the session's
events, still without their time. So arrival, time-outs and halting are all here, and go on while the session's own
thread is busy.

- Every move but homing is a jog in machine coordinates, in pieces: a stopped program leaves under half a second of it.
- A move has ended when its last line was taken and a report asked for since says that the carriage stands where it was
  sent.
- A reset while it stands lets go of what is held without starting anything. What resumes or unlocks is never sent.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Generator
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from typing import Any

from assistant.carriage import dialect, settings
from assistant.carriage.motion import Leg, ways
from assistant.carriage.moving import AGAIN_S, SETTLE_S, SHOWN, Moving, StoodError
from assistant.carriage.settings import ROOM, Controller
from assistant.carriage.talk import ANSWER_S, GREETING_S, HOME_AGAIN, SILENT_S, DoubtfulError, Task
from assistant.errors import Fault
from assistant.joinery.model import Carriage, HomeKind
from assistant.joinery.units import plain_length, round_to_step
from assistant.session.events import Arrived, Event, Halted, Homed, Looked, Lost, NotClear, SledMoved, TooOld
from assistant.session.kinds import Doubt

PRESS_AGE_S = 1.0
"""A press older than this when the first line would go out moves nothing."""
STALLED_S = 0.6
"""A program that does nothing for longer while it moves the carriage has been stopped; it halts when it goes on, s.

Longer than what is out at once takes (`motion.OUT_MAX_S`): by then the carriage stands anyway.
"""
POLL_RESTING_S = 0.12
SLOW = Fraction(60)
"""mm/min, on the last way down to the home switch."""
NEAR, CLOSE = Fraction(2), Fraction(1, 10)
"""mm above where the switch should close: from here on slowly, and from there on in single steps."""
FINE = Fraction(1, 200)
"""mm between two looks at the switch, at least."""
OFF_SWITCH = Fraction(3)
"""mm within which the switch must open again on the way up, beside the play."""
HALTED_HOMING = f"Halted on the way to the home switch. {HOME_AGAIN}"

EventMaker = Callable[[float, str], Event]


class OrderKind(StrEnum):
    LOOK = "look"
    HOME = "home"
    MOVE = "move"
    STORE = "store"
    """Have the controller store a setting."""


@dataclass(frozen=True, slots=True)
class Order:
    """One thing asked for. number, value: of a setting to store. The rest is as in the session's effects."""

    kind: OrderKind
    id: str
    pressed_at: float = 0.0
    held: bool = False
    visit: bool = False
    setting: Fraction = Fraction(0)
    approach: Fraction = Fraction(0)
    number: int = 0
    value: Fraction = Fraction(0)


class Protocol(Moving):
    """One controller on one line, from the moment that the line was opened.

    pedal_down: whether the pedal is down now; asked just before the first line of what it must hold. lost: a doubt has
    been reported before.
    """

    def __init__(self, carriage: Carriage, pedal_down: Callable[[], bool], at: float, lost: bool = False):
        super().__init__(carriage, at)
        self._pedal_down = pedal_down
        self.faults: list[Fault] | None = None
        """What must be put right before anything may move; None until it has listed its settings."""
        self.news: list[EventMaker] = []
        self.homing = False
        self._clear: bool | None = None
        self._order: Order | None = None
        self.lost = lost
        """A doubt has been reported, and nothing has been homed since."""
        self._raised = False
        """The travel is raised, to count beyond the home switch."""
        self._task = self._run()

    # --- what the outside calls

    def take(self, data: bytes, at: float) -> bytes:
        """These bytes came."""
        self._pass(at)
        self._came(data)
        return self._carry_on()

    def passed(self, at: float) -> bytes:
        """Time has passed."""
        self._pass(at)
        return self._carry_on()

    def _pass(self, at: float) -> None:
        """A program that was stopped meanwhile must not go on as if it had not been."""
        if self.busy and not self.homing and at - self._now > STALLED_S:
            self.halting = True
            self.report_at = at  # none was asked for meanwhile
        self._now = at

    def order(self, order: Order, at: float) -> bytes:
        """Do this. If the last order isn't done, both end in `Lost`."""
        self._now = at
        if self._order is not None:
            self._doubtful(Doubt.GARBAGE, f"The carriage was given two orders at once. {HOME_AGAIN}")
        else:
            self.halting = False
            self._order = order
        return self._carry_on()

    def halt(self, at: float) -> bytes:
        """Stop whatever moves or is about to."""
        self._now = at
        self.halting = self.halting or self.busy
        return self._carry_on()

    def let_go(self, at: float) -> bytes:
        """The pedal came up: what it holds stops."""
        return self.halt(at) if self.held else b""

    @property
    def held(self) -> bool:
        """Whether something moves, or is about to, that the pedal holds."""
        return self._order is not None and self._order.held

    @property
    def busy(self) -> bool:
        """Whether something moves, or is about to."""
        return self._order is not None and self._order.kind in (OrderKind.HOME, OrderKind.MOVE)

    @property
    def waits(self) -> bool:
        """Whether the last order isn't done."""
        return self._order is not None

    @property
    def urgent(self) -> bytes:
        """What stops it now: a reset while it homes, else the end of all jogs."""
        return dialect.RESET if self.homing else dialect.HALT_JOG

    @property
    def known(self) -> bool:
        """Whether the carriage's place is known."""
        return self._zero is not None

    @property
    def position(self) -> Fraction | None:
        """What the carriage reads by the last report, mm; None if its place isn't known."""
        zero, report = self._zero, self.report
        return None if zero is None or report is None or report.places is None else report.places[self._axis] - zero

    @property
    def reach(self) -> tuple[Fraction, Fraction] | None:
        """The least and greatest reading, mm, within the controller's travel; None where it has no end."""
        return None if self.controller is None else settings.reach(self.carriage, self.controller)

    # --- the run

    def _carry_on(self) -> bytes:
        next(self._task)
        out, self._out = bytes(self._out), bytearray()
        return out

    def _tell(self, kind: type[Event], **fields: Any) -> None:
        self.news.append(functools.partial(kind, **fields))

    def _run(self) -> Task:
        while True:
            try:
                if self.faults is None:
                    yield from self._begin()
                elif self._order is not None:
                    yield from self._do(self._order)
                    self._order = None
                else:
                    yield from self._rest()
            except DoubtfulError as doubt:
                yield from self._lost(doubt)

    def _begin(self) -> Task:
        """Wait for the greeting of a controller that starts when its line is opened, and have it list its settings."""
        end = self._now + GREETING_S
        while not self._greetings and self._now < end:
            yield
        if self._greetings:
            yield from self._greeted()
        # Nothing is left of whatever was sent before, and a controller that did not start by itself has to greet.
        yield from self._reset()
        yield from self._fresh()
        self._clear = not self._seen.hold_input
        if self._seen.held:
            mend = "draw the sled right back, or let go of the board's button, and try again"
            self.faults = [Fault("holds, since its hold or door input is closed", "", "controller: inputs", mend)]
            return
        yield from self._compare()

    def _compare(self, begun: bool = False) -> Task:
        """Have it list its settings, and compare them with the shop's carriage. begun: not for the first time."""
        self._listed.clear()
        for line in (dialect.BUILD, dialect.SETTINGS, dialect.START_BLOCKS):
            yield from self._line(line, ANSWER_S)
        self.controller = self._as_listed()
        number = settings.number_of(dialect.TRAVEL, self.drive.axis)
        own = settings.left_raised(self.controller.settings.get(number, Fraction(0)))
        if own is not None:
            yield from self._store_and_compare(number, own)
        self._raised = False
        self.faults = settings.faults(self.carriage, self.controller, begun)

    def _store_and_compare(self, number: int, value: Fraction) -> Task:
        assert self.controller is not None
        yield from self._store(number, value)
        self.controller = replace(self.controller, settings={**self.controller.settings, number: value})
        self.faults = settings.faults(self.carriage, self.controller)

    def _as_listed(self) -> Controller:
        builds = [said for said in self._listed if isinstance(said, dialect.Build)]
        return Controller(
            next((one.version for one in builds if one.version is not None), ""),
            next((one.options for one in builds if one.options is not None), ""),
            {said.number: said.value for said in self._listed if isinstance(said, dialect.Setting)},
            tuple(said.text for said in self._listed if isinstance(said, dialect.StartBlock)),
            self._seen.pins,
        )

    def _rest(self) -> Task:
        """Stand, look at the controller now and then, and say what has changed."""
        looked = self.report_at
        while self._order is None:
            if self.lost:
                self._doubt = self._alarm = None
            else:
                self._check()
                if self._awaiting_report and self._now - self.report_at > 2 * SILENT_S:
                    raise self._silent()
            if self.report_at > looked:
                looked = self.report_at
                yield from self._look_round()
            self._poll(POLL_RESTING_S)
            yield

    def _look_round(self) -> Task:
        report = self._seen
        clear = not report.hold_input
        if clear != self._clear and self.drive.clear_input:  # the first level is news as well
            self._tell(SledMoved, clear=clear)
        self._clear = clear
        if self.lost:
            return
        if report.moves:
            text = "Something else moves the carriage. Close every other program that uses its controller."
            raise DoubtfulError(Doubt.GARBAGE, f"{text} {HOME_AGAIN}")
        if self.known:
            self._check_place()
            if report.held and clear:
                yield from self._end_hold()

    def _lost(self, doubt: DoubtfulError) -> Task:
        """Say so once, and see to it that nothing moves."""
        asked, self._order = self._order, None
        if asked is not None or not self.lost:
            self._tell(Lost, why=doubt.why, text=doubt.text)
        self.lost = True
        self._zero = self._rests_at = None
        self._doubt = self._alarm = None
        self._out += self.urgent
        self.homing = False
        end = self._now + SETTLE_S
        asks = self._asks
        while self._now < end:
            self._doubt = self._alarm = None
            if self._answered_ask > asks and not self._seen.moves:
                return
            self._poll(AGAIN_S)
            yield
        self._out += dialect.RESET

    # --- orders

    def _do(self, order: Order) -> Task:
        try:
            if order.kind == OrderKind.LOOK:
                yield from self._fresh()
                self._tell(Looked, id=order.id, clear=not self._seen.hold_input)
            elif order.kind == OrderKind.STORE:
                yield from self._store_and_compare(order.number, order.value)
            elif (yield from self._may_begin(order)):
                if order.kind == OrderKind.MOVE:
                    yield from self._move(order)
                elif self.drive.home != HomeKind.SWITCH:
                    self._take_for_zero(order)
                elif order.visit:
                    yield from self._visit(order)
                else:
                    yield from self._home(order)
        except StoodError:
            self._rests_at = self._place
            self._tell(Halted, id=order.id, reported=self.position)

    def _may_begin(self, order: Order) -> Generator[None, None, bool]:
        """Whether it may move now, from a report asked for since; else the event that says why not."""
        needs_place = order.kind == OrderKind.MOVE or order.visit
        if needs_place and not self.known:
            raise DoubtfulError(Doubt.ELSEWHERE, f"Nobody knows where the carriage stands. {HOME_AGAIN}")
        # After some alarms (1 and 2) it takes nothing but a reset.
        if not needs_place and self.lost:
            yield from self._reset()
            # It may have started again since, or be another: a board whose memory was damaged has its defaults.
            yield from self._compare(begun=True)
        if self.faults:
            raise DoubtfulError(Doubt.GARBAGE, f"The motion controller is not set up: {self.faults[0]}.")
        yield from self._fresh()
        if self._seen.held and not self._seen.hold_input:
            yield from self._end_hold()
        report = self._seen
        if report.moves:
            yield from self._stop()
            raise DoubtfulError(Doubt.GARBAGE, f"Something else moves the carriage. {HOME_AGAIN}")
        if needs_place:
            self._check_place()
        if report.hold_input or report.held:
            self._tell(NotClear, id=order.id)
            return False
        # Last, since the reports above took time, in which a press ages and a pedal may come up.
        if self._now - order.pressed_at > PRESS_AGE_S:
            self._tell(TooOld, id=order.id)
            return False
        if self.halting or order.held and not self._pedal_down():
            if self.known:
                raise StoodError
            self._tell(TooOld, id=order.id)
            return False
        return True

    def _move(self, order: Order) -> Task:
        assert self._zero is not None
        setting, approach = order.setting, order.approach
        reach = self.reach
        if reach is not None:
            if not reach[0] <= setting <= reach[1]:
                text = f"{plain_length(setting)} lies outside the travel of the motion controller."
                raise DoubtfulError(Doubt.ELSEWHERE, f"{text} Correct carriage.travel in the shop file.")
            approach = min(max(approach, reach[0]), reach[1])
        zero = self._zero
        at = self._place - zero
        play = self.carriage.backlash
        for way in ways(at, setting, approach, self._slack.left, play, self.drive.feed, self.drive.approach_feed):
            yield from self._go([Leg(leg.to + zero, leg.feed) for leg in way])
        reported = self._place - zero
        if abs(reported - setting) > max(self._step, self.carriage.resolution / 2) + SHOWN:
            raise self._elsewhere(setting)
        self._tell(Arrived, id=order.id, reported=reported)

    # --- home

    def _take_for_zero(self, order: Order) -> None:
        """The operator has brought it to zero by hand, coming up."""
        if self._seen.locked:
            raise DoubtfulError(Doubt.ALARM, "The motion controller is locked. Switch it off and on.")
        self._zero = self._rests_at = self._place
        self._slack.left = Fraction(0)
        self.lost = False
        self._tell(Homed, id=order.id)

    def _home(self, order: Order) -> Task:
        """The controller's own homing. It answers nothing until that ends, and only a reset stops it."""
        controller = self.controller
        assert controller is not None
        self._zero = None
        # Homing counts the place from the travel, so a raised one would shift every setting.
        if self._raised:
            yield from self._restore_travel()
        before = self._seen.places or ()
        within = self._now + homing_s(self.drive.axis, controller)
        self.homing = True
        self._refused = None
        self._send(dialect.home(self.drive.axis, dialect.ALONE in controller.options))
        greetings = self._greetings
        while True:
            if self._alarm is not None:
                yield from self._why_not_homed(before, greetings)
            self._check()
            if not self._unanswered:
                break
            if self.halting:
                self._out += dialect.RESET
                raise DoubtfulError(Doubt.HALTED, HALTED_HOMING)
            if self._now >= within:
                text = "The way to the home switch takes too long. Look at the switch, its wires and the motor."
                raise DoubtfulError(Doubt.SWITCH, f"{text} {HOME_AGAIN}")
            yield
        self.homing = False
        if self._refused is not None:
            text = f"The motion controller refused to home: {self._refused}."
            raise DoubtfulError(Doubt.GARBAGE, f"{text} {HOME_AGAIN}")
        yield from self._fresh()
        trip = settings.trip_place(self.drive, controller)
        off = trip + controller.of(dialect.PULL_OFF)
        if self._seen.locked or self._seen.moves or abs(self._place - off) > self._step + SHOWN:
            text = "The motion controller does not stand where its homing ends. Look at its USB lead."
            raise DoubtfulError(Doubt.ELSEWHERE, f"{text} {HOME_AGAIN}")
        self._zero = settings.zero_place(self.carriage, controller)
        self._rests_at = self._place
        # Coming off the switch, upwards, has taken up the play: `settings.faults` sees to it that it goes that far.
        self._slack.left = Fraction(0)
        self.lost = False
        self._tell(Homed, id=order.id)

    def _why_not_homed(self, before: tuple[Fraction, ...], greetings: int) -> Task:
        """Raises DoubtfulError: which mend an alarm while homing asks for. greetings: how many came before."""
        alarm = self._alarm
        assert alarm is not None
        self.homing = False
        self._expecting_greeting = True
        end = self._now + SILENT_S
        while self._greetings == greetings and self._now < end:
            yield
        yield from self._greeted()
        yield from self._fresh()
        after = self._seen.places or ()
        if alarm.code == dialect.HALTED_HOMING:
            raise DoubtfulError(Doubt.HALTED, HALTED_HOMING)
        moved = [axis for axis, a, b in zip(dialect.AXES, before, after, strict=False) if a != b]
        if moved and self.drive.axis not in moved:
            text = (
                f"The motion controller homes {moved[0]} first and never came to {self.drive.axis}. Load a build whose "
                f"config.h has HOMING_CYCLE_0 (1<<{self.drive.axis}_AXIS) and no HOMING_CYCLE_1."
            )
        elif alarm.code == 8:
            text = (
                "The home switch stayed closed when the carriage came off it. If the carriage stands beyond it, turn "
                "the screw up by hand; else look at the switch and its wires."
            )
        else:
            text = f"Homing has failed: {alarm}. Look at the switch and its wires, and whether the screw turns freely."
        raise DoubtfulError(Doubt.SWITCH, f"{text} {HOME_AGAIN}")

    def _closed(self) -> bool:
        """Whether the home switch is closed, by the last report."""
        return self.drive.axis in self._seen.pins

    def _visit(self, order: Order) -> Task:
        """Go down to the home switch, see where it closes, and come off it again. The zero stays."""
        try:
            yield from self._visit_switch(order)
        except StoodError:
            yield from self._restore_travel()
            raise

    def _visit_switch(self, order: Order) -> Task:
        controller = self.controller
        assert controller is not None
        trip, off = settings.trip_place(self.drive, controller), controller.of(dialect.PULL_OFF)
        if self._closed() and self._place > trip + off + NEAR:
            text = f"The home switch is closed, though the carriage stands {plain_length(self._place - trip)} above it."
            raise DoubtfulError(Doubt.SWITCH, f"{text} Look at the switch and its wires. {HOME_AGAIN}")
        yield from self._down(trip + NEAR, self.drive.feed)
        if self._closed():
            yield from self._come_off()
        yield from self._down(trip + CLOSE, SLOW)
        if self._closed():
            first = self._place
            yield from self._come_off()
            yield from self._down(first + CLOSE, SLOW)
        beyond = yield from self._step_down(trip)
        closed_at = self._place
        yield from self._restore_travel()
        yield from self._go([Leg(max(closed_at, trip) + off, self.drive.feed)])
        if self._closed():
            text = "The home switch stayed closed when the carriage came off it. Look at the switch and its wires."
            raise DoubtfulError(Doubt.SWITCH, f"{text} {HOME_AGAIN}")
        by = closed_at - trip
        self._tell(Homed, id=order.id, off_by=round_to_step(by, self._step), beyond=beyond)

    def _down(self, place: Fraction, feed: Fraction) -> Task:
        """Down to this place, or until the switch closes."""
        if self._place > place and not self._closed():
            yield from self._go([Leg(place, feed)], self._closed)

    def _come_off(self) -> Task:
        yield from self._go([Leg(self._place + OFF_SWITCH + self.carriage.backlash, SLOW)], lambda: not self._closed())
        if self._closed():
            text = "The home switch stays closed. Look at the switch and its wires."
            raise DoubtfulError(Doubt.SWITCH, f"{text} {HOME_AGAIN}")

    def _step_down(self, trip: Fraction) -> Generator[None, None, bool]:
        """Down in single steps until the switch closes; beyond where it should, only with the travel raised.

        Returns whether it is still open at the end of that room.
        """
        fine = self._step * -(-FINE // self._step)
        while not self._closed():
            below = trip + ((self._place - SHOWN - trip) // fine) * fine
            if below < trip - ROOM:
                return True
            # Only when it must: the controller's memory for settings takes some 100,000 writes.
            if below < trip and not self._raised:
                yield from self._raise_travel()
            yield from self._go([Leg(below, SLOW)])
        return False

    def _raise_travel(self) -> Task:
        assert self.controller is not None
        # Before it is asked for: if the answer gets lost, the travel may be raised all the same.
        self._raised = True
        number = settings.number_of(dialect.TRAVEL, self.drive.axis)
        yield from self._store(number, self.controller.of(dialect.TRAVEL, self.drive.axis) + ROOM)

    def _restore_travel(self) -> Task:
        if self._raised:
            assert self.controller is not None
            number = settings.number_of(dialect.TRAVEL, self.drive.axis)
            yield from self._store(number, self.controller.of(dialect.TRAVEL, self.drive.axis))
            self._raised = False


def homing_s(axis: str, controller: Controller) -> float:
    """How long homing may take at most, s: its travel at its speed and a fifth more, and coming off the switch."""
    seek, locate = controller.of(dialect.SEEK_RATE) / 60, controller.of(dialect.LOCATE_RATE) / 60
    off = controller.of(dialect.PULL_OFF)
    way = controller.of(dialect.TRAVEL, axis) / seek
    # The firmware itself would search 1.5 times the travel, pressing into the end of the screw all the while. Its
    # second, slow search is 5 times the way off the switch (limits.c).
    return float(way * Fraction(6, 5) + 2 * off / seek + 5 * off / locate) + 2.0
