"""Draws 1:1 strips to lay on a board's edge, in tiles that fit the paper, and scales to check the print with."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from assistant.drawings.board import BoardView, socket_numbers
from assistant.drawings.parts import stage_words
from assistant.drawings.picture import CAP, MIDDLE, THICK, THIN, Item, Line, Picture, Shape, Text, hatched, rectangle
from assistant.joinery.model import Pattern, Segment, StopSide
from assistant.joinery.units import Unit, plain_length
from assistant.plans.model import Job

# Round lengths that fit between the margins of a landscape sheet: 273 mm of A4, 255 mm of letter.
TILE = {Unit.MM: Fraction(240), Unit.INCH: Fraction(254, 10) * 9}
"""The most of a board that one tile shows: 240 mm, or 9 in."""
BODY_LOW, BODY_HIGH = 4.0, 20.0
HIGH = 34.0
HATCH = 2.0
BARS: tuple[tuple[str, float, int], ...] = (("100 mm", 100.0, 10), ("4 in", 101.6, 8))
"""Each bar's name, its length in mm, and the number of parts it is divided into."""


def tiles(job: Job, pattern: Pattern, width: float) -> Iterator[Picture]:
    """The board's edge at full size from the reference edge, in one picture for each tile, `width` wide."""
    unit = job.carriage.unit
    longest = TILE[unit]
    count = -(-pattern.width // longest)
    for n in range(count):
        start, end = n * longest, min((n + 1) * longest, pattern.width)
        which = "strip"
        if count > 1:
            which += f" {n + 1} of {count}, {plain_length(start, unit)} to {plain_length(end, unit)}"
        side = job.carriage.stop_side
        heading = f"{stage_words(job, pattern)}, {which}; reference edge at the {side}; hatched: cut away"
        yield _tile(pattern, start, end, side, width, heading)


def _tile(pattern: Pattern, start: Fraction, end: Fraction, side: StopSide, width: float, heading: str) -> Picture:
    length = float(end - start)
    left = width - 4 - length if side == StopSide.RIGHT else 4.0
    view = BoardView(length, left, 1.0, side)
    items: list[Item] = [Text((0, HIGH - 4), heading, CAP, bold=True)]
    items.append(rectangle(view.left, BODY_LOW, view.right, BODY_HIGH, weight=MIDDLE, layer="wood"))
    for each in pattern.sockets:
        a, b = max(each.start, start) - start, min(each.end, end) - start
        if a < b:
            left_x, right_x = view.span(a, b)
            cut = rectangle(left_x, BODY_LOW, right_x, BODY_HIGH, weight=MIDDLE, layer="socket")
            items += [cut, *hatched(cut.points, HATCH, layer="socket")]
    # Sockets are counted along the whole board. One that crosses a join is numbered on the tile where it starts.
    before = sum(1 for each in pattern.sockets if each.start < start)
    begin_here = [each for each in pattern.sockets if start <= each.start < end]
    shown = [Segment(each.start - start, min(each.end, end) - start, False) for each in begin_here]
    items += socket_numbers(view, shown, BODY_HIGH + 2, first=before + 1)
    if start == 0:
        # A black triangle points at the reference edge from below.
        x, half = view.x(0), 1.5 if not view.mirrored else -1.5
        triangle = ((x, BODY_LOW - 0.6), (x + half, 0.4), (x - half, 0.4))
        items.append(Shape(triangle, THIN, black=True, layer="stop"))
    for at, is_join in ((start, start > 0), (end, end < pattern.width)):
        if is_join:
            x = view.x(at - start)
            items.append(Line((x, BODY_LOW - 3.5), (x, BODY_HIGH + 1), THIN, dashed=True, layer="join"))
    return Picture(tuple(items), width, HIGH)


def scale_bars(width: float) -> Picture:
    """Scales of 100 mm and 4 in, to measure before the strips are used."""
    items: list[Item] = [
        Text((0, 24), "Print at 100 %, not fitted to the page. Measure both scales before use:", CAP, bold=True)
    ]
    for (name, length, parts), y in zip(BARS, (13.0, 2.0), strict=True):
        items.append(Line((4, y), (4 + length, y), THICK, layer="scale"))
        for n in range(parts + 1):
            x = 4 + n * length / parts
            high = 6.0 if n in (0, parts) else 2.5
            items.append(Line((x, y - 0.25), (x, y + high), MIDDLE, layer="scale"))
        items.append(Text((4 + length + 4, y + 1), name, CAP, bold=True, layer="scale"))
    return Picture(tuple(items), width, 30)
