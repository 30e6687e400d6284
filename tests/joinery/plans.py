"""Joints made by hypothesis, and what the saw leaves of a board by an independent geometry library.

`Joint` puts a plan through the joinery as the program does; `removed`, `board` and `sockets` are
rectangles in shapely, which knows nothing of layouts.
"""

from __future__ import annotations

import functools
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


@functools.cache
def lengths(least: F, most: F) -> st.SearchStrategy[F]:
    """Multiples of 0.01 mm or of 1/64 in, as a plan would have them."""
    metric = st.integers(int(least * 100) + 1, int(most * 100)).map(lambda n: F(n, 100))
    step = F(254, 640)
    inches = st.integers(int(least / step) + 1, int(most / step)).map(lambda n: n * step)
    return metric | inches


# Built once: hypothesis takes longer to build a strategy than to draw from it.
ZEROS, UNITS = st.sampled_from(["outside", "inside"]), st.sampled_from(["mm", "in"])
KINDS = st.sampled_from(["readout", "handwheel", "steps"])
READ_TO = st.sampled_from([F(1, 100), F(254, 10_000), F(1, 20)])
STEPS_PER_MM, DIVISIONS = st.sampled_from([80, 400, 1600]), st.sampled_from([50, 100])
PITCHES = st.sampled_from([F(2), F(254, 160), F(254, 100), F(254, 130)])
BLADE_OVERLAPS = st.sampled_from([F(0), F(1, 5), None])  # None: a third of the kerf
OVERRUNS = st.sampled_from([F(0), F(1, 2), F(2)])
STARTS, EVEN, MIRRORED = st.sampled_from(["finger", "socket"]), st.booleans(), st.booleans()
REMAINDERS = st.sampled_from(["far edge", "both edges", "stretch"])
CLEARANCES = st.sampled_from([F(0), F(1, 10), F(127, 1000), F(1, 3), F(6, 10)])


@st.composite
def blades(draw: st.DrawFn, widest: F) -> Blade:
    kerf = draw(lengths(F(1), min(F(7), widest)))
    overlap = draw(BLADE_OVERLAPS)
    return Blade(kerf, kerf / 3 if overlap is None else overlap, draw(OVERRUNS))


@st.composite
def carriages(draw: st.DrawFn) -> Carriage:
    zero, unit, kind = draw(ZEROS), draw(UNITS), draw(KINDS)
    if kind == "readout":
        return Carriage(kind, draw(READ_TO), zero=zero, unit=unit)
    if kind == "steps":
        return Carriage(kind, 1 / F(draw(STEPS_PER_MM)), zero=zero)
    pitch, divisions = draw(PITCHES), draw(DIVISIONS)
    return Carriage(kind, pitch / divisions, pitch, divisions, zero=zero)


CARRIAGES = carriages()


@st.composite
def nominal(draw: st.DrawFn) -> tuple[Segment, ...]:
    starts_with = draw(STARTS)
    if draw(EVEN):
        finger = draw(FINGERS)
        width = finger + draw(lengths(F(1), 15 * finger))
        return even(width, finger, starts_with, draw(REMAINDERS))
    half, mirror = draw(HALVES), draw(MIRRORED)
    width = 2 * sum(half, F(0)) - half[-1] if mirror else sum(half, F(0))
    return listed(width, half, mirror=mirror, starts_with=starts_with)


FINGERS = lengths(F(2), F(20))
HALVES = st.lists(FINGERS, min_size=2, max_size=8)
NOMINAL = nominal()


@st.composite
def joints(draw: st.DrawFn) -> Joint:
    """Joints that can be cut. The few whose edge finger the clearance would eat are skipped."""
    segments = draw(NOMINAL)
    narrowest = min((s.width for s in segments[1:-1]), default=F(7))
    clearance = draw(CLEARANCES)
    joint = Joint(segments[-1].end, clearance, draw(blades(narrowest)), draw(CARRIAGES), segments)
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
