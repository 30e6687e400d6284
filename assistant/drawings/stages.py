"""Draws a lined joint stage by stage, and slotted boards with the pieces that go into them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from assistant.drawings.board import BoardView, broken_off, comb, comb_outline, stop
from assistant.drawings.letters import width_of
from assistant.drawings.parts import HEAD, STOP_ROOM, scale_words
from assistant.drawings.picture import CAP, MIDDLE, THICK, THIN, Item, Line, Picture, Shape, Text, hatched, rectangle
from assistant.joinery.lined import Lining, Material, Stages, regions
from assistant.joinery.model import Pattern, Segment, StopSide
from assistant.joinery.units import Unit, plain_length

HATCH = 1.2
WOOD = 11.0
BELOW = 8.0
"""How much of a blank's wood is shown below its sockets, mm of paper, as all here."""
THINNEST_LINING = 2.2
"""A lining is never drawn thinner, so that its hatching shows. Only the beginning of a wide board is then shown."""
LARGEST = 4.0


@dataclass(frozen=True, slots=True)
class Woods:
    """What the legend calls the two woods."""

    board: str
    lining: str


def lined_pictures(
    lined: Stages, lining: Lining, woods: Woods, width: float, unit: Unit, side: StopSide
) -> list[Picture]:
    """The opened board and its blank, the two glued, and the final sockets, from the reference edge.

    Only the beginning of a wide board is shown, so that its linings can be seen. The rest is more of the same.
    """
    view, upto = _window(lined, lining, width, side)
    words = scale_words(view.scale)
    part = f"Part {lined.part}"
    # All stages are cut off at the same place, where the board leaves the window.
    opened, blank = _upto(lined.opened, upto), _upto(lined.blank, upto)
    rest = "" if upto >= lined.final[-1].end else f", the first {plain_length(upto, unit)}"
    low = float(lined.opened_depth) * view.scale
    reach = float(lined.blank_depth) * view.scale
    first = [*_board(view, opened, low), *stop(view, 0, low + WOOD)]
    # The blank is cut off at the board's end. The line that shows this extends past both sides.
    cut_off = Line((view.left - 3, 0), (view.right + 3, 0), THICK, dashed=True, layer="cut")
    second = [*_blank(view, blank, low, reach), *_board(view, opened, low), cut_off]
    third = list(_finished(view, lined, upto, low))
    return [
        _framed(first, f"{part}, stage 1: opened{rest}, {words}", width, 0, low + WOOD),
        _framed(
            list(_blank(view, blank, low, reach)),
            f"{part}, stage 1: its blank, of {woods.lining}",
            width,
            reach - low + BELOW,
            low,
        ),
        _framed(second, f"{part}: glued; cut the blank off at the line", width, reach - low + BELOW, low + WOOD),
        _framed(third, f"{part}, stage 2: final sockets", width, 0, low + WOOD),
    ]


def _window(lined: Stages, lining: Lining, width: float, side: StopSide) -> tuple[BoardView, Fraction]:
    """(the view at a scale that shows a lining's wall, how much of the board is then shown, mm)."""
    board = lined.final[-1].end
    room = width - STOP_ROOM - 4
    scale = min(LARGEST, max(room / float(board), THINNEST_LINING / float(lining.wall)))
    fits = Fraction(room / scale)
    upto = board if board <= fits else next((s.end for s in reversed(lined.final) if s.end <= fits), fits)
    shown = float(upto)
    left = width - shown * scale - STOP_ROOM if side == StopSide.RIGHT else STOP_ROOM
    return BoardView(shown, left, scale, side), upto


def _upto(segments: Sequence[Segment], end: Fraction) -> tuple[Segment, ...]:
    return tuple(Segment(s.start, min(s.end, end), s.is_finger) for s in segments if s.start < end)


def _board(view: BoardView, segments: Sequence[Segment], deep: float) -> Iterator[Item]:
    return comb(view, segments, deep, deep + WOOD)


def _blank(view: BoardView, segments: Sequence[Segment], low: float, reach: float) -> Iterator[Item]:
    """The blank below the board, with its fingers up in the board's sockets and their tips seated at y = low."""
    floor, foot = low - reach, low - reach - BELOW
    for each in segments:
        left, right = view.span(each.start, each.end)
        top = low if each.is_finger else floor
        piece = rectangle(left, foot, right, top)
        yield from hatched(piece.points, HATCH, layer="lining")
    yield from broken_off(comb_outline(view, segments, low, floor, foot), MIDDLE, "lining")


def _finished(view: BoardView, lined: Stages, upto: Fraction, low: float) -> Iterator[Item]:
    for region in regions(lined):
        if region.x_from >= upto:
            continue
        left, right = view.span(region.x_from, min(region.x_to, upto))
        bottom, top = float(region.y_from) * view.scale, float(region.y_to) * view.scale
        if region.material == Material.LINING:
            box = rectangle(left, bottom, right, top)
            yield from hatched(box.points, HATCH, layer="lining")
            yield Line((left, top), (right, top), MIDDLE, layer="lining")
        elif region.material == Material.BOARD:
            yield from (Line((x, bottom), (x, top), THIN, layer="lining") for x in (left, right))
    yield from comb(view, _upto(lined.final, upto), float(lined.final_depth) * view.scale, low + WOOD)


def legend(woods: Woods, width: float) -> Picture:
    """A key to the hatching."""
    items: list[Item] = []
    x = 0.0
    for hatch, name in ((False, f"the board: {woods.board}"), (True, f"lining: {woods.lining}")):
        swatch = rectangle(x, 0.5, x + 9, 6)
        items.append(swatch)
        items += hatched(swatch.points, HATCH) if hatch else ()
        items.append(Text((x + 11.5, 1.8), name, CAP))
        x += 11.5 + width_of(name, CAP) + 10
    items.append(Line((x, 3.2), (x + 12, 3.2), THICK, dashed=True))
    items.append(Text((x + 14.5, 1.8), "cut off here", CAP))
    return Picture(tuple(items), width, 8)


def _framed(items: list[Item], heading: str, width: float, below: float, above: float) -> Picture:
    placed = [item.moved(0, below + 1) for item in items]
    high = below + above + HEAD + 3
    placed.append(Text((0, high - 4), heading, CAP, bold=True))
    return Picture(tuple(placed), width, high)


def slotted(patterns: Sequence[Pattern], height: Fraction, clearance: Fraction, width: float) -> tuple[Picture, ...]:
    """(closed, open): the board on its back, with the pieces in its slots and lifted out of them."""
    board = float(patterns[0].width)
    cuts = [(s, each.depth) for each in patterns for s in each.sockets]
    deepest = max(float(depth) for _, depth in cuts)
    # A lifted piece ends 2.4 times the deepest cut above the board: as far as it goes in, and 1.4 times as lifted.
    scale = min((width - 4) / board, 3.0, 45.0 / (float(height) + 2.5 * deepest))
    return tuple(
        _slotted(board, float(height), cuts, float(clearance), scale, width, lift) for lift in (0.0, 1.4 * deepest)
    )


def _slotted(
    board: float,
    height: float,
    cuts: Sequence[tuple[Segment, Fraction]],
    clearance: float,
    scale: float,
    width: float,
    lift: float,
) -> Picture:
    """One picture of a slotted board. lift: how far the pieces are out of their slots, mm of wood."""
    left = (width - board * scale) / 2
    outline = [(0.0, 0.0), (0.0, height)]
    pieces: list[Item] = []
    highest = height
    for socket, depth in sorted(cuts, key=lambda cut: cut[0].start):
        a, b, floor = float(socket.start), float(socket.end), height - float(depth)
        outline += [(a, height), (a, floor), (b, floor), (b, height)]
        # A clearance as wide as the slot would leave nothing of the piece to see.
        inset = min(clearance / 2, (b - a) / 4)
        # A piece is shown as far above its slot as it goes in.
        top = floor + 2 * float(depth) + lift
        highest = max(highest, top)
        piece = rectangle(
            left + (a + inset) * scale, (floor + lift) * scale, left + (b - inset) * scale, top * scale, layer="piece"
        )
        pieces += [piece, *hatched(piece.points, HATCH)]
    outline += [(board, height), (board, 0.0)]
    shape = Shape(tuple((left + x * scale, y * scale) for x, y in outline), THICK, layer="wood")
    state = "open: the pieces lifted out" if lift else "closed"
    return _framed([shape, *pieces], f"The joint {state}, {scale_words(scale)}", width, 0, highest * scale)
