"""The live drive: one thread that owns the serial line and carries the protocol on, whatever the session is doing."""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable
from fractions import Fraction

from assistant.carriage.line import ByteLine, GoneError, SerialLine
from assistant.carriage.protocol import Order, OrderKind, Protocol
from assistant.errors import BadInput, NoSuchPart
from assistant.joinery.model import Carriage
from assistant.runner.contracts import Clock, Post
from assistant.session.events import Lost
from assistant.session.kinds import Doubt

STEP_S, REST_S = 0.01, 0.05
"""How long the thread waits for bytes at most, while something moves and while it stands."""
AGAIN_S = 1.0
"""Between two tries to open a line that was lost."""
BEGIN_S = 15.0
"""How long a controller may take until it has listed its settings, s."""
TICK_S = 1.0
LINE_LOST = "The line to the motion controller is lost. Plug it in again, and home the carriage again."


class LiveDrive:
    """See `runner.contracts.Driven`.

    pedal_down: whether the pedal is down now; it is asked on this thread. tick: called once a second while something
    moves. opened: makes the line; tests give another. Raises NoSuchPart: no such port, in use, nothing answers there;
    BadInput: what the controller's settings must be, all faults at once.
    """

    def __init__(
        self,
        clock: Clock,
        post: Post,
        carriage: Carriage,
        pedal_down: Callable[[], bool],
        tick: Callable[[], None],
        opened: Callable[[str], ByteLine] = SerialLine,
    ):
        assert carriage.drive is not None, "only a driven carriage has a line"
        self._clock, self._post, self._carriage, self._pedal_down, self._tick = clock, post, carriage, pedal_down, tick
        self._port, self._opened = carriage.drive.port, opened
        self._orders: deque[Order] = deque()
        self._halts = self._releases = False
        self._closing = False
        self._stirred = threading.Event()
        self._tick_at: float | None = None
        self._line: ByteLine | None = opened(self._port)
        self._protocol = Protocol(carriage, pedal_down, clock.at())
        try:
            self._begin()
        except BaseException:
            self._line.close()
            raise
        self._thread = threading.Thread(target=self._run, name="carriage", daemon=True)
        self._thread.start()

    # --- from any thread

    def look(self, id: str) -> None:
        self._give(Order(OrderKind.LOOK, id))

    def home(self, id: str, visit: bool, pressed_at: float, held: bool) -> None:
        self._give(Order(OrderKind.HOME, id, pressed_at, held, visit))

    def move_to(self, id: str, setting: Fraction, approach: Fraction, pressed_at: float, held: bool) -> None:
        self._give(Order(OrderKind.MOVE, id, pressed_at, held, False, setting, approach))

    def _give(self, order: Order) -> None:
        # Before the order is there: whatever comes after that is meant for this order.
        self._halts = self._releases = False
        self._orders.append(order)
        self._wake()

    def halt(self) -> bool:
        moving = self.moving
        if moving:
            self._halts = True
            self._send_urgent()
        return moving

    def pressed(self) -> bool:
        return self.halt()

    def released(self) -> None:
        if self._protocol.held or any(order.held for order in tuple(self._orders)):
            self._releases = True
            self._send_urgent()

    @property
    def moving(self) -> bool:
        return self._protocol.busy or any(order.kind != OrderKind.LOOK for order in tuple(self._orders))

    @property
    def position(self) -> Fraction | None:
        return self._protocol.position

    @property
    def reach(self) -> tuple[Fraction, Fraction] | None:
        """The least and greatest reading, mm, that the controller's travel allows; None where it has no end."""
        return self._protocol.reach

    def close(self) -> None:
        """Halt, wait until it stands, and release the line."""
        self.halt()
        self._closing = True
        self._wake()
        if threading.current_thread() is not self._thread:
            self._thread.join(10)

    def _send_urgent(self) -> None:
        """No lock: this may be a signal handler that has interrupted anything."""
        # Before the byte goes out, so that no further piece of the way follows it.
        self._protocol.halting = True
        line, protocol = self._line, self._protocol
        if line is not None:
            if protocol.homing or protocol.may_halt:
                line.urgent(protocol.urgent)
            line.wake()

    def _wake(self) -> None:
        line = self._line
        if line is not None:
            line.wake()
        self._stirred.set()

    # --- on the drive's own thread

    def _begin(self) -> None:
        end = self._clock.at() + BEGIN_S
        protocol = self._protocol
        while protocol.faults is None and not protocol.news and self._clock.at() < end:
            try:
                self._exchange(STEP_S)
            except GoneError as error:
                raise NoSuchPart(f"The serial line {self._port} was lost while it was opened.") from error
        if protocol.faults:
            raise BadInput(protocol.faults)
        if protocol.faults is None:
            mend = "correct carriage.drive.port, or switch the controller on, and look at its USB lead"
            raise NoSuchPart(f"Nothing at {self._port} answers as a motion controller does. To fix it: {mend}.")

    def _exchange(self, within_s: float) -> None:
        """Hand in what has come, and send what is to go."""
        line, protocol = self._line, self._protocol
        assert line is not None
        came = line.read(within_s)
        at = self._clock.at()
        out = protocol.take(came, at) if came else protocol.passed(at)
        if out:
            line.write(out)

    def _run(self) -> None:
        while not (self._closing and not self.moving):
            if self._line is None:
                self._wait_for_line()
                continue
            try:
                self._take_orders()
                self._exchange(STEP_S if self.moving else REST_S)
            except GoneError:
                self._lose_line()
            self._say()
            self._tick_if_due()
        if self._line is not None:
            self._line.close()

    def _take_orders(self) -> None:
        protocol, line = self._protocol, self._line
        assert line is not None
        out = b""
        while self._orders:
            # Taken off only when the protocol has it, so that `moving` never says that nothing is asked for.
            out += protocol.order(self._orders[0], self._clock.at())
            self._orders.popleft()
        if self._halts:
            self._halts = False
            out += protocol.halt(self._clock.at())
        if self._releases or protocol.held and not self._pedal_down():
            self._releases = False
            out += protocol.let_go(self._clock.at())
        if out:
            line.write(out)

    def _say(self) -> None:
        news, self._protocol.news = self._protocol.news, []
        for make in news:
            self._post(make(self._clock.at(), self._clock.utc()))

    def _tick_if_due(self) -> None:
        if not self._protocol.busy:
            self._tick_at = None
            return
        now = self._clock.at()
        if self._tick_at is None:
            self._tick_at = now + TICK_S
        elif now >= self._tick_at:
            self._tick_at += TICK_S
            self._tick()

    def _lose_line(self) -> None:
        """Say so, and begin again on a new line once there is one: nothing is known of what the controller did."""
        line, self._line = self._line, None
        if line is not None:
            line.close()
        self._say()
        if self._protocol.busy or not self._protocol.lost:
            self._post(Lost(self._clock.at(), self._clock.utc(), Doubt.LINE, LINE_LOST))
        self._protocol = Protocol(self._carriage, self._pedal_down, self._clock.at(), lost=True)

    def _wait_for_line(self) -> None:
        end = self._clock.at() + AGAIN_S
        while self._clock.at() < end and not self._closing:
            while self._orders:
                self._orders.popleft()
                self._post(Lost(self._clock.at(), self._clock.utc(), Doubt.LINE, LINE_LOST))
            self._stirred.wait(REST_S)
            self._stirred.clear()
        if self._closing:
            return
        with contextlib.suppress(NoSuchPart):
            line = self._opened(self._port)
            # Before the line is there, since a halt from another thread uses both.
            self._protocol = Protocol(self._carriage, self._pedal_down, self._clock.at(), lost=True)
            self._line = line
