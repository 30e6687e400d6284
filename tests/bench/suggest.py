"""How long ranking every candidate takes, against bare fractions.

The most there can be: a board of 10 m with a thin blade, every count from 2 to 1,000.

Run: python -m tests.bench.suggest. Prints absolutes; exits 1 only when the ratio is over its limit.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from fractions import Fraction

from assistant.advice.suggest import Advice, WantedJoint, suggest
from assistant.joinery.model import Blade

WANTED = WantedJoint(Fraction(10_000), Fraction(20), Fraction(18))
BLADE = Blade(Fraction(8))
REPEATS = 5
TARGET_S = 1.0
MOST_TIMES_FLOOR = 50.0


def advise() -> Advice:
    """All candidates, ranked."""
    return suggest(WANTED, BLADE)


def floor(candidates: int) -> list[tuple[Fraction, int, int]]:
    """The least that a candidate costs in bare fractions: its width, its passes inside and at an edge."""
    width, kerf, step, half = WANTED.width, BLADE.kerf, BLADE.kerf - BLADE.overlap, WANTED.clearance / 2
    found = []
    for count in range(2, candidates + 2):
        finger = width / count
        found.append((finger, -((kerf - finger - half) // step) + 1, -((kerf - finger - half / 2) // step) + 1))
    return found


def best(work: Callable[[], object]) -> float:
    """Seconds of the quickest of a few runs."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> int:
    count = len(advise().ranked)
    took, least = best(advise), best(lambda: floor(count))
    print(f"candidates ranked      {count:,}")
    print(f"time                   {took:.3f} s (to hold: {TARGET_S} s)")
    print(f"bare fractions         {least:.4f} s")
    print(f"ratio to the floor     {took / least:.1f} (at most {MOST_TIMES_FLOOR})")
    return int(took / least > MOST_TIMES_FLOOR)


if __name__ == "__main__":
    sys.exit(main())
