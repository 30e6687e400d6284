"""The pairing code: 8 digits, shown at the terminal, good for two minutes, five tries and one device."""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections.abc import Callable

DIGITS = 8
LASTS_S = 120.0
TRIES = 5


class PairingCode:
    """At most one code is open. From any thread.

    Tries count for everybody together: 5 of 100,000,000 is what a guesser gets each time that
    somebody at the bench asks for a code, and nothing while nobody does.
    """

    def __init__(self, now: Callable[[], float] = time.monotonic):
        self._now = now
        self._guard = threading.Lock()
        self._code = ""
        self._until = 0.0
        self._tries = 0

    def begin(self) -> str:
        """A new code; the one before it is void."""
        with self._guard:
            self._code = f"{secrets.randbelow(10**DIGITS):0{DIGITS}d}"
            self._until, self._tries = self._now() + LASTS_S, TRIES
            return self._code

    def current(self, least_s: float) -> str:
        """The open code where it is good for `least_s` (s) more, else ""."""
        with self._guard:
            return self._code if self._code and self._until - self._now() >= least_s else ""

    def left_s(self) -> float:
        """How long the open code is still good, 0 when none is."""
        with self._guard:
            return max(0.0, self._until - self._now()) if self._code else 0.0

    def take(self, code: str) -> int | None:
        """None: right, and used up. Else the tries left; 0 when no code is open."""
        with self._guard:
            if not self._code or self._now() >= self._until:
                self._code = ""
                return 0
            self._tries -= 1
            right = hmac.compare_digest(self._code.encode(), code.encode("utf-8", "replace"))
            if right or not self._tries:
                self._code = ""
            return None if right else self._tries


def grouped(code: str) -> str:
    """ "1234 5678", as it is shown."""
    return f"{code[:4]} {code[4:]}"
