"""The range of the voice's loudness and speed in a session, and the steps between."""

from __future__ import annotations

STEP_DB = 3
SOFTEST_DB, LOUDEST_DB = -12, 6  # against the voice as it is rendered
PACE_STEP = 1.12
# Words a minute that can be understood through hearing protection: common practice, no source.
SLOWEST, QUICKEST = 100, 260


def stepped_loudness(loudness_db: int, steps: int) -> int:
    """The loudness (dB) this many steps up, or down if negative, kept within the range."""
    return min(LOUDEST_DB, max(SOFTEST_DB, loudness_db + steps * STEP_DB))


def stepped_rate(rate: int, steps: int) -> int:
    """The rate (words a minute) this many steps quicker, or slower if negative, kept within the range.

    A rate that the shop file puts outside the range moves towards the range at the next step, and never further out.
    """
    stepped = round(rate * PACE_STEP**steps)
    if steps > 0:
        return max(rate, min(QUICKEST, stepped))
    return min(rate, max(SLOWEST, stepped))
