"""Joints made by hypothesis, and what the saw leaves of a board by an independent geometry library.

`Joint` puts a plan through the joinery as the program does; `removed`, `board` and `sockets` are
rectangles in shapely, which knows nothing of layouts.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction as F

from hypothesis import assume
from hypothesis import strategies as st
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from assistant.errors import BadInput
from assistant.joinery.layout import even, listed, mate
from assistant.joinery.model import Blade, Carriage, Pattern, Segment
from assistant.joinery.pattern import pattern
from assistant.joinery.walls import open_walls


@dataclass(frozen=True)
class Joint:
    width: F
    clearance: F
    blade: Blade
    carriage: Carriage
    nominal: tuple[Segment, ...]
    depth: F = F(12)

    def part(self, name: str) -> Pattern:
        nominal = self.nominal if name == "A" else mate(self.nominal)
        opened = open_walls(nominal, self.clearance)
        return pattern(name, opened, self.width, self.depth, self.blade, self.carriage)

    @property
    def parts(self) -> tuple[Pattern, Pattern]:
        return self.part("A"), self.part("B")


def lengths(least: F, most: F) -> st.SearchStrategy[F]:
    """Multiples of 0.01 mm or of 1/64 in, as a plan would have them."""
    metric = st.integers(int(least * 100) + 1, int(most * 100)).map(lambda n: F(n, 100))
    step = F(254, 640)
    inches = st.integers(int(least / step) + 1, int(most / step)).map(lambda n: n * step)
    return metric | inches


@st.composite
def blades(draw: st.DrawFn, widest: F) -> Blade:
    kerf = draw(lengths(F(1), min(F(7), widest)))
    overlap = draw(st.sampled_from([F(0), F(1, 5), kerf / 3]))
    return Blade(kerf, overlap, draw(st.sampled_from([F(0), F(1, 2), F(2)])))


@st.composite
def carriages(draw: st.DrawFn) -> Carriage:
    zero = draw(st.sampled_from(["outside", "inside"]))
    unit = draw(st.sampled_from(["mm", "in"]))
    kind = draw(st.sampled_from(["readout", "handwheel", "steps"]))
    if kind == "readout":
        return Carriage(kind, draw(st.sampled_from([F(1, 100), F(254, 10_000), F(1, 20)])), zero=zero, unit=unit)
    if kind == "steps":
        return Carriage(kind, 1 / F(draw(st.sampled_from([80, 400, 1600]))), zero=zero)
    pitch = draw(st.sampled_from([F(2), F(254, 160), F(254, 100), F(254, 130)]))
    divisions = draw(st.sampled_from([50, 100]))
    return Carriage(kind, pitch / divisions, pitch, divisions, zero=zero)


@st.composite
def nominal(draw: st.DrawFn) -> tuple[Segment, ...]:
    starts_with = draw(st.sampled_from(["finger", "socket"]))
    if draw(st.booleans()):
        finger = draw(lengths(F(2), F(20)))
        width = finger + draw(lengths(F(1), 15 * finger))
        return even(width, finger, starts_with, draw(st.sampled_from(["far edge", "both edges", "stretch"])))
    half = draw(st.lists(lengths(F(2), F(20)), min_size=2, max_size=8))
    mirror = draw(st.booleans())
    width = 2 * sum(half, F(0)) - half[-1] if mirror else sum(half, F(0))
    return listed(width, half, mirror=mirror, starts_with=starts_with)


@st.composite
def joints(draw: st.DrawFn) -> Joint:
    """Joints that can be cut. The few whose edge finger the clearance would eat are skipped."""
    segments = draw(nominal())
    narrowest = min((s.width for s in segments[1:-1]), default=F(7))
    clearance = draw(st.sampled_from([F(0), F(1, 10), F(127, 1000), F(1, 3), F(6, 10)]))
    joint = Joint(segments[-1].end, clearance, draw(blades(narrowest)), draw(carriages()), segments)
    try:
        joint.parts  # noqa: B018
    except BadInput:
        assume(False)
    return joint


def removed(part: Pattern, rounded_for: Carriage | None = None) -> BaseGeometry:
    """The union of the part's pass rectangles, x across the board and y from its end.

    rounded_for: put each pass where this carriage's rounded setting puts it, not where it should be.
    """
    depth = float(part.depth)
    rectangles = []
    for p in part.passes:
        moved = F(0)
        if rounded_for is not None:
            moved = p.setting - (p.kerf_from if rounded_for.zero == "inside" else p.kerf_to)
        rectangles.append(box(float(p.kerf_from + moved), 0, float(p.kerf_to + moved), depth))
    return unary_union(rectangles)


def board(part: Pattern) -> BaseGeometry:
    return box(0, 0, float(part.width), float(part.depth))


def sockets(part: Pattern) -> BaseGeometry:
    depth = float(part.depth)
    return unary_union([box(float(s.start), 0, float(s.end), depth) for s in part.sockets])
