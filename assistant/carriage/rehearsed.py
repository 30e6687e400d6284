"""A driven carriage that is only simulated, on the session's own clock: for rehearsals and the demo."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from assistant.carriage.protocol import Order, OrderKind, Protocol
from assistant.carriage.simulated import DEFAULTS, Simulated
from assistant.carriage.simulated_screw import Screw
from assistant.errors import BadInput
from assistant.joinery.model import Carriage, HomeKind
from assistant.runner.contracts import Clock, Post
from assistant.runner.script import DriveMishap
from assistant.session.events import Event

STEP_S = 0.02
"""How finely time goes on while something moves, and how finely while it stands (`RESTS_S`)."""
RESTS_S = 0.1
STIRS_S = 2.0
"""How long its reports are looked at closely once something was done to it, simulated s."""
BEGINS_S = 10.0
"""Simulated time in which the controller must have listed its settings."""
FASTER_BY = 1.2
"""Its fastest feed, against the shop's, so that a board as the shop file asks for it is not refused."""
ABOVE = 20.0
"""How far above its home switch the carriage stands at the start, mm: anywhere will do."""


def fitting(carriage: Carriage) -> Simulated:
    """A controller and a carriage as the shop file describes them, standing somewhere above its home switch."""
    drive = carriage.drive
    assert drive is not None, "only a driven carriage has a controller"
    steps = float(drive.steps_per_mm or 400)
    feed = float(drive.feed)
    top = float(carriage.travel[1]) if carriage.travel else 300.0
    home_at = float(drive.home_reads)
    travel = round(top - home_at + 5)
    own = {100: steps, 110: max(feed * FASTER_BY, 600.0), 120: max(200.0, (feed / 60) ** 2), 130: float(travel)}
    if drive.home != HomeKind.SWITCH:
        own |= {20: 0, 22: 0}
    ends = (home_at - 3, home_at + travel + 3)
    start = home_at + ABOVE if drive.home == HomeKind.SWITCH else 0.0
    screw = Screw(steps, start, float(carriage.backlash), ends, home_at)
    return Simulated(screw, {**DEFAULTS, **own})


class RehearsedDrive:
    """See `runner.contracts.Driven`. It moves only in `advance`. Raises BadInput as `LiveDrive` does.

    A pedal that was held down counts as down until `released` or another press.
    """

    def __init__(self, clock: Clock, post: Post, carriage: Carriage, controller: Simulated | None = None):
        self.controller = controller or fitting(carriage)
        self.pedal_down = False
        self._stirs_until = 0.0  # something was done to it, which its next reports show
        self._clock, self._post = clock, post
        self._at = clock.at()
        self._begun = self._at  # the simulated controller counts from here
        self._protocol = Protocol(carriage, lambda: self.pedal_down, 0.0)
        self._hand_over(self.controller.opened(0.0))
        while self._protocol.faults is None and self._now() < BEGINS_S:
            self._at += STEP_S
            self._step()
        if self._protocol.faults:
            raise BadInput(self._protocol.faults)
        # Its start took no time of the session.
        self._begun -= self._at - clock.at()
        self._at = clock.at()

    def look(self, id: str) -> None:
        self._give(Order(OrderKind.LOOK, id))

    def home(self, id: str, visit: bool, pressed_at: float, held: bool) -> None:
        self._give(Order(OrderKind.HOME, id, self._of(pressed_at), held, visit))

    def move_to(self, id: str, setting: Fraction, approach: Fraction, pressed_at: float, held: bool) -> None:
        self._give(Order(OrderKind.MOVE, id, self._of(pressed_at), held, False, setting, approach))

    def halt(self) -> bool:
        return self._stop(self._protocol.halt)

    def pressed(self) -> bool:
        return self.halt()

    def released(self) -> None:
        self.pedal_down = False
        if self._protocol.held:
            self._stop(self._protocol.let_go)

    def _stop(self, stop: Callable[[float], bytes]) -> bool:
        moving = self.moving
        if moving:
            self._send(stop(self._now()))
        return moving

    @property
    def moving(self) -> bool:
        return self._protocol.busy

    @property
    def position(self) -> Fraction | None:
        return self._protocol.position

    def close(self) -> None:
        """Nothing is to be released."""

    # --- what a script does to it

    def sled(self, away: bool) -> None:
        """The sled leaves its place, or comes right back."""
        self._stir()
        self.controller.sled(away)

    def mishap(self, what: DriveMishap, mm: float = 0.0) -> None:
        """mm: how far it slips."""
        self._stir()
        match what:
            case DriveMishap.RESET:
                self.controller.reset_button()
            case DriveMishap.JAM:
                self.controller.screw.jammed = True
            case DriveMishap.SLIP:
                self.controller.screw.put(self.controller.screw.at + mm)

    # --- time

    def next_boundary(self) -> float | None:
        """When something may happen next, session time, s; None while it stands and nothing is asked of it."""
        if self._protocol.waits or self._at < self._stirs_until:
            return self._at + STEP_S
        return None

    def advance(self, to_s: float) -> None:
        """Go on to this session time, s."""
        while self._at < to_s:
            self._at = min(to_s, self._at + (STEP_S if self._protocol.waits else RESTS_S))
            self._step()

    def _now(self) -> float:
        return self._at - self._begun

    def _of(self, session_s: float) -> float:
        return session_s - self._begun

    def _stir(self) -> None:
        self._stirs_until = self._at + STIRS_S

    def _give(self, order: Order) -> None:
        self._stir()
        self._send(self._protocol.order(order, self._now()))

    def _step(self) -> None:
        came = self.controller.passed(self._now())
        self._hand_over(came)
        for make in self._taken():
            self._post(make(self._at, self._clock.utc()))

    def _hand_over(self, came: bytes) -> None:
        self._send(self._protocol.take(came, self._now()) if came else self._protocol.passed(self._now()))

    def _send(self, out: bytes) -> None:
        while out:
            came = self.controller.take(out, self._now())
            out = self._protocol.take(came, self._now()) if came else b""

    def _taken(self) -> list[Callable[[float, str], Event]]:
        news, self._protocol.news = self._protocol.news, []
        return news
