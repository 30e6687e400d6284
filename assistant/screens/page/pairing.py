"""The pairing code: 8 digits, shown on the terminal, valid for two minutes, one device and five tries per address."""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

DIGITS = 8
LASTS_S = 120.0
TRIES = 5  # from one address
MOST_TRIES = 20  # from all addresses together


@dataclass(frozen=True, slots=True)
class Try:
    """The result of a code that was typed.

    right: it was right, which uses it up. left: tries that its address still has for this code, 0 if no code is open.
    counted: it was compared with an open code. ended: the code is void now, used up or tried too often.
    """

    right: bool = False
    left: int = 0
    counted: bool = False
    ended: bool = False


class PairingCode:
    """At most one code is open. Callable from any thread.

    Tries are counted for each address, so that a guesser takes none from another device. They are also counted for all
    addresses together: guessers with many addresses get 20 tries of 100,000,000 each time that the operator asks for a
    code, and otherwise none. So at most 20 addresses are remembered.
    """

    def __init__(self, now: Callable[[], float] = time.monotonic):
        self._now = now
        self._guard = threading.Lock()
        self._code = ""
        self._until = 0.0
        self._tries: Counter[str] = Counter()

    def begin(self) -> str:
        """Open a new code, which makes the previous one void."""
        with self._guard:
            self._code = f"{secrets.randbelow(10**DIGITS):0{DIGITS}d}"
            self._until, self._tries = self._now() + LASTS_S, Counter()
            return self._code

    def current(self, least_s: float) -> str:
        """The open code if it is valid for another `least_s` (s), else ""."""
        with self._guard:
            return self._code if self._code and self._until - self._now() >= least_s else ""

    def left_s(self) -> float:
        """How long the open code is still valid (s), 0 if none is open."""
        with self._guard:
            return max(0.0, self._until - self._now()) if self._code else 0.0

    def end(self, code: str) -> bool:
        """Make this code void. Returns whether it was open."""
        with self._guard:
            if not self._code or self._code != code:
                return False
            self._code = ""
            return True

    def take(self, code: str, address: str) -> Try:
        """Compare this code, which came from this address, with the open one."""
        with self._guard:
            if not self._code or self._now() >= self._until:
                self._code = ""
                return Try()
            if self._tries[address] >= TRIES:
                return Try()
            # As bytes: with text it raises TypeError for anything but ASCII.
            if hmac.compare_digest(self._code.encode(), code.encode("utf-8", "replace")):
                self._code = ""
                return Try(right=True, counted=True, ended=True)
            self._tries[address] += 1
            if self._tries.total() >= MOST_TRIES:
                self._code = ""
                return Try(counted=True, ended=True)
            return Try(left=TRIES - self._tries[address], counted=True)


def grouped(code: str) -> str:
    """The code as it is shown: "1234 5678"."""
    return f"{code[:4]} {code[4:]}"
