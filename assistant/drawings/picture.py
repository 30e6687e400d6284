"""The parts of a picture: lines, shapes, and text of known width. Lengths in mm, x to the right, y up."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from assistant.drawings.letters import width_of

CAP = 3.0
"""Height of capitals and figures, mm, that can be read at arm's length."""
BIG = 4.0

# Line weights, mm: all three are among those that DXF has.
THIN, MIDDLE, THICK = 0.13, 0.25, 0.5
Point = tuple[float, float]
TextAnchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line. weight: mm. dashed: in dashes of 1.5 mm. layer: what it belongs to, the layer in a DXF file."""

    a: Point
    b: Point
    weight: float = MIDDLE
    dashed: bool = False
    layer: str = "note"

    def moved(self, dx: float, dy: float) -> Line:
        (ax, ay), (bx, by) = self.a, self.b
        return replace(self, a=(ax + dx, ay + dy), b=(bx + dx, by + dy))

    def scaled(self, by: float) -> Line:
        a, b = ((x * by, y * by) for x, y in (self.a, self.b))
        return replace(self, a=a, b=b, weight=self.weight * by)


@dataclass(frozen=True, slots=True)
class Shape:
    """A closed outline. black: whether it is filled."""

    points: tuple[Point, ...]
    weight: float = MIDDLE
    dashed: bool = False
    black: bool = False
    layer: str = "note"

    def moved(self, dx: float, dy: float) -> Shape:
        return replace(self, points=tuple((x + dx, y + dy) for x, y in self.points))

    def scaled(self, by: float) -> Shape:
        return replace(self, points=tuple((x * by, y * by) for x, y in self.points), weight=self.weight * by)


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text. at: on its baseline, at its start, middle or end as `anchor` says. cap: height of capitals.

    turned: whether it reads upwards, a quarter turn to the left; `at` is then on its right-hand side.
    """

    at: Point
    text: str
    cap: float = CAP
    anchor: TextAnchor = "start"
    turned: bool = False
    bold: bool = False
    layer: str = "note"

    def moved(self, dx: float, dy: float) -> Text:
        return replace(self, at=(self.at[0] + dx, self.at[1] + dy))

    def scaled(self, by: float) -> Text:
        return replace(self, at=(self.at[0] * by, self.at[1] * by), cap=self.cap * by)

    @property
    def width(self) -> float:
        return width_of(self.text, self.cap, self.bold)

    @property
    def start(self) -> Point:
        """Where the baseline starts."""
        back = {"start": 0.0, "middle": self.width / 2, "end": self.width}[self.anchor]
        x, y = self.at
        return (x, y - back) if self.turned else (x - back, y)


Item = Line | Shape | Text


@dataclass(frozen=True, slots=True)
class Picture:
    """Items, and the room that they have, from (0, 0) to (width, height)."""

    items: tuple[Item, ...]
    width: float
    height: float

    def at(self, dx: float, dy: float) -> list[Item]:
        """The items, moved."""
        return [item.moved(dx, dy) for item in self.items]

    def scaled(self, by: float) -> Picture:
        """The whole picture larger or smaller, lines and letters too."""
        return Picture(tuple(item.scaled(by) for item in self.items), self.width * by, self.height * by)


@dataclass(frozen=True, slots=True)
class Page:
    """A sheet of paper. name: what it shows. scaled: whether it has things to measure on the paper."""

    name: str
    width: float
    height: float
    items: tuple[Item, ...]
    scaled: bool = False


def rectangle(
    left: float,
    bottom: float,
    right: float,
    top: float,
    *,
    weight: float = MIDDLE,
    dashed: bool = False,
    layer: str = "note",
) -> Shape:
    """A rectangle from its sides. left and right may be given the wrong way round."""
    left, right = min(left, right), max(left, right)
    corners = ((left, bottom), (right, bottom), (right, top), (left, top))
    return Shape(corners, weight, dashed, layer=layer)


def hatched(points: Sequence[Point], apart: float, *, layer: str = "hatch", rising: bool = True) -> Iterator[Line]:
    """Lines at 45 degrees, `apart` mm from one another, within a convex outline.

    They follow one grid for the whole picture, so that the hatching of neighbours joins up.
    """
    sign = 1.0 if rising else -1.0
    # At 45 degrees, lines that are `apart` from one another cross an upright √2 times as far apart.
    step = apart * 2**0.5
    # Lines y - sign * x = c.
    heights = [y - sign * x for x, y in points]
    n = int(min(heights) // step) + 1
    while n * step < max(heights):
        ends = _crossings(points, sign, n * step)
        # With fewer than two ends, or the same end twice, the line only touches a corner.
        if len(ends) >= 2 and ends[0] != ends[-1]:
            yield Line(ends[0], ends[-1], THIN, layer=layer)
        n += 1


def _crossings(points: Sequence[Point], sign: float, c: float) -> list[Point]:
    """Where the line y - sign * x = c enters and leaves the outline."""
    found = []
    for (ax, ay), (bx, by) in zip(points, (*points[1:], points[0]), strict=True):
        before, after = ay - sign * ax - c, by - sign * bx - c
        # A corner exactly on the line counts for one of its two sides only.
        if (before <= 0) != (after <= 0):
            share = before / (before - after)
            found.append((ax + share * (bx - ax), ay + share * (by - ay)))
    return sorted(found)
