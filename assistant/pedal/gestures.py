"""Presses and releases of one key -> gestures. Pure: times come in as figures, nothing waits here.

The rules, with `hold_s` and `double_tap_s` in seconds:

    hold    the key has been down for hold_s
    double  a second press less than double_tap_s after the first release
    tap     double_tap_s has passed since the release and no second press came

One physical action gives one gesture: a hold is not also a tap, however long it lasts, and
the second press of a double gives nothing more, however long it is kept down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Made:
    """A finished gesture. gesture: tap | double | hold. since: when its first press went down (s).

    at: when the rule was fulfilled (s); it may lie before the call that reports it.
    """

    gesture: str
    since: float
    at: float


class GestureMaker:
    """Feed it presses, releases and the time, in order of time; each call gives one gesture or None.

    What comes out doesn't depend on how often `time` is called, only on when keys moved.
    """

    def __init__(self, hold_s: float, double_tap_s: float) -> None:
        """hold_s, double_tap_s: seconds, finite and above 0, else ValueError."""
        for name, value in (("hold_s", hold_s), ("double_tap_s", double_tap_s)):
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"{name} must be above 0 s and finite, not {value!r} s")
        self._hold_s = hold_s
        self._double_tap_s = double_tap_s
        self._since = 0.0
        self._down = False
        self._spent = False
        self._released: float | None = None

    @property
    def down(self) -> bool:
        """Whether the key is down: a press that comes now is auto-repeat."""
        return self._down

    def press(self, at: float) -> Made | None:
        """The key went down at `at` (s), or its auto-repeat came."""
        made = self.time(at)
        if self._down:
            return made
        self._down = True
        if self._released is None:
            self._since, self._spent = at, False
            return made
        self._released, self._spent = None, True
        return Made("double", self._since, at)

    def release(self, at: float) -> Made | None:
        """The key came up at `at` (s). Without a press it means nothing."""
        made = self.time(at)
        if self._down:
            self._down = False
            self._released = None if self._spent else at
        return made

    def time(self, at: float) -> Made | None:
        """It is `at` (s): the gesture that has become due by now."""
        due = self.deadline()
        if due is None or at < due:
            return None
        if self._down:
            self._spent = True
            return Made("hold", self._since, due)
        self._released = None
        return Made("tap", self._since, due)

    def deadline(self) -> float | None:
        """When (s) `time` has to be called at the latest; None while nothing is pending."""
        if self._down:
            return None if self._spent else self._since + self._hold_s
        return None if self._released is None else self._released + self._double_tap_s

    def drop(self) -> None:
        """Forget a press in progress: its release will never come (the keyboard or its server is gone)."""
        self._down = False
        self._spent = False
