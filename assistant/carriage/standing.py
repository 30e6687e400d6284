"""A controller that is only asked and set up while its carriage stands: for `ready` and `carriage configure`."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from assistant.carriage.dialect import Report
from assistant.carriage.line import ByteLine, GoneError, SerialLine
from assistant.carriage.protocol import Order, OrderKind, Protocol
from assistant.carriage.settings import Controller
from assistant.errors import CouldNotRun, Fault, NoSuchPart
from assistant.joinery.model import Carriage, Drive, HomeKind

ROUND_S = 0.02  # between two looks at its time-outs
BEGIN_S = 15.0  # for its boot loader, its greeting and the list of its settings
ORDER_S = 5.0  # an order that moves nothing has failed by itself before that


@dataclass(frozen=True, slots=True)
class SwitchStates:
    """What the switches show. home_closed: None where home is by hand. clear: sled drawn right back; None: no input."""

    home_closed: bool | None
    clear: bool | None


def switches_of(drive: Drive, report: Report) -> SwitchStates:
    """What this report shows of the switches that this drive has."""
    home = drive.axis in report.pins if drive.home == HomeKind.SWITCH else None
    return SwitchStates(home, not report.hold_input if drive.clear_input else None)


def counted_place(drive: Drive, report: Report) -> Fraction | None:
    """Where the controller counts the carriage to be, mm, from where it started or homed; None if it doesn't say."""
    axis = "XYZ".index(drive.axis)
    return None if report.places is None or axis >= len(report.places) else report.places[axis]


class StandingController:
    """Opens the line, lets the controller start and list its settings. Nothing is ever moved.

    Raises NoSuchPart: no such port, in use, or nothing there answers.
    """

    def __init__(
        self,
        carriage: Carriage,
        opened: Callable[[str], ByteLine] = SerialLine,
        now: Callable[[], float] = time.monotonic,
    ):
        assert carriage.drive is not None, "only a driven carriage has a line"
        self._port, self._now = carriage.drive.port, now
        self._line = opened(self._port)
        self._protocol = Protocol(carriage, lambda: False, now())
        try:
            self._pump(lambda: self._protocol.faults is not None or bool(self._protocol.news), BEGIN_S)
        except BaseException:
            self._line.close()
            raise
        if self._protocol.faults is None:
            self._line.close()
            raise NoSuchPart(self._nothing())

    def _nothing(self) -> str:
        mend = "correct carriage.drive.port, or switch the controller on, and look at its USB lead"
        return f"Nothing at {self._port} answers as a motion controller does. To fix it: {mend}."

    def _pump(self, until: Callable[[], bool], within_s: float) -> None:
        end = self._now() + within_s
        try:
            while not until() and self._now() < end:
                came = self._line.read(ROUND_S)
                at = self._now()
                out = self._protocol.take(came, at) if came else self._protocol.passed(at)
                if out:
                    self._line.write(out)
        except GoneError as error:
            raise NoSuchPart(f"The serial line {self._port} is lost. To fix it: plug it in again.") from error

    def _do(self, order: Order) -> None:
        self._protocol.news.clear()
        with contextlib.suppress(GoneError):  # the next reading raises it again
            self._line.write(self._protocol.order(order, self._now()))
        self._pump(lambda: not self._protocol.waits, ORDER_S)

    @property
    def controller(self) -> Controller:
        """What it says of itself; its settings as they are now."""
        return self._protocol.controller or Controller()

    @property
    def faults(self) -> list[Fault]:
        """What must be put right before anything may move."""
        return self._protocol.faults or []

    def look(self) -> Report:
        """A report made since. Raises CouldNotRun: none came."""
        asked = self._now()
        self._do(Order(OrderKind.LOOK, "look"))
        report = self._protocol.report
        if report is None or self._protocol.report_at < asked:
            raise CouldNotRun(self._nothing())
        return report

    def wait_for(self, clear: bool, within_s: float) -> bool:
        """Whether the clear input shows this within that time: `ready` has the sled moved both ways."""
        end = self._now() + within_s
        while self._now() < end:
            if self.look().hold_input != clear:
                return True
            self._pump(lambda: False, 5 * ROUND_S)
        return False

    def store(self, number: int, value: Fraction) -> None:
        """Store this setting. Raises CouldNotRun: it was not taken."""
        self._do(Order(OrderKind.STORE, "store", number=number, value=value))
        if self._protocol.waits or self._protocol.news:
            raise CouldNotRun(f"The motion controller did not store ${number}. To fix it: switch it off and on.")

    def close(self) -> None:
        self._line.close()

    def __enter__(self) -> StandingController:
        return self

    def __exit__(self, *problem: object) -> None:
        self.close()
