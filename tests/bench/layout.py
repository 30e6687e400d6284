"""How long 10,000 passes take to lay out, against bare fractions, and whether memory grows in line.

Run: python -m tests.bench.layout. Prints absolutes; exits 1 only when a ratio is over its limit.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Callable
from fractions import Fraction

from assistant.joinery.layout import even
from assistant.joinery.model import Blade, Carriage, Pattern
from assistant.joinery.pattern import pattern
from assistant.joinery.walls import open_walls

PASSES = 10_000
REPEATS = 5
TARGET_S = 0.5
MOST_TIMES_FLOOR = 3.0
MOST_TIMES_MEMORY = 2.4  # twice the passes: 2, and room for the allocator


def lay_out(passes: int) -> Pattern:
    """One part, from plan figures to settings: 500 sockets on a board of 9.99 m, inch walls, a metric readout."""
    sockets = 500
    finger = Fraction(254, 10) * 13 / 32
    width = finger * (2 * sockets - 1)
    kerf = Fraction(318, 100)
    opened = open_walls(even(width, finger, "socket"), Fraction(1, 10))
    each = passes // sockets
    inner = finger + Fraction(1, 20)
    blade = Blade(kerf, kerf - (inner - kerf) / (each - 1))
    return pattern("A", opened, width, Fraction(123, 10), blade, Carriage())


def floor(passes: int) -> list[tuple[Fraction, Fraction, Fraction]]:
    """The least that such a pass costs in bare fractions: two kerf walls and one rounding."""
    step, kerf, resolution = Fraction(4191, 12_800), Fraction(318, 100), Fraction(1, 100)
    left = Fraction(0)
    found = []
    for _ in range(passes):
        left += step
        right = left + kerf
        found.append((left, right, round(right / resolution) * resolution))
    return found


def best(work: Callable[[int], object], passes: int) -> float:
    """Seconds of the quickest of a few runs."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work(passes)
        times.append(time.perf_counter() - start)
    return min(times)


def memory(passes: int) -> int:
    """Bytes that a pattern of this many passes keeps."""
    tracemalloc.start()
    try:
        kept = lay_out(passes)
        size, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    return size if kept.passes else 0


def main() -> int:
    made = len(lay_out(PASSES).passes)
    took, least = best(lay_out, PASSES), best(floor, made)
    small, large = memory(PASSES // 2), memory(PASSES)
    print(f"passes laid out        {made:,}")
    print(f"time                   {took:.3f} s (to hold: {TARGET_S} s)")
    print(f"bare fractions         {least:.3f} s")
    print(f"ratio to the floor     {took / least:.2f} (at most {MOST_TIMES_FLOOR})")
    print(f"memory, half as many   {small / 1e6:.2f} MB")
    print(f"memory                 {large / 1e6:.2f} MB")
    print(f"memory ratio           {large / small:.2f} (at most {MOST_TIMES_MEMORY})")
    return int(took / least > MOST_TIMES_FLOOR or large / small > MOST_TIMES_MEMORY)


if __name__ == "__main__":
    sys.exit(main())
