"""How far off a reading must lie to be left out, and how seldom a sound one does."""

from __future__ import annotations

import random
from fractions import Fraction as F

import pytest

from assistant.calibrating.blunders import Caliper, Reading, sieve

CALIPER = Caliper(step=F(1, 1000))


def flat(*thousandths: int) -> list[Reading]:
    """Readings of one spacing, each this far above the wood that should be left."""
    return [Reading(chr(65 + n), F(20), F(168, 10) + F(off, 1000)) for n, off in enumerate(thousandths)]


def test_one_good_set_in_500_loses_a_reading() -> None:
    """The more readings, the stricter each is judged; otherwise five of them would cost about one set in 100."""
    lost = 0
    for seed in range(1500):
        drawn = random.Random(seed)
        wood = [10 * n - 3.2 + drawn.gauss(0, 0.05) for n in range(1, 6)]
        readings = [Reading(str(n), F(10 * n), F(round(1000 * one), 1000)) for n, one in enumerate(wood, start=1)]
        lost += bool(sieve(readings, CALIPER)[1])
    assert lost <= 1500 / 500


@pytest.mark.parametrize(("off", "left_out"), [(190, []), (195, ["J"])])
def test_a_suspect_lies_four_deviations_off_what_a_few_readings_show(off: int, left_out: list[str]) -> None:
    """Ten readings, half of them within 0.02 mm: 4 x 1.4826 x (1 + 5 / 8) x 0.02 mm = 0.193 mm.

    Without the correction for so few it would be 0.119 mm.
    """
    kept, out = sieve(flat(0, 0, 0, 0, 0, 20, 20, 20, 20, off), CALIPER)
    assert [each.reading.label for each in out] == left_out and len(kept) == 10 - len(left_out)
