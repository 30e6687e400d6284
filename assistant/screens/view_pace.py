"""How long a pass takes, and how long the rest will take. Computed from the facts' own times.

A pass counts from the call of its setting until it is cut, a changeover from a setup's beginning to its first setting.
Medians are used, so that one slow pass changes little. A time that contains standing by, a detour or an interruption
doesn't count at all, nor does waiting for glue between two stages.
"""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Iterable

from assistant.plans.model import Job
from assistant.session import facts as f
from assistant.session.facts import Record

LEAST = 3  # passes before a time left is shown
REMEMBERED = 101  # the pace of only the latest passes, because hands get faster
PAUSES = (f.StoodBy, f.CarriedOn, f.Resumed, f.SteppedBack, f.Jumped, f.Asked)


class Pace:
    """Facts in order -> seconds for a pass and for a changeover."""

    def __init__(self) -> None:
        self._passes: deque[float] = deque(maxlen=REMEMBERED)
        self._changeovers: deque[float] = deque(maxlen=REMEMBERED)
        self._job: Job | None = None
        self._setup_at: float | None = None
        self._called_at: float | None = None

    def take(self, records: Iterable[Record]) -> None:
        """Take the next records, whether passing or not."""
        for record in records:
            fact, at = record.fact, record.at
            if isinstance(fact, f.Started):
                self._job = fact.job
            elif isinstance(fact, f.SetupStarted):
                self._called_at = None
                self._setup_at = None if self._begins_a_stage(fact.setup) else at
            elif isinstance(fact, f.SettingCalled):
                if self._setup_at is not None:
                    self._changeovers.append(at - self._setup_at)
                self._setup_at, self._called_at = None, at
            elif isinstance(fact, f.PassCut):
                if self._called_at is not None:
                    self._passes.append(at - self._called_at)
                self._called_at = None
            elif isinstance(fact, PAUSES):
                self._setup_at = self._called_at = None

    def _begins_a_stage(self, setup: int) -> bool:
        """Whether glue had to dry before this setup."""
        setups = self._job.setups if self._job else ()
        return 1 < setup <= len(setups) and setups[setup - 1].stage != setups[setup - 2].stage

    @property
    def pass_s(self) -> float | None:
        """The median time of a pass, None before `LEAST` passes."""
        return statistics.median(self._passes) if len(self._passes) >= LEAST else None

    def left_s(self, passes: int, setups: int) -> float | None:
        """Seconds that so many passes and changeovers to more setups will take; None if not known yet."""
        each = self.pass_s
        if each is None:
            return None
        between = statistics.median(self._changeovers) if self._changeovers else 0.0
        return passes * each + setups * between


def shown_left(seconds: float | None) -> str:
    """In words for a screen; "" if not known."""
    if seconds is None:
        return ""
    minutes = round(seconds / 60)
    if minutes < 1:
        return "less than a minute left"
    if minutes < 90:
        return f"about {minutes} min left"
    return f"about {minutes // 60} h {minutes % 60:02} min left"
