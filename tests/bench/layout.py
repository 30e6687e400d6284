"""How long 10,000 passes take to lay out, against bare fractions, and whether memory grows in line.

Even fingers, slots, and a lined joint through both stages.

Run: python -m tests.bench.layout. Prints absolutes; exits 1 only when a ratio is over its limit.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Callable
from fractions import Fraction

from assistant.joinery.layout import even, mate
from assistant.joinery.lined import Lining, stages
from assistant.joinery.model import Blade, Carriage, Pattern
from assistant.joinery.pattern import pattern
from assistant.joinery.slots import evenly
from assistant.joinery.slots import lay_out as slot_layouts
from assistant.joinery.walls import open_walls

PASSES = 10_000
KERF = Fraction(318, 100)
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


def lay_out_slots(passes: int) -> Pattern:
    """499 slots of equal spacing on a board of 9.98 m, as many passes in each as are asked for in all."""
    count, thick = 499, Fraction(10)
    slots = evenly(Fraction(9980), count, thick, Fraction(5))
    (group,) = slot_layouts(slots, Fraction(9980), Fraction(1, 10), KERF)
    return pattern("A", group.segments, Fraction(9980), group.depth, _blade(thick, passes // count), Carriage())


def lay_out_lined(passes: int) -> tuple[Pattern, ...]:
    """One lined part: openings, blank and final sockets; a third of the passes each, about."""
    sockets = 250
    finger = Fraction(16)
    width = finger * (2 * sockets - 1)
    final = open_walls(even(width, finger, "socket"), Fraction(1, 10))
    lined = {"A": final, "B": mate(final)}
    depth = Fraction(123, 10)
    (one,) = stages(lined, {"A": depth, "B": depth}, Lining(Fraction(3, 2)), KERF)
    blade = _blade(finger, passes // (3 * sockets))
    ends = ((one.opened, one.opened_depth), (one.blank, one.blank_depth), (one.final, one.final_depth))
    return tuple(pattern("A", segments, width, deep, blade, Carriage()) for segments, deep in ends)


def _blade(socket: Fraction, each: int) -> Blade:
    """A blade whose overlap makes `each` passes, about, of a socket this wide."""
    return Blade(KERF, max(Fraction(0), KERF - (socket - KERF) / max(1, each - 1)))


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


def memory(work: Callable[[int], object], passes: int) -> int:
    """Bytes that a layout of this many passes keeps."""
    tracemalloc.start()
    try:
        kept = work(passes)
        size, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    return size if kept else 0


def count(made: Pattern | tuple[Pattern, ...]) -> int:
    """Passes in one pattern or in several."""
    return sum(len(each.passes) for each in (made if isinstance(made, tuple) else (made,)))


def main() -> int:
    works: dict[str, Callable[[int], Pattern | tuple[Pattern, ...]]] = {
        "even": lay_out,
        "slots": lay_out_slots,
        "lined": lay_out_lined,
    }
    return max([measure(name, work) for name, work in works.items()])


def measure(name: str, work: Callable[[int], Pattern | tuple[Pattern, ...]]) -> int:
    """Print one layout's figures; 1 when a ratio is over its limit."""
    made, half = count(work(PASSES)), count(work(PASSES // 2))
    took, least = best(work, PASSES), best(floor, made)
    # Memory for a pass: sockets stay as many, only their passes grow.
    small, large = memory(work, PASSES // 2), memory(work, PASSES)
    print(f"{name}")
    print(f"passes laid out        {made:,} (half: {half:,})")
    print(f"time                   {took:.3f} s (to hold: {TARGET_S} s)")
    print(f"bare fractions         {least:.3f} s")
    print(f"ratio to the floor     {took / least:.2f} (at most {MOST_TIMES_FLOOR})")
    print(f"memory, half as many   {small / 1e6:.2f} MB")
    print(f"memory                 {large / 1e6:.2f} MB")
    print(f"memory ratio           {large / small:.2f} (at most {MOST_TIMES_MEMORY})")
    return int(took / least > MOST_TIMES_FLOOR or large / small > MOST_TIMES_MEMORY)


if __name__ == "__main__":
    sys.exit(main())
