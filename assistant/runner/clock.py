"""Two clocks: a real one for live sessions, and a clock that can be set, for rehearsals and file audio."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta


def utc_text(moment: datetime) -> str:
    """ISO 8601 to the millisecond, with Z."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class LiveClock:
    """Monotonic seconds from `start_s`; a resumed session continues from its last record."""

    def __init__(self, start_s: float = 0.0):
        self._zero = time.monotonic() - start_s

    def at(self) -> float:
        return time.monotonic() - self._zero

    def utc(self) -> str:
        return utc_text(datetime.now(UTC))


class SetClock:
    """Stays where it was set, and never falls. Its wall time is when it was made plus the seconds since."""

    def __init__(self, start_s: float = 0.0):
        self._start = self._now = start_s
        self._wall = datetime.now(UTC)

    def at(self) -> float:
        return self._now

    def utc(self) -> str:
        return utc_text(self._wall + timedelta(seconds=self._now - self._start))

    def set(self, at: float) -> None:
        """Move on to session time `at` (s); an earlier time changes nothing."""
        self._now = max(self._now, at)
