"""Presses and releases of one key -> gestures. Pure: every time is an argument, and nothing waits here.

The rules, with `long_press_s` and `double_tap_s` in seconds:

    long press   the key has been down for long_press_s without a break, and is known to be down still
    double tap   a second press comes less than double_tap_s after the first release
    tap          double_tap_s has passed since the release, and no second press came

One physical action makes one gesture. A long press never makes a tap as well, however long it lasts. The second press
of a double tap makes nothing more, however long the key stays down.

A switch bounces. The first edge down counts at once, and the key counts as up only when it has stayed up for BOUNCE_S.
A shorter press does not count, but the time for a long press starts again.

A long press confirms, so a lost release must not make one. While a press can still become a long press, the owner of
the maker reads every LOOK_EVERY_S whether the key is down (`asks`, `level`):

    down            a long press, once it is due
    up              the release is on its way or lost: with it the press is a tap, without it nothing
    can't be read   a long press once it is due and the key repeats, or once its release shows how long it was down

A press that comes while the key counts as down is auto-repeat, or a new press after a lost release. It is auto-repeat
if the key was read as down a moment ago, or if the last press was too recent for a foot. Otherwise the time for a long
press counts from it, until the next press shows what it was. A release that was lost before it reached the system
looks like a key that is still down, because the system itself reads "down".
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from assistant.session.kinds import Press

BOUNCE_S = 0.025
"""Contacts settle in less (common practice, no source); no foot presses and lets go so fast."""
RELEASE_WITHIN_S = 0.1
"""A key that is up has its release on the queue within this long, or it was lost."""
REPEAT_S = 0.15
"""Presses closer than this without a release are auto-repeat."""
LOOK_EVERY_S = 0.05
"""No foot lets go and presses again between two such readings (common practice, no source)."""
LONGEST_DELAY_S = 2.5
"""Auto-repeat that has not begun or gone on by now never does: longer than the longest delay a desktop offers."""


@dataclass(frozen=True, slots=True)
class MadeGesture:
    """A finished gesture. since: when its first press went down (s).

    at: when the rule was fulfilled (s); it may lie before the call that reports it.
    """

    gesture: Press
    since: float
    at: float


class GestureMaker:
    """Makes gestures. Feed it presses, releases, the time, and the key's level when it asks, in order of time.

    Each call gives one gesture or None. What comes out doesn't depend on how often `time` is called, only on when
    keys moved and what was read.
    """

    def __init__(self, long_press_s: float, double_tap_s: float) -> None:
        """long_press_s, double_tap_s: seconds, finite and above 0, else ValueError."""
        for name, value in (("long_press_s", long_press_s), ("double_tap_s", double_tap_s)):
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"{name} must be above 0 s and finite, not {value!r} s")
        self._long_press_s = long_press_s
        self._double_tap_s = double_tap_s
        self._since = 0.0
        self._down = False
        self._spent = False  # this press has made its gesture, or must make none
        self._released: float | None = None  # of a press that becomes a tap, or a double with the next one
        self._up_at: float | None = None  # the last edge was up, and the key has not settled
        self._settled_at = -math.inf  # the edge up from which it counts as up
        self._down_from = 0.0  # down since then without a break, as far as is known
        self._maybe_new: float | None = None  # the last press while down, unless it was auto-repeat
        self._press_at = 0.0  # the last press, auto-repeat or not
        self._gap = 0.0  # between it and the one before, while the key is down
        self._read_at = -math.inf  # when the key was last read as down
        self._missed_at: float | None = None  # the key was read as up, and its release has not come
        self._unreadable = False

    @property
    def down(self) -> bool:
        """Whether the key counts as down: a press that comes now is auto-repeat, or a bounce."""
        return self._down and self._missed_at is None

    @property
    def bouncing(self) -> bool:
        """Whether the key counts as down while its last edge was up: a press that comes now is a bounce."""
        return self._down and self._up_at is not None

    def press(self, at: float) -> MadeGesture | None:
        """The key went down at `at` (s), or its auto-repeat came."""
        made = self.time(at)
        no_repeat = self._up_at is None and at - max(self._press_at, self._read_at) > LONGEST_DELAY_S
        if self._down and (self._missed_at is not None or no_repeat):
            self.drop()  # its release was lost, and this is a press of its own
        if self._down and self._up_at is None:
            self._press_while_down(at)
        elif self._down:  # a bounce
            self._count_from(at)
        elif at - self._settled_at < BOUNCE_S:  # a bounce that came late
            self._down, self._spent, self._released = True, self._spent or self._released is None, None
            self._count_from(at)
        else:
            self._down = True
            self._count_from(at)
            if self._released is not None:
                self._released, self._spent = None, True
                return MadeGesture(Press.DOUBLE, self._since, at)
            self._since, self._spent = at, False
        return made

    def _count_from(self, at: float) -> None:
        self._down_from = self._press_at = at
        self._up_at = self._maybe_new = None
        self._gap, self._read_at = 0.0, -math.inf
        self._unreadable = False

    def _press_while_down(self, at: float) -> None:
        """Auto-repeat, or a new press after a release that was lost."""
        gap = at - self._press_at
        if gap < REPEAT_S or at - self._read_at < 2 * LOOK_EVERY_S:
            self._maybe_new = None
        else:
            if self._maybe_new is not None:  # auto-repeat would have gone on since then, so that press was new
                self._down_from = self._maybe_new
            self._maybe_new = at
        self._press_at, self._gap = at, gap
        self._unreadable = False

    def release(self, at: float) -> MadeGesture | None:
        """The key came up at `at` (s). A release without a press means nothing."""
        made = self.time(at)
        if not self._down or self._up_at is not None:
            return made
        if self._missed_at is None and not self._spent and at >= self._long_press_due():
            self._spent = True
            made = MadeGesture(Press.LONG, self._since, self._long_press_due())
        self._up_at, self._missed_at = at, None
        return made

    def time(self, at: float) -> MadeGesture | None:
        """It is `at` (s). Returns the tap that is now due. A long press is made only when the level is known."""
        if self._missed_at is not None and at >= self._missed_at + RELEASE_WITHIN_S:
            self.drop()
        if self._up_at is not None and at >= self._up_at + BOUNCE_S:
            self._released = None if self._spent else self._up_at
            self._settled_at = self._up_at
            self._down, self._up_at = False, None
        if self._down or self._released is None or at < self._released + self._double_tap_s:
            return None
        due, self._released = self._released + self._double_tap_s, None
        return MadeGesture(Press.TAP, self._since, due)

    def _long_press_due(self) -> float:
        return (self._down_from if self._maybe_new is None else self._maybe_new) + self._long_press_s

    def asks(self, at: float) -> bool:
        """Whether `level` has to be called at `at` (s)."""
        return self._may_become_long() and at >= self._look_at()

    def _may_become_long(self) -> bool:
        waiting = self._down and not (self._spent or self._unreadable)
        return waiting and self._up_at is None and self._missed_at is None

    def _look_at(self) -> float:
        return min(self._long_press_due(), max(self._down_from, self._read_at) + LOOK_EVERY_S)

    def level(self, at: float, down: bool | None) -> MadeGesture | None:
        """Read at `at` (s), after every edge that had come by then: whether the key is down; None: can't be read."""
        made = self.time(at)
        if not self.asks(at):
            return made
        due = self._long_press_due()
        repeating = self._gap > 0 and self._maybe_new is None and self._press_at >= due
        if at >= due and (down or (down is None and repeating)):
            self._spent = True
            return MadeGesture(Press.LONG, self._since, due)
        if down:
            self._read_at = at
        elif down is None:
            self._unreadable = True
        else:
            self._missed_at = at
        return None

    def deadline(self) -> float | None:
        """When (s) `time`, and then `level` if it asks, has to be called at the latest; None: nothing is pending."""
        if not self._down:
            return None if self._released is None else self._released + self._double_tap_s
        if self._up_at is not None:
            return self._up_at + BOUNCE_S
        if self._missed_at is not None:
            return self._missed_at + RELEASE_WITHIN_S
        return self._look_at() if self._may_become_long() else None

    def drop(self) -> None:
        """Forget a press in progress: its release will never come (the keyboard or its server is gone)."""
        if self._up_at is None:
            self._down = self._spent = False
            self._missed_at = None
