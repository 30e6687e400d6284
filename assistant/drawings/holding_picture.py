"""Draws how a board is held, to be read from two metres: from above, from the front, and the turn end over end.

Along the board everything is to scale: its width, the first kerf, what to keep clear. Upwards the cut and the height
to keep clear have their true proportion. The rest is only there to show which side touches what.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from assistant.drawings.holding import Holding
from assistant.drawings.letters import width_of
from assistant.drawings.picture import Item, Line, Picture, Point, Shape, Text, hatched, rectangle

WIDE, HIGH = 180.0, 100.0
"""Room of every such picture, so that it never moves."""
LARGE, SMALL = 8.0, 6.0  # heights of capitals
STROKE, FINE = 0.8, 0.5
EDGE = 2.6
"""How thick the reference edge and the marked face are drawn."""
STOP, BAR = 27.0, 8.0
MARGIN = 30.0
"""Room at the side away from the stop, for the views' names and the height to keep clear."""
BEFORE = 44.0
"""Room for the board as it was held before it is turned."""
BED, CLEAR, TOP = 9.0, 28.0, 56.0
"""In the view from the front: the bed, how high the keep-clear rectangle is above it, the top of the picture."""
NEAR, FAR, BACK = 64.0, 87.0, 98.0
"""In the view from above: the board's near side, its far side at the backing, the backing's far side."""
MOST_LAYERS = 4
NO_CLAMP = "NO CLAMP"
HATCH = 3.4


def picture(holding: Holding) -> Picture:
    """The figure, 180 wide and 100 high."""
    left = BEFORE if holding.turned else 0.0
    view = _View(holding, WIDE - left)
    items = [*_from_above(view), *_from_the_front(view)]
    items = [item.moved(left, 0) for item in _on_its_side(items, view.room, holding)]
    if holding.turned:
        items += _turn(holding)
    return Picture(tuple(items), WIDE, HIGH)


class _View:
    """Where things are along the board, with the stop at the left."""

    def __init__(self, holding: Holding, room: float):
        self.holding, self.room = holding, room
        self.edge = STOP + (BAR if holding.bar else 0.0)
        self.far = room - MARGIN
        self._scale = (self.far - self.edge) / float(holding.width)

    def x(self, at: object) -> float:
        return self.edge + float(at) * self._scale  # type: ignore[arg-type]


def _on_its_side(items: Sequence[Item], room: float, holding: Holding) -> list[Item]:
    """The items as they are where the stop is at the left, else their mirror image, with text still to be read."""
    return list(items) if holding.stop_side == "left" else [_mirrored(item, room) for item in items]


def _mirrored(item: Item, room: float) -> Item:
    match item:
        case Line(a, b):
            return replace(item, a=(room - a[0], a[1]), b=(room - b[0], b[1]))
        case Shape(points):
            return replace(item, points=tuple((room - x, y) for x, y in points))
        case Text():
            x, y = item.at
            if item.turned:
                return replace(item, at=(room - x + item.cap, y))
            other = {"start": "end", "end": "start", "middle": "middle"}[item.anchor]
            return replace(item, at=(room - x, y), anchor=other)  # type: ignore[arg-type]


def _from_above(view: _View) -> Iterator[Item]:
    holding = view.holding
    yield rectangle(view.edge - 4, FAR, view.far + 6, BACK, weight=STROKE, layer="backing")
    yield Text(((view.edge + view.far) / 2, FAR + 2.6), "BACKING", SMALL, "middle", bold=True, layer="backing")
    yield from _stop(view, NEAR + 1, FAR - 1)
    layers = min(holding.copies, MOST_LAYERS)
    each = (FAR - NEAR) / layers
    for n in range(layers):
        low = NEAR + n * each
        yield rectangle(view.edge, low, view.far, low + each, weight=STROKE, layer="wood")
        if holding.face:
            face = low + each if holding.face == "marked" else low
            inward = -EDGE / 1.5 if holding.face == "marked" else EDGE / 1.5
            yield _filled(view.edge, face, view.far, face + inward, "face")
    middle = (view.edge + view.far) / 2
    if holding.face == "marked":
        yield Text((middle, FAR - EDGE - SMALL - 1.5), "MARKED FACE", SMALL, "middle", bold=True, layer="face")
    elif holding.face:
        yield Text((middle, FAR - SMALL - 2), "OTHER FACE", SMALL, "middle", layer="face")
        yield Text((middle, NEAR + EDGE + 1.5), "MARKED FACE", SMALL, "middle", bold=True, layer="face")
    yield from _edge(view, NEAR, FAR)
    first, last = view.x(holding.kerf[0]), view.x(holding.kerf[1])
    yield rectangle(first, NEAR - 5, last, NEAR, weight=FINE, layer="slot")
    for n, word in enumerate(("FROM", "ABOVE")):
        yield Text((view.room - 1, NEAR + 10 - 8 * n), word, 5.0, "end", layer="note")


def _from_the_front(view: _View) -> Iterator[Item]:
    holding = view.holding
    yield Line((0, BED), (view.room - 4, BED), STROKE * 1.5, layer="bed")
    yield from _stop(view, BED, TOP - 4)
    for a, b in (((view.edge, TOP), (view.edge, BED)), ((view.far, BED), (view.far, TOP))):
        yield Line(a, b, STROKE, layer="wood")
    yield Line((view.edge, TOP), (view.far, TOP), STROKE, dashed=True, layer="wood")
    yield from _edge(view, BED, TOP)
    deep = CLEAR * float(holding.depth / holding.above)
    yield _filled(view.x(holding.kerf[0]), BED - 5, view.x(holding.kerf[1]), BED + deep, "blade")
    yield from _keep_clear(view)
    row = BED + CLEAR + 5
    triangle = ((view.edge + EDGE, row + LARGE / 2), (view.edge + 10, row + LARGE), (view.edge + 10, row))
    yield Shape(triangle, FINE, black=True, layer="edge")
    yield Text((view.edge + 13, row), "EDGE", LARGE, bold=True, layer="edge")
    down = f"END {holding.end}" if holding.end else "SLOTS"
    yield Text((view.far - 12, row), down, LARGE, "end", bold=True, layer="end")
    arrow = ((view.far - 2, row + LARGE), (view.far - 10, row + LARGE), (view.far - 6, row))
    yield Shape(arrow, FINE, black=True, layer="end")


def _keep_clear(view: _View) -> Iterator[Item]:
    holding = view.holding
    left, right, top = view.x(holding.lowest), view.x(holding.highest), BED + CLEAR
    yield rectangle(left, BED, right, top, weight=STROKE, layer="keep clear")
    words = (NO_CLAMP, holding.reach)
    wide = max(width_of(word, SMALL, True) for word in words) + 4
    inside = right - left >= wide + 8
    middle = (left + right) / 2 if inside else right + 3 + wide / 2
    low, high = BED + CLEAR / 2 - SMALL - 2.5, BED + CLEAR / 2 + SMALL + 2.5
    patches: tuple[tuple[float, float, float, float], ...] = ((left, BED, right, top),)
    if inside:
        a, b = middle - wide / 2, middle + wide / 2
        patches = ((left, BED, a, top), (b, BED, right, top), (a, high, b, top), (a, BED, b, low))
    for patch in patches:
        yield from (replace(line, weight=FINE) for line in hatched(rectangle(*patch).points, HATCH, layer="keep clear"))
    for n, word in enumerate(words):
        y = BED + CLEAR / 2 + (1.2 if n == 0 else -1.2 - SMALL)
        yield Text((middle, y), word, SMALL, "middle", bold=True, layer="keep clear")
    x = view.far + 5
    yield from (Line((x - 3, y), (x + 3, y), FINE, layer="keep clear") for y in (BED, top))
    yield Line((x, BED), (x, top), FINE, layer="keep clear")
    yield Text((x + 3, BED + CLEAR / 2 - SMALL / 2), holding.height, SMALL, layer="keep clear")


def _stop(view: _View, low: float, high: float) -> Iterator[Item]:
    yield rectangle(0.5, low, STOP, high, weight=STROKE, layer="stop")
    yield Text((STOP / 2, (low + high) / 2 - SMALL / 2), "STOP", SMALL, "middle", bold=True, layer="stop")
    if view.holding.bar:
        yield rectangle(STOP, low, view.edge, high, weight=STROKE, layer="bar")
        at = (STOP + BAR / 2 + SMALL / 2, (low + high) / 2)
        yield Text(at, "BAR", SMALL * 0.9, "middle", True, True, layer="bar")


def _edge(view: _View, low: float, high: float) -> Iterator[Item]:
    yield _filled(view.edge, low, view.edge + EDGE, high, "edge")


def _filled(left: float, bottom: float, right: float, top: float, layer: str) -> Shape:
    return replace(rectangle(left, bottom, right, top, weight=FINE, layer=layer), black=True)


def _turn(holding: Holding) -> Iterable[Item]:
    """The board as it was held for its end 1, and an arrow for the turn."""
    left, right, low, high = 8.0, 28.0, 14.0, 58.0
    items: list[Item] = [
        rectangle(left, low, right, high, weight=STROKE, layer="before"),
        _filled(left, low, left + EDGE, high, "before"),
        Text((20, high - 10), "2", LARGE, "middle", bold=True, layer="before"),
        Text((20, low + 3), "1", LARGE, "middle", bold=True, layer="before"),
    ]
    arc: list[Point] = [(32, 48), (37, 44), (39, 36), (37, 28), (33, 24.5)]
    for a, b in zip(arc, arc[1:], strict=False):
        items.append(Line(a, b, STROKE * 1.5, layer="turn"))
    items.append(Shape(((30, 22), (36, 22.5), (33, 28)), FINE, black=True, layer="turn"))
    for n, word in enumerate(("TURN", "END", "OVER", "END")):
        items.append(Text((1, 92 - 8.5 * n), word, SMALL, bold=True, layer="turn"))
    return items
