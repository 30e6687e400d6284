"""How long to wait for a part: as long as it moves. By a limit in seconds alone a slow machine's parts are broken."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

STEP = 0.02
"""What is moved counts as movement from so much on: processor seconds of a part at work, not of one that only looks."""
Moved = Callable[[], "float | None"]


def nothing_known() -> float | None:
    """Where the system doesn't tell what a part does: only its own signs count."""
    return None


class Patience:
    """Asked again and again while waiting. Pure but for its clock.

    still_s: the longest without a sign of life. longest_s: in all, for what moves in circles. moved: a figure that
    grows while the part is at work (processor seconds, bytes), or None. now: a monotonic clock, s.
    """

    def __init__(
        self,
        still_s: float,
        longest_s: float,
        moved: Moved = nothing_known,
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
        """Whether nothing more is to be expected."""
        now = self._now()
        if now - self._asked_at > self.still_s / 2:  # whoever asks was held up itself, and what it waits for as well
            self.sign()
        self._asked_at = now
        moved = self._moved()
        if moved is not None and (self._seen is None or abs(moved - self._seen) >= self._step):
            self._seen = moved
            self.sign()
        return now - self._sign_at > self.still_s or now - self._began > self.longest_s

    def why(self) -> str:
        """What there is to say when it is over, a plain clause."""
        if self.waited_s > self.longest_s:
            return f"was not done within {self.longest_s:g} s"
        return f"gave no answer within {self.waited_s:.1f} s, and nothing moved any more"


def cpu_s_of(pid: int | None) -> float | None:
    """Processor seconds that this process has had, all its threads; None where the system doesn't tell.

    Source of the layout: proc(5), /proc/pid/stat, fields 14 and 15.
    """
    if pid is None or not sys.platform.startswith("linux"):
        return None
    try:
        after_name = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace").rpartition(")")[2].split()
        return (int(after_name[11]) + int(after_name[12])) / os.sysconf("SC_CLK_TCK")
    except (OSError, ValueError, IndexError):
        return None


def cpu_s_of_thread(ident: int | None) -> float | None:
    """Processor seconds that this thread of ours has had; None where the system doesn't tell, or it has ended."""
    if ident is None or not sys.platform.startswith("linux"):
        return None
    try:
        return time.clock_gettime(time.pthread_getcpuclockid(ident))
    except (OSError, OverflowError):
        return None
