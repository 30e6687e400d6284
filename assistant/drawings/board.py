"""Draws a board's end as the operator sees it, end down, and the labels along it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from assistant.drawings.letters import width_of
from assistant.drawings.picture import CAP, MIDDLE, THICK, THIN, Item, Line, Point, Shape, Text, rectangle
from assistant.drawings.placing import spread, thinned
from assistant.joinery.model import Segment, StopSide
from assistant.joinery.units import MM_PER_UNIT, PLACES, Unit, format_number

# As the layout's table shows them: a thousandth of a millimetre, a tenth of a thousandth of an inch.
LABEL_DROP = 9.0
"""From the board's end down to the labels, mm, to leave room for the leaders."""
TURNED = CAP * 1.04
"""Width of a turned label, mm: it is as wide as its figures are high."""


def figure(length: Fraction, unit: Unit) -> str:
    """A length for a table or a dimension, without its unit."""
    return format_number(length / MM_PER_UNIT[unit], PLACES[unit])


@dataclass(frozen=True, slots=True)
class BoardView:
    """Places points of the board on the picture. The stop is on the side where the machine has it.

    width: the board's, mm. left: of its drawing. scale: paper mm for each mm of wood.
    """

    width: float
    left: float
    scale: float
    stop_side: StopSide

    @property
    def right(self) -> float:
        return self.left + self.width * self.scale

    @property
    def mirrored(self) -> bool:
        return self.stop_side == StopSide.RIGHT

    def x(self, at: Fraction | float) -> float:
        """Where on the picture a point is. at: from the reference edge, mm."""
        from_left = self.width - float(at) if self.mirrored else float(at)
        return self.left + from_left * self.scale

    def span(self, start: Fraction | float, end: Fraction | float) -> tuple[float, float]:
        """The left and right side of a stretch on the picture."""
        a, b = self.x(start), self.x(end)
        return (b, a) if self.mirrored else (a, b)


def comb_outline(view: BoardView, segments: Sequence[Segment], end: float, depth: float, top: float) -> list[Point]:
    """Corners of the wood, from one upper corner round to the other: its end at y = end, sockets up to y = depth."""
    outline: list[Point] = []
    # The outline always runs from left to right. If mirrored, the reference edge is at the right.
    for each in reversed(segments) if view.mirrored else segments:
        left, right = view.span(each.start, each.end)
        y = end if each.is_finger else depth
        outline += [(left, y), (right, y)]
    return [(outline[0][0], top), *outline, (outline[-1][0], top)]


def comb(view: BoardView, segments: Sequence[Segment], depth: float, top: float) -> Iterator[Item]:
    """The wood's outline, with its end at y = 0, broken off at y = top."""
    yield from broken_off(comb_outline(view, segments, 0.0, depth, top), THICK, "wood")


def broken_off(outline: Sequence[Point], weight: float, layer: str) -> Iterator[Line]:
    """The outline's sides. The last side, back to the beginning, is dashed, since the wood goes on there."""
    for a, b in pairwise(outline):
        if a != b:  # a socket at the board's edge has one side of no length
            yield Line(a, b, weight, layer=layer)
    yield Line(outline[-1], outline[0], MIDDLE, dashed=True, layer=layer)


def stop(view: BoardView, bottom: float, top: float) -> Iterator[Item]:
    """The stop beside the reference edge."""
    near = view.x(0) + (1.2 if view.mirrored else -1.2)
    far = near + (7.0 if view.mirrored else -7.0)
    yield rectangle(near, bottom, far, top, weight=MIDDLE, layer="stop")
    yield Text(((near + far) / 2 + CAP / 2, (bottom + top) / 2), "STOP", CAP, "middle", True, True, "stop")


def depth_mark(view: BoardView, depth: float, text: str) -> Iterator[Item]:
    """The depth's dimension, beside the edge away from the stop."""
    away = -1 if view.mirrored else 1
    edge = view.left if view.mirrored else view.right
    x = edge + 3.5 * away
    yield from (Line((edge + 0.8 * away, y), (x + 1.2 * away, y), THIN, layer="dimension") for y in (0.0, depth))
    yield from dimension_line((x, 0.0), (x, depth))
    at = (x + 3 * away, depth / 2 - CAP / 2)
    yield Text(at, text, CAP, "end" if view.mirrored else "start", layer="dimension")


def width_mark(view: BoardView, y: float, text: str) -> Iterator[Item]:
    """The board's width, above it."""
    yield from (Line((x, y - 1.6), (x, y + 1.2), THIN, layer="dimension") for x in (view.left, view.right))
    yield from dimension_line((view.left, y), (view.right, y))
    yield Text(((view.left + view.right) / 2, y + 1.5), text, CAP, "middle", layer="dimension")


def dimension_line(a: Point, b: Point) -> Iterator[Item]:
    """A line with two arrow heads, horizontal or vertical."""
    yield Line(a, b, THIN, layer="dimension")
    upright = a[0] == b[0]
    length = abs(b[1] - a[1]) if upright else abs(b[0] - a[0])
    # On a short line the two heads leave a third of its length between them.
    size, half = min(2.0, length / 3), min(0.5, length / 12)
    for (x, y), inward in ((a, size), (b, -size)):
        if upright:
            corners: tuple[Point, ...] = ((x, y), (x - half, y + inward), (x + half, y + inward))
        else:
            corners = ((x, y), (x + inward, y - half), (x + inward, y + half))
        yield Shape(corners, THIN, black=True, layer="dimension")


def socket_numbers(view: BoardView, segments: Iterable[Segment], y: float, first: int = 1) -> Iterator[Item]:
    """Numbers of the sockets from `first` on, each above its socket. If there are too many, only every few of them."""
    sockets = [each for each in segments if not each.is_finger]
    if not sockets:
        return
    names = [str(n) for n in range(first, first + len(sockets))]
    widths = [width_of(name, CAP, True) for name in names]
    # Kept inside the board, or the side of the wood would run through the number of a narrow socket at its edge.
    inner = 0.8
    middles = [
        min(max(sum(view.span(s.start, s.end)) / 2, view.left + inner + w / 2), view.right - inner - w / 2)
        for s, w in zip(sockets, widths, strict=True)
    ]
    for n in thinned(middles, widths, first):
        yield Text((middles[n], y), names[n], CAP, "middle", bold=True, layer="number")


def wall_marks(view: BoardView, segments: Sequence[Segment], unit: Unit, width: float) -> tuple[list[Item], float]:
    """(labels with every wall's distance from the reference edge, below the end; how far down they reach, mm).

    There are none if they don't fit. width: of the picture, all of which they may use, mm.
    """
    walls = [segments[0].start, *(each.end for each in segments)]
    if view.mirrored:
        walls.reverse()
    points = [view.x(wall) for wall in walls]
    places = spread(points, [TURNED] * len(walls), 0.0, width)
    if places is None:
        return [], 0.0
    drop = drop_for(points, places)
    items: list[Item] = []
    longest = 0.0
    for wall, x, place in zip(walls, points, places, strict=True):
        text = Text((place + TURNED / 2, -drop), figure(wall, unit), CAP, "end", True, layer="dimension")
        longest = max(longest, text.width)
        items += [*leader(x, place, -0.8, drop), text]
    return items, drop + longest


def drop_for(points: Sequence[float], places: Sequence[float]) -> float:
    """How far below the end labels begin: further if they had to move aside, so that no leader is too flat."""
    return LABEL_DROP + 0.4 * max((abs(x - place) for x, place in zip(points, places, strict=True)), default=0.0)


def leader(x: float, place: float, top: float, drop: float) -> Iterator[Line]:
    """A leader from a point of the board's end: straight down, at a slant to the label's place, and down to it."""
    yield Line((x, top), (x, top - 1.2), THIN, layer="leader")
    yield Line((x, top - 1.2), (place, 1.6 - drop), THIN, layer="leader")
    yield Line((place, 1.6 - drop), (place, 0.6 - drop), THIN, layer="leader")
