"""Draws the joint as it will look: two boards at their corner, closed and apart, seen from outside and above.

x runs along part A towards the corner's outside, y along part B away from it, and z across the width from the
reference edge up. The corner is at 0 <= x <= B's thickness, 0 <= y <= A's thickness. The view is isometric
(ISO 5456-3). Hidden lines are removed here, line by line, so that the picture looks the same in every file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from assistant.drawings.hidden import Layer, visible
from assistant.drawings.letters import width_of
from assistant.drawings.picture import CAP, MIDDLE, THIN, Item, Line, Picture, Point, Text, hatched
from assistant.joinery.model import Segment

COS, SIN = 3**0.5 / 2, 0.5
HATCH = 1.2
SHOWN = 30.0
"""How much of each board is drawn beside the joint, paper mm."""
LARGEST = 3.0
"""Largest scale: paper for wood."""
NARROWEST = 3.2
"""Fingers are never drawn narrower, paper mm. If more would not fit, only the beginning of the board is shown."""


@dataclass(frozen=True, slots=True)
class CornerBoard:
    """One board of the joint; mm. depth: of its sockets. wall, bottom: thickness of its lining, 0 for none."""

    segments: tuple[Segment, ...]
    thickness: float
    depth: float
    wall: float = 0.0
    bottom: float = 0.0

    @property
    def width(self) -> float:
        return float(self.segments[-1].end)

    @property
    def lined(self) -> bool:
        return self.wall > 0

    def core(self, index: int) -> tuple[float, float]:
        """Start and end of a finger's own wood, between its linings. On a board's edge there is no lining."""
        each = self.segments[index]
        start = float(each.start) + (self.wall if index > 0 else 0.0)
        return start, float(each.end) - (self.wall if index < len(self.segments) - 1 else 0.0)


class _Board:
    """A member in its place. along: from the floor of its sockets to the tips. across: from the outer face inwards."""

    def __init__(self, part: str, member: CornerBoard, mate: CornerBoard, scale: float, shift: float = 0.0):
        self.part, self.member, self.mate = part, member, mate
        self.scale, self.shift = scale, shift
        self.back = -SHOWN / scale

    def point(self, along: float, across: float, z: float) -> Point:
        if self.part == "A":
            x, y = along - self.shift, across
        else:
            x, y = self.member.thickness - across, self.mate.thickness - along
        return (x + y) * COS * self.scale, (z + (y - x) * SIN) * self.scale

    def line(self, a: tuple[float, float, float], b: tuple[float, float, float], weight: float = MIDDLE) -> Line:
        return Line(self.point(*a), self.point(*b), weight, layer=f"joint {self.part}")

    def outer(self, low: float, high: float, z1: float, z2: float) -> tuple[Point, ...]:
        """A rectangle of the outer face."""
        return tuple(self.point(*p) for p in ((low, 0, z1), (high, 0, z1), (high, 0, z2), (low, 0, z2)))

    def level(self, low: float, high: float, z: float) -> tuple[Point, ...]:
        """A rectangle that faces up."""
        t = self.member.thickness
        return tuple(self.point(*p) for p in ((low, 0, z), (high, 0, z), (high, t, z), (low, t, z)))

    def end(self, along: float, z1: float, z2: float) -> tuple[Point, ...]:
        """A rectangle that faces the way the tips point."""
        t = self.member.thickness
        return tuple(self.point(*p) for p in ((along, 0, z1), (along, t, z1), (along, t, z2), (along, 0, z2)))

    def slab(self) -> Layer:
        """The board up to the floor of its sockets."""
        wide, t, back = self.member.width, self.member.thickness, self.back
        covers = [self.outer(back, 0, 0, wide), self.level(back, 0, wide), self.end(0, 0, wide)]
        lines = [self.line((back, across, z), (0, across, z)) for across, z in ((0, 0), (0, wide), (t, wide))]
        broken = (((back, 0, 0), (back, 0, wide)), ((back, 0, wide), (back, t, wide)))
        layer = f"joint {self.part}"
        lines += [Line(self.point(*a), self.point(*b), THIN, dashed=True, layer=layer) for a, b in broken]
        for index, each in enumerate(self.member.segments):
            if not each.is_finger:
                lines += self._floor(index, float(each.start), float(each.end))
        return Layer(covers, lines)

    def _floor(self, index: int, start: float, end: float) -> Iterator[Line]:
        """A socket's floor, and on a lined board the lining below and beside it."""
        t, last = self.member.thickness, len(self.member.segments) - 1
        corners = ((0, 0, start), (0, t, start), (0, t, end), (0, 0, end))
        for a, b in zip(corners, (*corners[1:], corners[0]), strict=True):
            yield self.line(a, b)
        if not self.member.lined:
            return
        low = self.member.core(index - 1)[1] if index > 0 else start
        high = self.member.core(index + 1)[0] if index < last else end
        deep = -self.member.bottom
        yield self.line((deep, 0, low), (deep, 0, high), THIN)
        for z in (low, high):
            if 0 < z < self.member.width:
                yield self.line((deep, 0, z), (0, 0, z), THIN)
        yield from hatched(self.outer(deep, 0, low, high), HATCH)
        yield from hatched(self.end(0, start, end), HATCH)

    def fingers(self) -> Iterator[tuple[float, Layer]]:
        """(height, finger), from the reference edge up."""
        tip, t = self.member.depth, self.member.thickness
        for index, each in enumerate(self.member.segments):
            if not each.is_finger:
                continue
            start, end = float(each.start), float(each.end)
            covers = [self.outer(0, tip, start, end), self.level(0, tip, end), self.end(tip, start, end)]
            edges = (
                ((0, 0, start), (tip, 0, start)),
                ((0, 0, end), (tip, 0, end)),
                ((0, t, end), (tip, t, end)),
                ((tip, 0, start), (tip, 0, end)),
                ((tip, t, start), (tip, t, end)),
                ((tip, 0, start), (tip, t, start)),
                ((tip, 0, end), (tip, t, end)),
            )
            lines = [self.line(a, b) for a, b in edges]
            if self.member.lined:
                lines += self._linings(index, start, end)
            else:  # end grain, hatched to rise one way on A and the other way on B
                lines += hatched(self.end(tip, start, end), HATCH, rising=self.part == "A")
            yield start, Layer(covers, lines)

    def _linings(self, index: int, start: float, end: float) -> Iterator[Line]:
        """The linings on both sides of a finger."""
        tip, t = self.member.depth, self.member.thickness
        low, high = self.member.core(index)
        for a, b, inner in ((start, low, low), (high, end, high)):
            if a < b:  # a board's edge has no lining
                yield self.line((0, 0, inner), (tip, 0, inner), THIN)
                yield self.line((tip, 0, inner), (tip, t, inner), THIN)
                yield from hatched(self.outer(0, tip, a, b), HATCH)
                yield from hatched(self.end(tip, a, b), HATCH)
        if high < end:
            yield from hatched(self.level(0, tip, end), HATCH)


def _scale(a: CornerBoard, b: CornerBoard, height: float) -> float:
    """The scale at which the joint, closed or open, is at most `height` high on the paper."""
    flat = a.thickness + b.thickness + a.depth + b.depth
    # x and y count by half (SIN), so both boards' SHOWN make one SHOWN in all; `flat` more than covers the rest.
    return min(LARGEST, (height - SHOWN) / (a.width + flat))


def closed(a: CornerBoard, b: CornerBoard, scale: float) -> list[Line]:
    """The lines of the joint put together."""
    boards = (_Board("A", a, b, scale), _Board("B", b, a, scale))
    fingers = [pair for each in boards for pair in each.fingers()]
    layers = [each.slab() for each in boards]
    # The fingers are stacked and seen from above, so the higher hide the lower.
    layers += [layer for _, layer in sorted(fingers, key=lambda pair: pair[0])]
    return list(visible(layers))


def opened(a: CornerBoard, b: CornerBoard, scale: float) -> list[Line]:
    """The lines of the joint with A pulled straight back until it is free, and a little more."""
    # A is entirely behind B, so each board's fingers can follow its own slab.
    layers: list[Layer] = []
    for each in (_Board("A", a, b, scale, shift=a.depth + 8 / scale), _Board("B", b, a, scale)):
        layers.append(each.slab())
        layers += [layer for _, layer in each.fingers()]
    return list(visible(layers))


def pictures(a: CornerBoard, b: CornerBoard, height: float) -> tuple[Picture, Picture]:
    """(closed, open), with their captions, at most `height` high."""
    count = len(a.segments)
    a, b = _beginning(a, b, height - 8)
    shown = len(a.segments)
    part_of = "" if shown == count else f", the first {shown} fingers and sockets"
    scale = _scale(a, b, height - 8)
    hatching = "hatched: lining" if a.lined or b.lined else "hatched: end grain"
    return (
        _captioned(closed(a, b, scale), f"The joint closed{part_of} ({hatching})"),
        _captioned(opened(a, b, scale), f"The joint open{part_of}"),
    )


def _beginning(a: CornerBoard, b: CornerBoard, height: float) -> tuple[CornerBoard, CornerBoard]:
    """As many fingers and sockets from the reference edge as can be drawn wide enough, but at least two."""
    # Those at the edges don't count: they can have any width, whatever is left of the board.
    narrowest = min(float(each.width) for each in (*a.segments[1:-1], *b.segments[1:-1]) or a.segments)
    scale = min(LARGEST, NARROWEST / narrowest)
    fits = (height - SHOWN) / scale - (a.thickness + b.thickness + a.depth + b.depth)
    count = sum(1 for each in a.segments if float(each.end) <= fits)
    if _scale(a, b, height) * narrowest >= NARROWEST or count >= len(a.segments):
        return a, b
    count = max(count, 2)
    return replace(a, segments=a.segments[:count]), replace(b, segments=b.segments[:count])


def _captioned(lines: Sequence[Line], caption: str) -> Picture:
    xs = [x for line in lines for x in (line.a[0], line.b[0])]
    ys = [y for line in lines for y in (line.a[1], line.b[1])]
    dx, dy = -min(xs), 5 - min(ys)
    height = max(ys) + dy + 8
    width = max(max(xs) + dx, width_of(caption, CAP, True), 50.0)
    items: list[Item] = [line.moved(dx, dy) for line in lines]
    items.append(Text((0, height - 4), caption, CAP, bold=True))
    items.append(Text((0, 1), "part A", CAP))
    items.append(Text((max(xs) + dx, 1), "part B", CAP, "end"))
    return Picture(tuple(items), width, height)
