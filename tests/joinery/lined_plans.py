"""Lined joints made by hypothesis. Whether a joint can be made is decided here from the plan's figures alone."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction as F

from hypothesis import strategies as st

from assistant.joinery.layout import even, listed, mate
from assistant.joinery.lined import Lining, Stages, stages
from assistant.joinery.model import Blade, Segment
from assistant.joinery.pattern import depth_of
from assistant.joinery.walls import open_walls
from tests.joinery.plans import CLEARANCES, EVEN, REMAINDERS, STARTS, lengths


@dataclass(frozen=True)
class LinedJoint:
    nominal: tuple[Segment, ...]
    clearance: F
    lining: Lining
    blade: Blade
    thick_a: F = F(12)
    thick_b: F = F(12)
    sand: F = F(3, 10)

    @property
    def width(self) -> F:
        return self.nominal[-1].end

    def nominal_of(self, part: str) -> tuple[Segment, ...]:
        return self.nominal if part == "A" else mate(self.nominal)

    @property
    def final(self) -> dict[str, tuple[Segment, ...]]:
        return {part: open_walls(self.nominal_of(part), self.clearance) for part in "AB"}

    @property
    def depths(self) -> dict[str, F]:
        return {"A": depth_of(self.thick_b, self.sand), "B": depth_of(self.thick_a, self.sand)}

    @property
    def stages(self) -> tuple[Stages, ...]:
        return stages(self.final, self.depths, self.lining, self.blade.kerf)

    @property
    def both(self) -> bool:
        return self.lining.parts == ("A", "B")

    @property
    def per_wall(self) -> F:
        """Lining on each wall, by the rule: t, or t/2 on each of two walls that make one line."""
        return self.lining.thickness / 2 if self.both else self.lining.thickness

    def too_narrow(self, part: str) -> bool:
        """Whether a finger of this lined part breaks a condition.

        Inside f - c/2 - 2t (both lined: - t) >= k, with some of it left beside the glue; at an edge 3 mm left.
        """
        c, t, c1 = self.clearance, self.lining.thickness, self.lining.glue_clearance
        inside = t if self.both else 2 * t
        for index, segment in enumerate(self.nominal_of(part)):
            if not segment.is_finger:
                continue
            if index in (0, len(self.nominal) - 1):
                if segment.width - c / 4 - self.per_wall - c1 / 2 < 3:
                    return True
            elif segment.width - c / 2 - inside < self.blade.kerf or segment.width - c / 2 - inside - c1 <= 0:
                return True
        return False

    @property
    def can_be_made(self) -> bool:
        return not any(self.too_narrow(part) for part in self.lining.parts)


# Built once, as in `plans.py`.
WIDTHS = st.lists(lengths(F(2), F(20)), min_size=2, max_size=9)
MORE_WIDTHS = st.lists(lengths(F(0), F(15)), min_size=2, max_size=8)
PARTS = st.sampled_from([("A",), ("B",), ("A", "B")])
GLUE_CLEARANCES = st.sampled_from([F(0), F(6, 100), F(1, 10)])
REST, COUNTS = st.sampled_from([F(0), F(1, 2), F(3, 4)]), st.integers(2, 7)  # in fingers
THICK = st.sampled_from([F(6), F(12), F(127, 10), F(18)])
OVERRUNS = st.sampled_from([F(0), F(1, 2)])


@st.composite
def any_lined(draw: st.DrawFn) -> LinedJoint:
    """Lined joints of which many can't be made; fingers and sockets are 2 to 20 mm."""
    widths, starts, lining = draw(WIDTHS), draw(STARTS), draw(LININGS)
    blade = Blade(draw(lengths(F(1), F(4))))
    nominal = listed(sum(widths, F(0)), widths, starts_with=starts)
    return LinedJoint(nominal, draw(CLEARANCES), lining, blade)


@st.composite
def linings(draw: st.DrawFn) -> Lining:
    parts = draw(PARTS)
    return Lining(draw(lengths(F(1, 2), F(3))), parts, draw(GLUE_CLEARANCES))


LININGS = linings()


@st.composite
def lined_joints(draw: st.DrawFn) -> LinedJoint:
    """Joints that can be made: even (every remainder) or listed, A, B or both lined, parts of different thickness."""
    lining, kerf = draw(LININGS), draw(lengths(F(1), F(4)))
    clearance, starts = draw(CLEARANCES), draw(STARTS)
    # Wide enough for an inner finger and for one at an edge.
    enough = max(kerf, F(3)) + clearance + 2 * lining.thickness + lining.glue_clearance
    if draw(EVEN):
        finger = 2 * enough + draw(lengths(F(0), F(8)))
        remainder = draw(REMAINDERS)
        # At "far edge" the remainder is the last finger, so it too must be wide enough.
        left = finger * draw(REST)
        nominal = even(finger * draw(COUNTS) + left, finger, starts, remainder)
    else:
        widths = [enough + extra for extra in draw(MORE_WIDTHS)]
        nominal = listed(sum(widths, F(0)), widths, starts_with=starts)
    overrun = draw(OVERRUNS)
    blade = Blade(kerf, min(F(1, 5), kerf / 3), overrun)
    return LinedJoint(nominal, clearance, lining, blade, draw(THICK), draw(THICK))
