"""Draws part A and part B, with dimensions and passes, each with its end down as the operator sees it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from assistant.drawings.board import (
    LABEL_DROP,
    TURNED,
    BoardView,
    comb,
    comb_outline,
    depth_mark,
    drop_for,
    figure,
    leader,
    socket_numbers,
    stop,
    wall_marks,
    width_mark,
)
from assistant.drawings.letters import width_of
from assistant.drawings.picture import BIG, CAP, MIDDLE, THIN, Item, Line, Picture, Shape, Text, rectangle
from assistant.drawings.placing import GAP, spread, thinned
from assistant.joinery.halves import Half
from assistant.joinery.model import Pattern, Segment, StopSide
from assistant.joinery.units import plain_length
from assistant.plans.model import Job
from assistant.wording.halves import HALVES
from assistant.wording.numbers import drawn_depth

STOP_ROOM, DEPTH_ROOM = 12.0, 38.0
"""Room beside the board for the stop and for the depth's dimension, mm of paper, as all below."""
HEAD = 6.0
WOOD = 9.0
"""Wood shown above the floors of the sockets."""
DEEPEST = 31.0
"""No socket is drawn deeper, so that a landscape page holds both pictures."""
BARS = 6.5
STOP_TOP = 16.0
SCALES = (20.0, 10.0, 5.0, 4.0, 3.0, 2.0, 1.5, 1.0, *(1 / n for n in (1.5, 2, 2.5, 3, 4, 5, 8, 10, 20, 40, 50, 100)))


@dataclass(frozen=True, slots=True)
class PictureSize:
    """The size of a board's picture. width: of the whole picture, mm. scale: paper mm for each mm of wood."""

    width: float
    scale: float


def fitting(pattern: Pattern, width: float) -> PictureSize:
    """The largest round scale at which this end's picture is at most `width` wide."""
    room = width - STOP_ROOM - DEPTH_ROOM
    deep = float(pattern.depth)
    for scale in SCALES:
        if float(pattern.width) * scale <= room and deep * scale <= DEEPEST:
            return PictureSize(width, scale)
    return PictureSize(width, min(room / float(pattern.width), DEEPEST / deep))


def full_size(pattern: Pattern) -> PictureSize:
    """Scale 1, wide enough for every label."""
    labels = len(pattern.segments) + 1
    passes = sum(width_of(str(one.number), CAP) + GAP for one in pattern.passes)
    needed = max(labels * (TURNED + GAP), passes)
    return PictureSize(max(float(pattern.width) + STOP_ROOM + DEPTH_ROOM, needed + 2), 1.0)


def scale_words(scale: float) -> str:
    """The scale as drawings state it: "scale 2:1", "scale 1:2"."""
    return f"scale {scale:.3g}:1" if scale >= 1 else f"scale 1:{1 / scale:.3g}"


def _view(job: Job, pattern: Pattern, size: PictureSize) -> BoardView:
    """The board in the middle of the room that its stop and its depth's dimension leave."""
    spare = size.width - STOP_ROOM - DEPTH_ROOM - float(pattern.width) * size.scale
    before = DEPTH_ROOM if job.carriage.stop_side == StopSide.RIGHT else STOP_ROOM
    return BoardView(float(pattern.width), before + spare / 2, size.scale, job.carriage.stop_side)


def stage_words(job: Job, pattern: Pattern) -> str:
    """The part's name, "Part A", with its stage if there are several."""
    stages = (s.stage for s in job.setups if _is_of(job.patterns[s.pattern], pattern))
    number = next(stages, 1)
    return f"Part {pattern.part}" + (f", stage {number}" if len(job.stages) > 1 else "")


def _is_of(half: Pattern, whole: Pattern) -> bool:
    return (half.part, half.segments, half.depth) == (whole.part, whole.segments, whole.depth)


def cut_words(job: Job, pattern: Pattern) -> str:
    """The same, with the half where an end is cut in two clampings."""
    half = next((s.half for s in job.setups if job.patterns[s.pattern] is pattern), Half.NONE)
    return stage_words(job, pattern) + (f", {HALVES[half]}" if half else "")


def dimensions(job: Job, pattern: Pattern, size: PictureSize) -> Picture:
    """The end with its width, its depth, its sockets' numbers and every wall's distance from the reference edge."""
    view = _view(job, pattern, size)
    unit = job.carriage.unit
    walls, below = wall_marks(view, pattern.segments, unit, size.width)
    items = list(walls)
    if not walls:
        below = CAP + 5
        items.append(Text((0, -below + 1), "The walls are too close together to mark here: see the table.", CAP))
    top = float(pattern.depth) * size.scale + WOOD
    items += _board_end(job, pattern, view, top)
    items += width_mark(view, top + 4, f"{plain_length(pattern.width, unit)} wide")
    heading = f"{stage_words(job, pattern)}: dimensions ({unit}), {scale_words(size.scale)}"
    return _framed(items, heading, size.width, below, max(top + 10, STOP_TOP + 2))


def _board_end(job: Job, pattern: Pattern, view: BoardView, top: float) -> Iterator[Item]:
    deep = float(pattern.depth) * view.scale
    yield from comb(view, pattern.segments, deep, top)
    yield from (_socket(view, each, deep, "socket") for each in pattern.sockets)
    yield from socket_numbers(view, pattern.segments, deep + 2)
    yield from stop(view, 0.0, max(top, STOP_TOP))
    yield from depth_mark(view, deep, f"{drawn_depth(pattern.depth, job)} deep")


def _socket(view: BoardView, socket: Segment, deep: float, layer: str) -> Shape:
    left, right = view.span(socket.start, socket.end)
    return rectangle(left, 0.0, right, deep, weight=THIN, layer=layer)


def profile(job: Job, pattern: Pattern) -> Picture:
    """For CAD: the bare outline at full size, closed, on one layer, and the sockets on another."""
    view = BoardView(float(pattern.width), 0.0, 1.0, job.carriage.stop_side)
    deep = float(pattern.depth)
    name = stage_words(job, pattern)
    outline = comb_outline(view, pattern.segments, 0.0, deep, deep + WOOD)
    items: list[Item] = [Shape(tuple(outline), MIDDLE, layer=f"{name} profile")]
    items += [_socket(view, each, deep, f"{name} sockets") for each in pattern.sockets]
    return _framed(items, f"{name}: bare outline, scale 1:1", float(pattern.width), 0.0, deep + WOOD + 2)


def passes(job: Job, pattern: Pattern, size: PictureSize) -> Picture:
    """The same end with the wood that each pass removes, as bars in two rows so that overlaps show."""
    view = _view(job, pattern, size)
    deep = float(pattern.depth) * size.scale
    top = deep + WOOD
    items: list[Item] = list(_board_end(job, pattern, view, top))
    for one in pattern.passes:
        left, right = view.span(one.kerf_from, one.kerf_to)
        items.append(rectangle(left, 0.0, right, deep, weight=THIN, dashed=True, layer="pass"))
        low = -2.6 if one.number % 2 else -5.2
        items.append(rectangle(left, low, right, low + 1.6, weight=MIDDLE, layer="pass bar"))
    numbers, below = _pass_numbers(view, pattern, size.width)
    items += [item.moved(0, -BARS) for item in numbers]
    heading = f"{cut_words(job, pattern)}: passes, numbered as they are cut, {scale_words(size.scale)}"
    return _framed(items, heading, size.width, BARS + below, max(top, STOP_TOP) + 2)


def _pass_numbers(view: BoardView, pattern: Pattern, width: float) -> tuple[list[Item], float]:
    """(numbers of the passes, how far down they reach): all with leaders if they fit in a row, else only round ones."""
    middles = {str(one.number): sum(view.span(one.kerf_from, one.kerf_to)) / 2 for one in pattern.passes}
    widths = {name: width_of(name, CAP) for name in middles}
    # Labels are spread from left to right, but numbered in the order of cutting.
    ordered = sorted(middles, key=lambda name: middles[name])
    points = [middles[name] for name in ordered]
    places = spread(points, [widths[name] for name in ordered], 0.0, width)
    drop = LABEL_DROP if places is None else drop_for(points, places)
    items: list[Item] = []
    if places is not None:
        for name, x, place in zip(ordered, points, places, strict=True):
            items += leader(x, place, 0.0, drop)
            items.append(Text((place, -drop - CAP), name, CAP, "middle", layer="pass number"))
        return items, drop + CAP + 1
    names, points = list(middles), list(middles.values())
    for n in thinned(points, list(widths.values())):
        items.append(Line((points[n], 0.0), (points[n], 0.8 - drop), THIN, layer="leader"))
        items.append(Text((points[n], -drop - CAP), names[n], CAP, "middle", layer="pass number"))
    return items, drop + CAP + 1


def _framed(items: list[Item], heading: str, width: float, below: float, above: float) -> Picture:
    """The picture with its heading, moved up so that it starts at y = 0."""
    placed = [item.moved(0, below) for item in items]
    high = below + above + HEAD
    placed.append(Text((0, high - BIG), heading, 3.4, bold=True))
    return Picture(tuple(placed), width, high)


def table(job: Job, pattern: Pattern) -> list[tuple[str, ...]]:
    """The rows of the table that goes with the pictures: name, from, to, width, passes."""
    unit = job.carriage.unit
    rows: list[tuple[str, ...]] = [("", "from", f"to ({unit})", "wide", "passes")]
    of_socket: dict[int, list[int]] = {}
    for one in pattern.passes:
        of_socket.setdefault(one.socket, []).append(one.number)
    counts = {True: 0, False: 0}
    for each in pattern.segments:
        counts[each.is_finger] += 1
        number = counts[each.is_finger]
        name = f"{'finger' if each.is_finger else 'socket'} {number}"
        numbers = [] if each.is_finger else of_socket.get(number, [])
        cut_by = f"{min(numbers)} to {max(numbers)}" if len(numbers) > 1 else "".join(map(str, numbers))
        rows.append((name, *(figure(x, unit) for x in (each.start, each.end, each.width)), cut_by))
    return rows
