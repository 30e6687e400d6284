"""What a kerf in the wrong place does to a board's fingers. Lengths: Fraction, mm; x = 0 at the reference edge."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assistant.joinery.model import Pass, Pattern


@dataclass(frozen=True, slots=True)
class Thinned:
    """A finger that has lost wood. finger: from 1 along x. lost, left: of its width."""

    finger: int
    lost: Fraction
    left: Fraction

    @property
    def can_be_filled(self) -> bool:
        """Whether a strip glued in can save it: at least half of the finger stands (common practice, no source)."""
        return self.left >= self.lost


def thinned(pattern: Pattern, one: Pass, off_by: Fraction) -> tuple[Thinned, ...]:
    """The fingers that this pass has cut into, its kerf `off_by` farther from the reference edge than it should be."""
    found = []
    for number, finger in enumerate(pattern.fingers, start=1):
        lost = min(finger.end, one.kerf_to + off_by) - max(finger.start, one.kerf_from + off_by)
        if lost > 0:
            found.append(Thinned(number, lost, finger.width - lost))
    return tuple(found)
