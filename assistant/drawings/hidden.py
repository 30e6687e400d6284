"""Removes hidden lines: what remains of lines behind nearer, convex outlines. Paper mm."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from assistant.drawings.picture import Line, Point

TOLERANCE = 1e-6
"""Lines exactly on the edge of an outline stay, since they are the outline's own."""
SHORTEST = 1e-3
"""Remains of rounding are shorter than this, and aren't drawn."""


@dataclass
class Layer:
    """Something solid. covers: the convex outlines that it hides. lines: drawn on it; it doesn't hide its own lines."""

    covers: list[tuple[Point, ...]] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)


def visible(layers: Sequence[Layer]) -> Iterator[Line]:
    """The visible parts of all lines. layers: from the furthest to the nearest."""
    nearer: list[tuple[float, float, float, float, tuple[Point, ...]]] = []
    for layer in reversed(layers):
        for line in layer.lines:
            yield from _outside(line, nearer)
        nearer += [(*_bounds(cover), _anticlockwise(cover)) for cover in layer.covers]


def _bounds(points: Iterable[Point]) -> tuple[float, float, float, float]:
    xs, ys = zip(*points, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _anticlockwise(points: Sequence[Point]) -> tuple[Point, ...]:
    # Twice the area, by the shoelace formula: below zero the outline runs clockwise.
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, (*points[1:], points[0]), strict=True))
    return tuple(points) if area > 0 else tuple(reversed(points))


def _outside(line: Line, covers: Sequence[tuple[float, float, float, float, tuple[Point, ...]]]) -> Iterator[Line]:
    """The pieces of the line that no cover hides. covers: each with its bounds before its corners."""
    left, bottom, right, top = _bounds((line.a, line.b))
    left_over = [(0.0, 1.0)]  # shares of the line
    for x1, y1, x2, y2, points in covers:
        # Most covers are nowhere near the line, which comparing their bounds shows fastest.
        if x1 < right and left < x2 and y1 < top and bottom < y2:
            hidden = _share_inside(line.a, line.b, points)
            if hidden is not None:
                left_over = [piece for each in left_over for piece in _without(each, hidden)]
                if not left_over:
                    return
    for start, end in left_over:
        cut = replace(line, a=_at(line, start), b=_at(line, end))
        if abs(cut.a[0] - cut.b[0]) + abs(cut.a[1] - cut.b[1]) > SHORTEST:
            yield cut


def _at(line: Line, share: float) -> Point:
    (ax, ay), (bx, by) = line.a, line.b
    return ax + share * (bx - ax), ay + share * (by - ay)


def _without(piece: tuple[float, float], hole: tuple[float, float]) -> Iterator[tuple[float, float]]:
    (start, end), (low, high) = piece, hole
    if high <= start or end <= low:
        yield piece
        return
    if start < low:
        yield start, low
    if high < end:
        yield high, end


def _share_inside(a: Point, b: Point, points: Sequence[Point]) -> tuple[float, float] | None:
    """The share of a-b that lies inside the convex, anticlockwise outline (Cyrus and Beck's clipping), or None."""
    low, high = 0.0, 1.0
    for (px, py), (qx, qy) in zip(points, (*points[1:], points[0]), strict=True):
        long = ((qx - px) ** 2 + (qy - py) ** 2) ** 0.5
        if long == 0:
            continue
        nx, ny = -(qy - py) / long, (qx - px) / long
        at_a = (a[0] - px) * nx + (a[1] - py) * ny - TOLERANCE
        at_b = (b[0] - px) * nx + (b[1] - py) * ny - TOLERANCE
        if at_a <= 0 and at_b <= 0:
            return None
        if at_a < 0:
            low = max(low, at_a / (at_a - at_b))
        elif at_b < 0:
            high = min(high, at_a / (at_a - at_b))
    return (low, high) if low < high else None
