"""Draws how a board is held, to be read from two metres: from above, and below that from the operator's side.

Along the board everything is to scale: its width, the first kerf, what to keep clear. Upwards the depth of the cut and
the height to keep clear have their true proportion. The rest only shows what touches what, and the view from the
operator's side looks through the backing.

The backing is on the operator's side of the board, because a table saw's teeth come towards the operator above the bed
and would tear the wood where they leave it (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import cos, radians, sin

from assistant.drawings.holding import Holding
from assistant.drawings.letters import width_of
from assistant.drawings.picture import Item, Line, Picture, Point, Shape, Text, hatched, rectangle

WIDE, HIGH = 180.0, 100.0
"""Room of every such picture, so that nothing else moves when another takes its place."""
LARGE, MIDDLING, SMALL = 8.6, 7.0, 5.2
"""Heights of capitals."""
STROKE, FINE = 0.9, 0.5
THICK, MARKED = 3.2, 2.2
"""How thick the reference edge and the marked face are drawn."""
STOP, BAR = 28.5, 8.0
MARGIN = 1.5
TURNING = 42.0
"""Room for the turn end over end, beside the two views."""
BED, CLEAR, TOP = 4.5, 31.0, 52.0
"""In the view from the side: the bed, how high the keep-clear rectangle is above it, where the board is broken off."""
BACK, FACE, FAR = 55.0, 65.5, 89.0
"""In the view from above: the backing's near side, the face at the backing, the board's far side."""
NARROW = 3.2
"""A board of a stack beyond the second, seen from above."""
MOST_LAYERS = 4
LEAST_BLADE = 1.6
NO_CLAMP = "NO CLAMP"
HATCH = 3.0
FACES = {"marked": "MARKED FACE", "other": "OTHER FACE"}


def picture(holding: Holding) -> Picture:
    """The figure, `WIDE` by `HIGH`. The stop is on the side where the operator sees it."""
    left = TURNING if holding.turned else 0.0
    view = _View(holding, WIDE - left)
    items: list[Item] = [*_from_above(view), *_from_the_side(view)]
    if holding.stop_side == "right":
        items = [_mirrored(item, view.room) for item in items]
    items = [item.moved(left, 0) for item in items]
    if holding.turned:
        items += _turn(mirrored=holding.stop_side == "right")
    return Picture(tuple(items), WIDE, HIGH)


class _View:
    """Where things are along the board, with the stop at the left."""

    def __init__(self, holding: Holding, room: float):
        self.holding, self.room = holding, room
        self.edge = STOP + (BAR if holding.bar else 0.0)
        self.far = room - MARGIN
        self._scale = (self.far - self.edge) / float(holding.width)

    @property
    def middle(self) -> float:
        return (self.edge + self.far) / 2

    def x(self, at: Fraction) -> float:
        return self.edge + float(at) * self._scale

    @property
    def blade(self) -> tuple[float, float]:
        """The sides of the first kerf, far enough apart to be seen."""
        left, right = (self.x(side) for side in self.holding.kerf)
        more = max(0.0, LEAST_BLADE - (right - left)) / 2
        return left - more, right + more


def _mirrored(item: Item, room: float) -> Item:
    """An item with left and right exchanged, but text still to be read."""
    match item:
        case Line(a, b):
            return replace(item, a=(room - a[0], a[1]), b=(room - b[0], b[1]))
        case Shape(points):
            return replace(item, points=tuple((room - x, y) for x, y in points))
        case Text(at=(x, y), turned=True):
            return replace(item, at=(room - x + item.cap, y))
        case Text(at=(x, y), anchor="middle"):
            return replace(item, at=(room - x, y))
        case Text(at=(x, y), anchor=anchor):
            return replace(item, at=(room - x, y), anchor="end" if anchor == "start" else "start")


def _from_above(view: _View) -> Iterator[Item]:
    holding = view.holding
    yield rectangle(view.edge - 6, BACK, view.room - 0.5, FACE, weight=STROKE, layer="backing")
    yield Text((view.middle, (BACK + FACE - MIDDLING) / 2), "BACKING", MIDDLING, "middle", layer="backing")
    layers = _layers(holding.copies)
    for low, high in pairwise(layers):
        yield rectangle(view.edge, low, view.far, high, weight=STROKE, layer="wood")
        if holding.face == "marked":
            yield _filled(view.edge, low, view.far, low + MARKED, "face")
        elif holding.face:
            yield _filled(view.edge, high - MARKED, view.far, high, "face")
    far = layers[-1]
    yield _filled(view.edge, FACE, view.edge + THICK, far, "edge")
    yield from _stop(view, FACE + 1.5, FAR - 1)
    yield from _faces(view, layers)
    left, right = view.blade
    yield _filled(left, far + 1.5, right, HIGH - 0.5, "blade")
    at_left = view.room - right > right
    x, anchor = (right + 2.5, "start") if at_left else (left - 2.5, "end")
    yield Text((x, HIGH - 1 - SMALL), "BLADE", SMALL, anchor, layer="blade")  # type: ignore[arg-type]
    title = (view.room - 1, "end") if at_left else (1.0, "start")
    yield Text((title[0], HIGH - 1 - SMALL), "FROM ABOVE", SMALL, title[1], layer="note")  # type: ignore[arg-type]


def _layers(copies: int) -> list[float]:
    """Where the faces of the boards are, from the one at the backing on: all boards up to `MOST_LAYERS`."""
    if copies == 1:
        return [FACE, FAR]
    narrow = [NARROW] * (min(copies, MOST_LAYERS) - 2)
    each = (FAR - FACE - sum(narrow)) / 2
    places = [FACE]
    for high in (each, each, *narrow):
        places.append(places[-1] + high)
    return places


def _faces(view: _View, layers: list[float]) -> Iterator[Text]:
    """The name of the face at the backing, then of the other one or, in a stack, how many boards there are."""
    holding = view.holding
    middle = view.middle + THICK / 2
    cap = MIDDLING if holding.copies <= 2 else MIDDLING - 1
    near, beyond = layers[0], layers[1]
    if holding.copies == 1:
        if not holding.face:
            return
        other = "other" if holding.face == "marked" else "marked"
        yield _face(middle, near + MARKED + 1.4, holding.face, cap)
        yield _face(middle, beyond - MARKED - 1.4 - cap, other, cap)
        return
    low = MARKED if holding.face == "marked" else 0.0
    high = MARKED if holding.face == "other" else 0.0
    if holding.face:
        yield _face(middle, (near + low + beyond - high - cap) / 2, holding.face, cap)
    at = (middle, (beyond + low + layers[2] - high - cap) / 2)
    yield Text(at, f"{holding.copies} BOARDS ALIKE", cap, "middle", layer="stack")


def _face(x: float, y: float, face: str, cap: float) -> Text:
    return Text((x, y), FACES[face], cap, "middle", bold=face == "marked", layer="face")


def _from_the_side(view: _View) -> Iterator[Item]:
    holding = view.holding
    yield Line((0.5, BED), (view.room - 0.5, BED), STROKE * 1.6, layer="bed")
    yield from _stop(view, BED, TOP - 3)
    yield Line((view.far, BED), (view.far, TOP), STROKE, layer="wood")
    yield Line((view.edge, TOP), (view.far, TOP), STROKE, dashed=True, layer="wood")
    yield _filled(view.edge, BED, view.edge + THICK, TOP, "edge")
    left, right = view.blade
    yield _filled(left, 0.5, right, BED + CLEAR * float(holding.depth / holding.above), "blade")
    yield from _keep_clear(view)
    row = (BED + CLEAR + TOP - LARGE) / 2
    point = view.edge + THICK + 1
    triangle = ((point, row + LARGE / 2), (point + 8, row + LARGE), (point + 8, row))
    yield Shape(triangle, FINE, black=True, layer="edge")
    yield Text((point + 10, row), "EDGE", LARGE, bold=True, layer="edge")
    down = f"END {holding.end}" if holding.end else "SLOTS"
    yield Shape(
        ((view.far - 3, row + LARGE), (view.far - 12, row + LARGE), (view.far - 7.5, row)),
        FINE,
        black=True,
        layer="end",
    )
    yield Text((view.far - 14, row), down, LARGE, "end", bold=True, layer="end")


def _keep_clear(view: _View) -> Iterator[Item]:
    """The rectangle that no clamp may be in, hatched, with its figures in it or, if it is too narrow, beside it."""
    holding = view.holding
    left, right, top = view.x(holding.lowest), view.x(holding.highest), BED + CLEAR
    yield rectangle(left, BED, right, top, weight=STROKE, layer="clear")
    words, cap, x, wide = _label(view, left, right)
    inside = left < x < right
    for low, high in [(left, x - wide / 2), (x + wide / 2, right)] if inside else [(left, right)]:
        for line in hatched(rectangle(low, BED, high, top).points, HATCH, layer="clear"):
            yield replace(line, weight=STROKE)
    step = (CLEAR - 2) / len(words)
    for n, word in enumerate(words):
        y = top - 1 - n * step - (step + cap) / 2
        yield Text((x, y), word, cap, "middle", bold=word == NO_CLAMP, layer="clear")


def _label(view: _View, left: float, right: float) -> tuple[tuple[str, ...], float, float, float]:
    """(lines, height of capitals, middle, width with some air): as large as fits in the rectangle or beside it."""
    holding = view.holding
    low, unit, high = holding.reach.partition(" to ")
    in_three = (NO_CLAMP, holding.reach, f"up to {holding.height}")
    in_four = (NO_CLAMP, low + unit.rstrip(), high, f"up to {holding.height}")
    for cap in (MIDDLING, 6.0, SMALL, 4.5, 4.0):
        for words in (in_three, in_four):
            wide = max(width_of(word, cap, True) for word in words) + 4
            if right - left >= wide + 8:
                return words, cap, (left + right) / 2, wide
            if right + wide <= view.far:
                return words, cap, right + wide / 2, wide
            if left - wide >= view.edge + THICK:
                return words, cap, left - wide / 2, wide
    return in_four, cap, (left + right) / 2, wide


def _stop(view: _View, low: float, high: float) -> Iterator[Item]:
    """The stop, and the setting bar between it and the edge."""
    middle = (low + high) / 2
    yield rectangle(0.5, low, STOP, high, weight=STROKE, layer="stop")
    yield Text((STOP / 2, middle - MIDDLING / 2), "STOP", 6.6, "middle", bold=True, layer="stop")
    if view.holding.bar:
        yield rectangle(STOP, low, view.edge, high, weight=STROKE, layer="bar")
        at = (STOP + (BAR + SMALL) / 2, middle - width_of("BAR", SMALL, True) / 2)
        yield Text(at, "BAR", SMALL, turned=True, bold=True, layer="bar")


def _filled(left: float, bottom: float, right: float, top: float, layer: str) -> Shape:
    return replace(rectangle(left, bottom, right, top, weight=FINE, layer=layer), black=True)


def _turn(mirrored: bool) -> Iterator[Item]:
    """The board as it was held for its end 1 and as it is now, and the turn; below, the spin that mirrors a joint."""
    for n, word in enumerate(("TURN END", "OVER END")):
        yield Text(((TURNING - 4) / 2, HIGH - SMALL - 0.5 - 7.5 * n), word, SMALL, "middle", bold=True, layer="turn")
    low, high, wide = 45.0, 83.0, 13.0
    for left, ends in ((0.5, "21"), (TURNING - 4 - wide, "12")):
        yield rectangle(left, low, left + wide, high, weight=STROKE, layer="turn")
        edge = left + wide - THICK if mirrored else left
        yield _filled(edge, low, edge + THICK, high, "turn")
        middle = left + (wide - THICK if mirrored else wide + THICK) / 2
        for y, end in zip((high - MIDDLING - 2, low + 2), ends, strict=True):
            yield Text((middle, y), end, MIDDLING, "middle", bold=True, layer="turn")
    # The end that was up comes down.
    axis, x, reach = (low + high) / 2, wide + 2.0, 13.0
    yield from _arc((x, axis), 6.0, reach, 90, -68, "turn")
    yield Line((0.5, axis), (TURNING - 4, axis), FINE, dashed=True, layer="turn")
    x, y, radius = (TURNING - 4) / 2, 24.0, 13.0
    yield rectangle(x - 5, y - 8, x + 5, y + 8, weight=STROKE, layer="spin")
    yield from _arc((x, y), radius, radius, 200, -40, "spin")
    for slope in (-1, 1):
        yield Line((x - 11, y - 11 * slope), (x + 11, y + 11 * slope), STROKE * 2, layer="spin")
    yield Text((x, 1.5), "NEVER SPIN", 4.7, "middle", bold=True, layer="spin")


def _arc(middle: Point, wide: float, high: float, start: float, end: float, layer: str) -> Iterator[Item]:
    """A piece of an ellipse with an arrow head at its end. start, end: degrees, from the right, against the clock."""
    steps = 14
    angles = [radians(start + (end - start) * n / steps) for n in range(steps + 1)]
    points = [(middle[0] + wide * cos(angle), middle[1] + high * sin(angle)) for angle in angles]
    for a, b in pairwise(points):
        yield Line(a, b, STROKE * 1.6, layer=layer)
    (ax, ay), (bx, by) = points[-2:]
    long = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
    dx, dy = (bx - ax) / long * 4.5, (by - ay) / long * 4.5
    head = ((bx + dx, by + dy), (bx - dy * 0.6, by + dx * 0.6), (bx + dy * 0.6, by - dx * 0.6))
    yield Shape(head, FINE, black=True, layer=layer)
