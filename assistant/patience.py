"""Waits for a part as long as it makes progress. A limit in seconds alone would call a slow machine's parts broken."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

STEP = 0.02
"""Progress counts from this many processor seconds on: a part at work uses more, a part that only polls uses less."""
MovedAt = Callable[[], "float | None"]


def nothing_known() -> float | None:
    """For systems that don't say what a part is doing: only its own signs of life count."""
    return None


class Patience:
    """Decides when to stop waiting; asked repeatedly. Pure except for its clock.

    still_s: the longest time without a sign of life. longest_s: the longest time in all, for a part that goes in
    circles. moved: returns a figure that grows while the part is at work (processor seconds, bytes), or None. now: a
    monotonic clock, s.
    """

    def __init__(
        self,
        still_s: float,
        longest_s: float,
        moved: MovedAt = nothing_known,
        step: float = STEP,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self.still_s, self.longest_s = still_s, longest_s
        self._moved, self._step, self._now = moved, step, now
        self._began = self._sign_at = self._asked_at = now()
        self._seen = moved()

    @property
    def waited_s(self) -> float:
        """Seconds since the beginning."""
        return self._now() - self._began

    @property
    def still_for_s(self) -> float:
        """Seconds since the last sign of life."""
        return self._now() - self._sign_at

    def sign(self) -> None:
        """The part has given a sign of life."""
        self._sign_at = self._now()

    def over(self) -> bool:
        """Whether to stop waiting."""
        now = self._now()
        if now - self._asked_at > self.still_s / 2:  # the caller itself was held up, and perhaps the part too
            self.sign()
        self._asked_at = now
        moved = self._moved()
        if moved is not None and (self._seen is None or abs(moved - self._seen) >= self._step):
            self._seen = moved
            self.sign()
        return now - self._sign_at > self.still_s or now - self._began > self.longest_s

    def why(self) -> str:
        """Why the wait is over, a plain clause."""
        if self.waited_s > self.longest_s:
            return f"was not done within {self.longest_s:g} s"
        return f"gave no answer within {self.waited_s:.1f} s, and made no more progress"


def cpu_s_of(pid: int | None) -> float | None:
    """Processor seconds used by this process, all its threads together; None where the system doesn't say.

    Source of the layout: proc(5), /proc/pid/stat, fields 14 and 15.
    """
    if pid is None or not sys.platform.startswith("linux"):
        return None
    try:
        after_name = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace").rpartition(")")[2].split()
        # The program's name is in brackets and can contain spaces, so only what comes after it is split. That begins
        # with field 3, which puts fields 14 and 15 (time in user and kernel mode) at 11 and 12.
        return (int(after_name[11]) + int(after_name[12])) / os.sysconf("SC_CLK_TCK")
    except (OSError, ValueError, IndexError):
        return None


def cpu_s_of_thread(ident: int | None) -> float | None:
    """Processor seconds used by this thread of ours; None where the system doesn't say, or the thread has ended."""
    if ident is None or not sys.platform.startswith("linux"):
        return None
    try:
        return time.clock_gettime(time.pthread_getcpuclockid(ident))
    except (OSError, OverflowError):
        return None
