"""How loud and how fast the voice may be made in a session, and in which steps."""

from __future__ import annotations

STEP_DB = 3
SOFTEST_DB, LOUDEST_DB = -12, 6  # against the voice as it is rendered
PACE_STEP = 1.12
# Words a minute that stay intelligible behind hearing protection: common practice, no source.
SLOWEST, QUICKEST = 100, 260


def stepped_loudness(loudness_db: int, steps: int) -> int:
    """The loudness (dB) so many steps up, down where negative, kept within the range."""
    return min(LOUDEST_DB, max(SOFTEST_DB, loudness_db + steps * STEP_DB))


def stepped_rate(rate: int, steps: int) -> int:
    """The rate (words a minute) so many steps quicker, slower where negative, kept within the range.

    A rate that the shop file puts outside the range is no end of it in the other direction: it moves
    towards the range at the next step and never further out.
    """
    stepped = round(rate * PACE_STEP**steps)
    if steps > 0:
        return max(rate, min(QUICKEST, stepped))
    return min(rate, max(SLOWEST, stepped))
