"""A protocol and a simulated controller on one simulated clock, without a thread and without waiting."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from assistant.carriage.protocol import Order, Protocol
from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from assistant.joinery.model import Carriage, Drive
from assistant.session.events import Event, Lost

STEP_S = 0.01


def carriage(**changed: object) -> Carriage:
    """A carriage with a screw of 5 mm and a motor of 400 steps a millimetre, as a shop file has it."""
    drive: dict[str, object] = {"port": "simulated", "home_reads": Fraction(-1), "clear_input": True}
    drive |= {"steps_per_mm": Fraction(400)} | dict(changed.pop("drive", {}))  # type: ignore[call-overload]
    values: dict[str, object] = {"kind": "steps", "resolution": Fraction(1, 400), "backlash": Fraction(8, 100)}
    values |= {"travel": (Fraction(-1), Fraction(290)), "drive": Drive(**drive)}  # type: ignore[arg-type]
    return Carriage(**(values | changed))  # type: ignore[arg-type]


class Rig:
    """`pump` lets time pass. events: what the session would have got."""

    def __init__(
        self,
        controller: Simulated | None = None,
        shop: Carriage | None = None,
        screw: Screw | None = None,
        on_line: Callable[[Rig, str], None] | None = None,
    ):
        self.controller = controller or Simulated(screw or Screw(play=0.08, home_at=-1.0))
        self.carriage = shop or carriage()
        self.now = 0.0
        self.down = True
        self.plugged = True
        self.events: list[Event] = []
        self.out = bytearray()
        """Everything that was sent."""
        self.on_line = on_line
        self.protocol = Protocol(self.carriage, lambda: self.down, 0.0)
        self._to_host = self.controller.opened(0.0)
        self._orders = 0
        self.lines = 0
        """For a test's own count of lines that went out."""
        self.fault_soon: Callable[[Rig], None] | None = None
        """What goes wrong once the line that goes out now has come."""
        self.halt_soon = False
        self.stopped_for = 0.0
        """The program is stopped for so long, s, while the controller goes on."""

    def _sent(self, data: bytes) -> None:
        self.out += data
        for line in data.split(b"\n")[:-1]:
            if self.on_line is not None:
                self.on_line(self, line.decode("latin-1"))
        if self.plugged:
            self._to_host += self.controller.take(data, self.now)

    def other_sends(self, data: bytes) -> None:
        """Another program sends this to the controller."""
        self._to_host += self.controller.take(data, self.now)

    def pump(self, seconds: float = STEP_S) -> None:
        end = self.now + seconds
        while self.now < end - 1e-9:
            self.now += STEP_S
            if self.fault_soon is not None:
                fault, self.fault_soon = self.fault_soon, None
                fault(self)
            if self.stopped_for:
                self.now += self.stopped_for
                self.stopped_for = 0.0
            if self.halt_soon:
                self.halt_soon = False
                self.halt()
            came = self._to_host + self.controller.passed(self.now)
            self._to_host = b""
            if came and self.plugged:
                self._sent(self.protocol.take(came, self.now))
            else:
                self._sent(self.protocol.passed(self.now))
            news, self.protocol.news = self.protocol.news, []
            self.events += [make(self.now, "") for make in news]

    def plug_in(self) -> None:
        """As the live drive does: a new protocol on the new line."""
        self.plugged = True
        self.protocol = Protocol(self.carriage, lambda: self.down, self.now, lost=True)
        self._to_host = self.controller.opened(self.now)

    def until(self, *kinds: type[Event], within_s: float = 120.0) -> Event:
        """Let time pass until such an event, which is taken off."""
        end = self.now + within_s
        while self.now < end:
            for event in self.events:
                if isinstance(event, kinds):
                    self.events.remove(event)
                    return event
            self.pump()
        raise AssertionError(f"no {' or '.join(kind.__name__ for kind in kinds)} within {within_s} s")

    def begin(self) -> None:
        """Until the controller has listed its settings."""
        while self.protocol.faults is None and not self.events:
            self.pump()

    def order(self, kind: str, *, age: float = 0.0, **fields: object) -> str:
        self._orders += 1
        order = Order(kind, f"{kind} {self._orders}", self.now - age, **fields)  # type: ignore[arg-type]
        self._sent(self.protocol.order(order, self.now))
        return order.id

    def home(self, visit: bool = False, held: bool = True, age: float = 0.0) -> str:
        return self.order("home", visit=visit, held=held, age=age)

    def move(self, setting: Fraction | str, held: bool = False, below: Fraction = Fraction(1), age: float = 0.0) -> str:
        setting = Fraction(setting)
        return self.order("move", setting=setting, approach=setting - below, held=held, age=age)

    def look(self) -> str:
        return self.order("look")

    def halt(self) -> None:
        if self.protocol.homing or self.protocol.may_halt:
            self._sent(self.protocol.urgent)
        self._sent(self.protocol.halt(self.now))

    def let_go(self) -> None:
        self.down = False
        self._sent(self.protocol.let_go(self.now))

    @property
    def reads(self) -> float:
        """What the carriage truly reads: a screw pushed up carries it exactly."""
        return self.controller.screw.at

    @property
    def lost(self) -> list[Lost]:
        return [event for event in self.events if isinstance(event, Lost)]
