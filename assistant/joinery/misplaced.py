"""What a kerf in the wrong place does to a board. Lengths: Fraction, mm; x = 0 at the edge that a pattern begins at."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assistant.joinery.model import Pass, Pattern, Segment


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
    """The fingers that this pass has cut into, its kerf `off_by` farther along x than it should be."""
    found = []
    for number, finger in enumerate(pattern.fingers, start=1):
        lost = min(finger.end, one.kerf_to + off_by) - max(finger.start, one.kerf_from + off_by)
        if lost > 0:
            found.append(Thinned(number, lost, finger.width - lost))
    return tuple(found)


def reached(pattern: Pattern, one: Pass, off_by: Fraction | None, within: Fraction) -> tuple[Fraction, Fraction]:
    """From where to where along x a kerf meant for this pass may have taken wood.

    off_by: as in `thinned`, measured to `within`. None if not known: then it reaches the walls of its own socket only,
    since one that is a whole finger off is seen.
    """
    if off_by is not None:
        return one.kerf_from + off_by - within, one.kerf_to + off_by + within
    socket = pattern.sockets[one.socket - 1]
    at, last = pattern.segments.index(socket), len(pattern.segments) - 1
    # Beyond the walls themselves, but short of the next ones.
    return (
        _middle(pattern.segments[at - 1]) if at > 0 else socket.start,
        _middle(pattern.segments[at + 1]) if at < last else socket.end,
    )


def _middle(segment: Segment) -> Fraction:
    return (segment.start + segment.end) / 2
