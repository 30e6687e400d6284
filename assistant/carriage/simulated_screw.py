"""A simulated screw with a carriage on it: what really stands where, whatever the controller counts."""

from __future__ import annotations

import random
from enum import StrEnum


class HomeSwitch(StrEnum):
    """How the home switch behaves."""

    WORKS = "works"
    STUCK_OPEN = "stuck open"
    STUCK_CLOSED = "stuck closed"


class Screw:
    """A carriage on a motor-driven screw; places in mm, as the carriage reads.

    steps_per_mm: of the motor. start: where the carriage stands. play: what the screw turns before the carriage follows
    when the direction changes. ends: hard ends, where steps are lost. home_at: the switch is closed at and below this.
    hysteresis: it opens that much higher. scatter: each closing lies within this of home_at, drawn from `seed`.
    """

    def __init__(
        self,
        steps_per_mm: float = 400.0,
        start: float = 20.0,
        play: float = 0.0,
        ends: tuple[float, float] = (-3.0, 303.0),
        home_at: float = 0.0,
        hysteresis: float = 0.0,
        scatter: float = 0.0,
        seed: int = 0,
    ):
        self.pitch = 1 / steps_per_mm
        self.play, self.ends, self.home_at = play, ends, home_at
        self.hysteresis, self.scatter = hysteresis, scatter
        self._random = random.Random(seed)
        self.switch = HomeSwitch.WORKS
        self.jammed = False
        self.losing = 0
        """How many of the next steps are lost."""
        self.lost = 0
        self.turned = 0
        """Steps that the motor was given, upwards less downwards."""
        self._steps = 0  # that the screw has really turned
        self._offset = start
        self._at = start
        self._closes_at = self._drawn()
        self._closed = start <= self._closes_at

    @property
    def at(self) -> float:
        """Where the carriage stands."""
        return self._at

    @property
    def closed(self) -> bool:
        """Whether the home switch is closed, as the controller sees it."""
        if self.switch != HomeSwitch.WORKS:
            return self.switch == HomeSwitch.STUCK_CLOSED
        return self._closed

    def step(self, up: bool) -> None:
        """The motor makes a step, or tries to."""
        by = 1 if up else -1
        self.turned += by
        screw = self._offset + (self._steps + by) * self.pitch
        pushed = max(self._at, screw) if up else min(self._at, screw + self.play)
        if self.losing or self.jammed or not self.ends[0] - 1e-9 <= pushed <= self.ends[1] + 1e-9:
            self.losing = max(self.losing - 1, 0)
            self.lost += 1
            return
        self._steps += by
        if pushed != self._at:
            self._stand(pushed)

    def put(self, at: float) -> None:
        """Somebody moves the carriage, and its screw with it."""
        self._offset += at - self._at
        self._stand(at)

    def _stand(self, at: float) -> None:
        self._at = at
        if self._closed and at > self._closes_at + self.hysteresis + 1e-9:
            self._closed = False
            self._closes_at = self._drawn()
        elif not self._closed and at <= self._closes_at + 1e-9:
            self._closed = True

    def _drawn(self) -> float:
        return self.home_at + self._random.uniform(-self.scatter, self.scatter)
