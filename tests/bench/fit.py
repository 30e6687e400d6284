"""How long 100,000 joints of 25 fingers take to simulate, against drawing their errors only, and the memory it takes.

25 fingers on part A and 24 on part B, every socket cut in several passes: 98 errors a joint.

Run: python -m tests.bench.fit. Prints absolutes; exits 1 only when a ratio is over its limit.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Callable
from fractions import Fraction

from assistant.advice.fit import Errors, Joint, best_of, chances, clearances, joint_of, simulate
from assistant.joinery.layout import even, mate
from assistant.joinery.model import Blade, Carriage
from assistant.joinery.pattern import pattern
from assistant.joinery.walls import open_walls

JOINTS = 100_000
ERRORS = Errors(0.01, 0.01, 0.03)
LIMIT = 0.15
REPEATS = 3
TARGET_S = 2.0
MOST_TIMES_FLOOR = 5.0
KEPT_BYTES = 32 * JOINTS
MOST_TIMES_KEPT = 6.0
MOST_TIMES_MEMORY = 1.5  # four times the fingers: what is kept is the same, a chunk too


def joint(fingers: int) -> Joint:
    """A joint with so many fingers on part A, 10 mm each."""
    finger, clearance = Fraction(10), Fraction(1, 10)
    nominal = even(finger * (2 * fingers - 1), finger)
    carriage = Carriage()
    a, b = (
        pattern(name, open_walls(each, clearance), nominal[-1].end, Fraction(12), Blade(Fraction(318, 100)), carriage)
        for name, each in (("A", nominal), ("B", mate(nominal)))
    )
    return joint_of(a, b, clearance, carriage)


def predict(made: Joint) -> object:
    """What `kerfcall fit` does with a joint once it is laid out."""
    draws = simulate(made, ERRORS, joints=JOINTS)
    return chances(draws, LIMIT), best_of(clearances(draws, LIMIT))


def floor(made: Joint) -> None:
    """The least a simulation costs: one normal number for every pass, in pieces of the same size."""
    import numpy as np

    random = np.random.default_rng(1)
    for _ in range(100):
        random.standard_normal((made.passes, JOINTS // 100))


def best(work: Callable[[Joint], object], made: Joint) -> float:
    """Seconds of the quickest of a few runs."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work(made)
        times.append(time.perf_counter() - start)
    return min(times)


def peak(made: Joint) -> int:
    """The most bytes in use at once."""
    tracemalloc.start()
    try:
        simulate(made, ERRORS, joints=JOINTS)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    return most


def main() -> int:
    made, larger = joint(25), joint(100)
    simulating = best(lambda one: simulate(one, ERRORS, joints=JOINTS), made)
    whole, least = best(predict, made), best(floor, made)
    small, large = peak(made), peak(larger)
    print(f"joints simulated          {JOINTS:,} of 25 fingers on part A, {len(made.gaps)} gaps, {made.passes} passes")
    print(f"simulation                {simulating:.3f} s (to hold: {TARGET_S} s)")
    print(f"with chances, clearance   {whole:.3f} s")
    print(f"normal numbers alone      {least:.3f} s")
    print(f"ratio to the floor        {simulating / least:.2f} (at most {MOST_TIMES_FLOOR})")
    print(f"memory, peak              {small / 1e6:.1f} MB; kept {KEPT_BYTES / 1e6:.1f} MB")
    print(f"ratio to what is kept     {small / KEPT_BYTES:.2f} (at most {MOST_TIMES_KEPT})")
    print(f"with 100 fingers          {large / 1e6:.1f} MB, ratio {large / small:.2f} (at most {MOST_TIMES_MEMORY})")
    slow = simulating / least > MOST_TIMES_FLOOR
    return int(slow or small / KEPT_BYTES > MOST_TIMES_KEPT or large / small > MOST_TIMES_MEMORY)


if __name__ == "__main__":
    sys.exit(main())
