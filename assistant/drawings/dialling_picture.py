"""Draws one move of a handwheel on its dial: where the mark stands, where it must end, and which way it goes.

The dial is drawn with its marks rising clockwise. On a wheel where they rise the other way the arrow still follows the
numbers: up is where they rise.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from math import cos, pi, sin

from assistant.drawings.dialling import Dial
from assistant.drawings.letters import width_of
from assistant.drawings.picture import Item, Line, Picture, Point, Shape, Text, TextAnchor
from assistant.joinery.settings import mark_text

WIDE, HIGH = 130.0, 100.0
"""Room of every such picture."""
MIDDLE: Point = (65.0, 44.6)
RIM, ARROW, BAR, HEAD = 27.5, 23.4, 6.0, 2.8
"""Radius of the dial's rim and of the arrow within; how long the bar is where the mark stands."""
LOOP = 3.6
"""How much farther in a whole turn begins than the rest of the move."""
LARGE, SMALL = 9.0, 5.0
STROKE, BOLD = 0.9, 2.2
MOST_NUMBERS = 10
MOST_FIGURES = 4
"""A number with more of them, hundredths of a mark, is not quite as large."""
STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000)
LEAST_APART = 0.45
"""The angle that a number keeps from the mark to end at, radians, since that mark's own number is large."""


def picture(dial: Dial) -> Picture:
    """The dial, `WIDE` by `HIGH`, under its heading."""
    cap = min(LARGE, LARGE * (WIDE - 2) / width_of(dial.heading, LARGE, True))
    # Away from the number to end at, wherever that is.
    corner: tuple[Point, TextAnchor] = (
        ((1, 1.5), "start") if 2 * dial.end < dial.divisions else ((WIDE - 1, 1.5), "end")
    )
    follows = Text(corner[0], "marks rise" if dial.up else "marks fall", SMALL, corner[1], layer="way")
    heading = Text((WIDE / 2, HIGH - LARGE - 1.5), dial.heading, cap, "middle", bold=True, layer="move")
    note = () if dial.stays else (follows,)
    return Picture((heading, *note, *_rim(dial), *_marks(dial), *_way(dial)), WIDE, HIGH)


def numbers(divisions: int) -> range:
    """The marks that are numbered, so few that they can be read."""
    step = next((step for step in STEPS if divisions <= step * MOST_NUMBERS), STEPS[-1])
    # The last one keeps away from zero.
    return range(0, divisions - step // 2, step)


def _at(dial: Dial, mark: float, radius: float) -> Point:
    angle = 2 * pi * mark / dial.divisions
    # sin for x and cos for y: clockwise from the top.
    return MIDDLE[0] + radius * sin(angle), MIDDLE[1] + radius * cos(angle)


def _rim(dial: Dial) -> Iterator[Item]:
    corners = tuple(_at(dial, dial.divisions * n / 72, RIM) for n in range(72))
    yield Shape(corners, STROKE, layer="dial")
    for mark in numbers(dial.divisions):
        yield Line(_at(dial, mark, RIM - 3), _at(dial, mark, RIM), STROKE, layer="dial")
        # The shorter way round: the last mark is a neighbour of mark 0.
        apart = abs((float(dial.end) - mark + dial.divisions / 2) % dial.divisions - dial.divisions / 2)
        if 2 * pi * apart / dial.divisions > LEAST_APART:
            yield _outside(dial, mark, RIM + 1.6, Text((0, 0), str(mark), SMALL, "middle", layer="dial"))


def _marks(dial: Dial) -> Iterator[Item]:
    """A bar where the mark stands, a black pointer and a large number where it must end."""
    yield Line(_at(dial, float(dial.start), RIM - BAR), _at(dial, float(dial.start), RIM), BOLD, layer="start")
    end, half = float(dial.end), dial.divisions * 0.02
    tip = (_at(dial, end, RIM), _at(dial, end - half, RIM + 6), _at(dial, end + half, RIM + 6))
    yield Shape(tip, STROKE, black=True, layer="end")
    number = mark_text(dial.end)
    text = Text((0, 0), number, LARGE * (0.85 if len(number) <= MOST_FIGURES else 0.6), bold=True, layer="end")
    yield _outside(dial, end, RIM + 7, replace(text, anchor="middle"))


def _outside(dial: Dial, mark: float, radius: float, text: Text) -> Text:
    """A text beside a mark, so far out that its box stays outside the circle: farther where its width points there."""
    x, y = _at(dial, mark, 1)
    x, y = x - MIDDLE[0], y - MIDDLE[1]
    out = radius + abs(x) * text.width / 2 + abs(y) * text.cap / 2
    return replace(text, at=(MIDDLE[0] + x * out, MIDDLE[1] + y * out - text.cap / 2))


def _way(dial: Dial) -> Iterator[Item]:
    """The arrow from mark to mark, once round first if there is a whole turn; in the middle, how far."""
    lines = [line for line in ("STAY" if dial.stays else "UP" if dial.up else "DOWN", *dial.amount) if line]
    if dial.turns and dial.marks:
        lines[-1] = f"+ {mark_text(dial.marks)}"
    # All within the arrow, its head and the bar: as large as the circle lets the widest line be.
    inner = min(ARROW - LOOP * bool(dial.turns) - BOLD, ARROW - HEAD - 0.3, RIM - BAR - 0.5)
    step, most = 8.6, LARGE * 0.7
    rows = [(len(lines) / 2 - n - 1) * step + 1.2 for n in range(len(lines))]
    # The circle's chord at that edge of the line which lies further from the middle.
    room = [2 * (inner**2 - max(abs(y), abs(y + most)) ** 2) ** 0.5 for y in rows]
    cap = min(most, *(most * wide / width_of(line, most, True) for line, wide in zip(lines, room, strict=True)))
    for line, y in zip(lines, rows, strict=True):
        yield Text((MIDDLE[0], MIDDLE[1] + y), line, cap, "middle", bold=True, layer="move")
    if dial.stays:
        return
    sign = 1 if dial.up else -1
    length = float(dial.marks) + (dial.divisions if dial.turns else 0)
    short = min(length / 2, dial.divisions * 0.045)
    count = max(3, round(72 * length / dial.divisions))
    points = []
    for n in range(count + 1):
        inward = LOOP * (1 - n / count) if dial.turns else 0.0
        points.append(_at(dial, float(dial.start) + sign * (length - short) * n / count, ARROW - inward))
    yield from (Line(a, b, BOLD * 0.6, layer="way") for a, b in pairwise(points))
    back = float(dial.end) - sign * short
    head = (_at(dial, float(dial.end), ARROW), _at(dial, back, ARROW - HEAD), _at(dial, back, ARROW + HEAD))
    yield Shape(head, STROKE, black=True, layer="way")
