"""Draws how a board is held, to be read from two metres: from above, and below that from the operator's side.

Along the board everything is to scale: its width, the first kerf, what to keep clear. Upwards the depth of the cut and
the height to keep clear have their true proportion. The rest only shows what touches what, and the view from the
operator's side looks through the backing.

The backing is on the operator's side of the board, because a table saw's teeth come towards the operator above the bed
and would tear the wood where they leave it (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import cos, radians, sin

from assistant.drawings.holding import Face, Holding
from assistant.drawings.letters import width_of
from assistant.drawings.picture import Item, Line, Picture, Point, Shape, Text, TextAnchor, hatched, rectangle
from assistant.joinery.model import StopSide

WIDE, HIGH = 180.0, 100.0
"""Room of every such picture, so that nothing else moves when another takes its place."""
LARGE, MIDDLING, SMALL = 8.2, 7.0, 6.0
"""Heights of capitals."""
ARROW = 10.0
"""Room for an arrow head beside a word."""
STROKE, FINE = 0.9, 0.5
THICK, MARKED = 3.2, 2.2
"""How thick the reference edge and the marked face are drawn."""
STOP, BAR = 27.5, 7.5
MARGIN = 1.0
TURNING = 46.0
"""Room for the turn end over end, beside the two views."""
BED, CLEAR, TOP = 4.5, 36.0, 54.5
"""In the view from the side: the bed, how high the keep-clear rectangle is above it, where the board is broken off."""
BACK, FACE, FAR = 57.0, 67.5, 90.5
"""In the view from above: the backing's near side, the face at the backing, the board's far side."""
NARROW = 3.2
"""A board of a stack beyond the second, seen from above."""
MOST_LAYERS = 3
TAIL = 0.34
"""How far a letter reaches below its line, as a share of a capital's height."""
LEAST_BLADE = 1.6
NO_CLAMP, TURN, NEVER = "NO CLAMP", ("TURN END", "OVER END"), ("NEVER", "SPIN")
HATCH = 3.0
AIR, SEEN = 1.2, 7.0
"""Room beside a label, and the hatching that is best seen beside one, on either side."""
FACES = {Face.MARKED: "MARKED FACE", Face.OTHER: "OTHER FACE"}


def picture(holding: Holding) -> Picture:
    """The figure, `WIDE` by `HIGH`. The stop is on the side where the operator sees it."""
    left = TURNING if holding.turned else 0.0
    view = _View(holding, WIDE - left)
    items: list[Item] = [*_from_above(view), *_from_the_side(view)]
    if holding.stop_side == StopSide.RIGHT:
        items = [_mirrored(item, view.room) for item in items]
    items = [item.moved(left, 0) for item in items]
    if holding.turned:
        items += _turn(mirrored=holding.stop_side == StopSide.RIGHT)
    return Picture(tuple(items), WIDE, HIGH)


class _View:
    """Where things are along the board, with the stop at the left."""

    def __init__(self, holding: Holding, room: float):
        self.holding, self.room = holding, room
        self.edge = STOP + (BAR if holding.bar or holding.piece else 0.0)
        # What a pass overruns the far edge has room too.
        self._scale = (room - MARGIN - self.edge) / float(max(holding.width, holding.highest))
        self.far = self.x(holding.width)

    @property
    def reference(self) -> tuple[float, float]:
        """The sides of the thick line at the reference edge."""
        return (self.far - THICK, self.far) if self.holding.other_edge else (self.edge, self.edge + THICK)

    @property
    def middle(self) -> float:
        return (self.edge + self.far) / 2

    def x(self, at: Fraction) -> float:
        return self.edge + float(at) * self._scale

    @property
    def blade(self) -> tuple[float, float]:
        """The sides of the first kerf, far enough apart to be seen, and beyond the edge only if the cut is."""
        left, right = (self.x(side) for side in self.holding.kerf)
        wide = max(right - left, LEAST_BLADE)
        start = max((left + right - wide) / 2, min(left, self.edge))
        return start, start + wide


def _mirrored(item: Item, room: float) -> Item:
    """An item with left and right exchanged, but text still to be read."""
    match item:
        case Line(a, b):
            return replace(item, a=(room - a[0], a[1]), b=(room - b[0], b[1]))
        case Shape(points):
            return replace(item, points=tuple((room - x, y) for x, y in points))
        # The letters of a turned text lie to the left of its place, as wide as a capital is high.
        case Text(at=(x, y), turned=True):
            return replace(item, at=(room - x + item.cap, y))
        case Text(at=(x, y), anchor=anchor):
            mirrored: dict[TextAnchor, TextAnchor] = {"start": "end", "middle": "middle", "end": "start"}
            return replace(item, at=(room - x, y), anchor=mirrored[anchor])


def _from_above(view: _View) -> Iterator[Item]:
    holding = view.holding
    yield rectangle(view.edge - 6, BACK, view.room - 0.5, FACE, weight=STROKE, layer="backing")
    yield Text((view.middle, (BACK + FACE - MIDDLING) / 2), "BACKING", MIDDLING, "middle", layer="backing")
    layers = _layers(holding.copies)
    for low, high in pairwise(layers):
        yield rectangle(view.edge, low, view.far, high, weight=STROKE, layer="wood")
        if holding.face == Face.MARKED:
            yield _filled(view.edge, view.far, low, low + MARKED, "face")
        elif holding.face:
            yield _filled(view.edge, view.far, high - MARKED, high, "face")
    far = layers[-1]
    yield _filled(*view.reference, FACE, far, "edge")
    yield from _stop(view, FACE + 1.5, FAR - 1, FACE)
    yield from _faces(view, layers)
    left, right = view.blade
    yield _filled(left, right, far + 1.5, HIGH - 0.5, "blade")
    row = HIGH - 1 - SMALL
    before = view.room - right < left
    name = Text((left - 2 if before else right + 2, row), "BLADE", SMALL, "end" if before else "start", layer="blade")
    how_many = holding.copies > 1
    words = f"{holding.copies} BOARDS" if how_many else "FROM ABOVE"
    at, anchor = (1.0, "start") if before else (view.room - 1, "end")
    title = Text((at, row), words, SMALL, anchor, bold=how_many, layer="title")  # type: ignore[arg-type]
    # Where the blade leaves room for one of them only, it is how many boards there are, else what the blade is.
    both = name.width + title.width + SMALL < (left if before else view.room - right)
    if both or not how_many:
        yield name
    if both or how_many:
        yield title


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
    """The name of the face at the backing, and of the one that looks away from it: in a stack, the second board's."""
    face = view.holding.face
    if not face:
        return
    middle = view.middle + THICK / 2
    if len(layers) == 2:
        near, far = layers[0] + MARKED + 1.4, layers[1] - MARKED - 1.4 - MIDDLING
    else:
        # The middle of what the thick line leaves of each board.
        line = MARKED / 2 if face == Face.MARKED else -MARKED / 2
        near, far = ((low + high - MIDDLING) / 2 + line for low, high in list(pairwise(layers))[:2])
    yield _face(middle, near, face)
    yield _face(middle, far, Face.OTHER if face == Face.MARKED else Face.MARKED)


def _face(x: float, y: float, face: Face) -> Text:
    return Text((x, y), FACES[face], MIDDLING, "middle", bold=face == Face.MARKED, layer="face")


def _from_the_side(view: _View) -> Iterator[Item]:
    holding = view.holding
    yield Line((0.5, BED), (view.room - 0.5, BED), STROKE * 1.6, layer="bed")
    # A pass that begins before the edge takes the rectangle into the stop.
    yield from _stop(view, BED, TOP - 3, BED + CLEAR + 1 if holding.lowest < 0 else BED)
    yield Line((view.far, BED), (view.far, TOP), STROKE, layer="wood")
    yield Line((view.edge, TOP), (view.far, TOP), STROKE, dashed=True, layer="wood")
    yield _filled(*view.reference, BED, TOP, "edge")
    left, right = view.blade
    yield _filled(left, right, 0.5, BED + CLEAR * float(holding.depth / holding.above), "blade")
    yield from _keep_clear(view)
    words = "OTHER EDGE" if holding.other_edge else "EDGE", f"END {holding.end}" if holding.end else "SLOTS"
    room = view.far - view.edge - THICK - 2 * ARROW - 3
    cap = LARGE * min(1.0, room / sum(width_of(word, LARGE, True) for word in words))
    row = (BED + CLEAR + TOP - cap) / 2
    point, at_far = view.edge + THICK + 1, view.far - 2
    to_the_edge = ((point, row + cap / 2), (point + ARROW - 2, row + cap), (point + ARROW - 2, row))
    down = ((at_far, row + cap), (at_far - ARROW + 2, row + cap), (at_far - ARROW / 2 + 1, row))
    yield Shape(to_the_edge, FINE, black=True, layer="edge")
    yield Text((point + ARROW - 1, row), words[0], cap, bold=True, layer="edge")
    yield Text((at_far - ARROW + 1, row), words[1], cap, "end", bold=True, layer="end")
    yield Shape(down, FINE, black=True, layer="end")


def _keep_clear(view: _View) -> Iterator[Item]:
    """The rectangle that no clamp may be in, hatched, with its figures in it or, if it is too narrow, beside it."""
    holding = view.holding
    left, right, top = view.x(holding.lowest), view.x(holding.highest), BED + CLEAR
    yield rectangle(left, BED, right, top, weight=STROKE, layer="clear")
    # How high what is not hatched yet reaches.
    high = top
    for block in _label(view, left, right):
        step = (CLEAR - 3) / max(len(block.lines), 3)
        # A little more room below, for letters with a tail.
        line_top = BED + (CLEAR + 1 + step * len(block.lines)) / 2
        for n, line in enumerate(block.lines):
            y = line_top - (step + block.cap) / 2
            text = Text((block.middle, y), line, block.cap, "middle", bold=_forbids(line), layer="clear")
            yield text
            if left < block.middle < right:
                # The hatching leaves out each line of text by itself, so that as much of it as can be is seen.
                if n == 0 and len(block.lines) < 3:
                    yield from _hatching(left, line_top, right, high)
                    high = line_top
                low = BED if n > 1 and n == len(block.lines) - 1 else min(line_top - step, y - TAIL * block.cap)
                yield from _hatching(left, low, block.middle - text.width / 2 - AIR, high)
                yield from _hatching(block.middle + text.width / 2 + AIR, low, right, high)
                high = low
            line_top -= step
    yield from _hatching(left, BED, right, high)


def _hatching(left: float, low: float, right: float, high: float) -> Iterator[Line]:
    if low < high:
        for line in hatched(rectangle(left, low, right, high).points, HATCH, layer="clear"):
            yield replace(line, weight=STROKE)


@dataclass(frozen=True, slots=True)
class _TextBlock:
    """Lines of text one below another. middle: of all of them."""

    lines: tuple[str, ...]
    cap: float
    middle: float


@dataclass(frozen=True, slots=True)
class _Place:
    """Room for a block. towards: where the rectangle is, seen from it; "" within it."""

    left: float
    right: float
    towards: str = ""


def _label(view: _View, left: float, right: float) -> list[_TextBlock]:
    """What the rectangle's label says and where: as large as fits into it, beside it or on both of its sides.

    Where there is no room for letters that can be read, it has no figures, or nothing at all.
    """
    low, _, high = view.holding.reach.partition(" to ")
    up_to = f"up to {view.holding.height}"
    in_three, in_four = (NO_CLAMP, view.holding.reach, up_to), (NO_CLAMP, f"{low} to", high, up_to)
    # In the rectangle it keeps clear of the blade.
    inside = _Place(max(left, view.blade[1]), right)
    roomy = _Place(inside.left + SEEN, inside.right - SEEN)
    after, before = _Place(right, view.far, "left"), _Place(view.edge + THICK, left, "right")
    for places in ((roomy, after, before), (inside,)):
        for lines, cap in ((in_three, MIDDLING), (in_three, SMALL), (in_four, SMALL)):
            for place in places:
                if block := _fitted(lines, cap, place):
                    return [block]
    two, rest = tuple(NO_CLAMP.split()), (f"{low} to", high, view.holding.height, "high")
    for sides in ((after, before), (before, after)):
        blocks = [_fitted(lines, SMALL, place) for lines, place in zip((two, rest), sides, strict=True)]
        if all(blocks):
            return [block for block in blocks if block]
    fitted = (_fitted(lines, SMALL, place) for lines in ((NO_CLAMP,), two) for place in (inside, after, before))
    return [block for block in fitted if block][:1]


def _fitted(lines: tuple[str, ...], cap: float, place: _Place) -> _TextBlock | None:
    """The lines in this place, close to the rectangle; None where they don't fit."""
    wide = max(width_of(line, cap, _forbids(line)) for line in lines) + 2 * AIR
    if wide > place.right - place.left:
        return None
    close = {"left": place.left + wide / 2, "right": place.right - wide / 2, "": (place.left + place.right) / 2}
    return _TextBlock(lines, cap, close[place.towards])


def _forbids(line: str) -> bool:
    """Whether this line of the label is "NO CLAMP" or a part of it, in bold, and no figure."""
    return line in (NO_CLAMP, *NO_CLAMP.split())


def _stop(view: _View, low: float, high: float, named: float) -> Iterator[Item]:
    """The stop, and what lies between it and the edge: the distance piece, or the setting bar or where that was.

    named: the lowest that their names may be.
    """
    yield rectangle(0.5, low, STOP, high, weight=STROKE, layer="stop")
    middle = max((low + high) / 2, named + MIDDLING / 2)
    yield Text((STOP / 2, middle - MIDDLING / 2), "STOP", 6.5, "middle", bold=True, layer="stop")
    word = "BAR" if view.holding.bar else "PIECE" if view.holding.piece else ""
    if word:
        gone = view.holding.bar and view.holding.clamped
        yield rectangle(STOP, low, view.edge, high, weight=STROKE, dashed=gone, layer=word.lower())
        long = width_of(word, SMALL, True)
        start = max(middle - long / 2, named)
        if start + long <= high and not gone:
            yield Text((STOP + (BAR + SMALL) / 2, start), word, SMALL, turned=True, bold=True, layer=word.lower())


def _filled(left: float, right: float, bottom: float, top: float, layer: str) -> Shape:
    return replace(rectangle(left, bottom, right, top, weight=FINE, layer=layer), black=True)


def _turn(mirrored: bool) -> Iterator[Item]:
    """The board as it was held for its end 1 and as it is now, and the turn; below, the spin that mirrors a joint."""
    for n, word in enumerate(TURN):
        yield Text(((TURNING - 2) / 2, HIGH - SMALL - 1 - 7.5 * n), word, SMALL, "middle", bold=True, layer="turn")
    low, high, wide = 46.0, 82.0, 13.5
    for left, ends in ((0.5, "21"), (TURNING - 3 - wide, "12")):
        yield rectangle(left, low, left + wide, high, weight=STROKE, layer="turn")
        edge = left + wide - THICK if mirrored else left
        yield _filled(edge, edge + THICK, low, high, "turn")
        middle = left + (wide - THICK if mirrored else wide + THICK) / 2
        for y, end in zip((high - MIDDLING - 2, low + 2), ends, strict=True):
            yield Text((middle, y), end, MIDDLING, "middle", bold=True, layer="turn")
    # The end that was up comes down.
    axis, x, reach = (low + high) / 2, wide + 2.0, 13.0
    yield from _arc((x, axis), 6.0, reach, 90, -68, "turn")
    yield Line((0.5, axis), (TURNING - 3, axis), FINE, dashed=True, layer="turn")
    x, y, radius = (TURNING - 2) / 2, 28.0, 11.0
    yield rectangle(x - 4, y - 7, x + 4, y + 7, weight=STROKE, layer="spin")
    yield from _arc((x, y), radius, radius, 200, -40, "spin")
    for slope in (-1, 1):
        yield Line((x - 10, y - 10 * slope), (x + 10, y + 10 * slope), STROKE * 2, layer="spin")
    for n, word in enumerate(NEVER):
        yield Text((x, 8.5 - 7.5 * n), word, SMALL, "middle", bold=True, layer="spin")


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
