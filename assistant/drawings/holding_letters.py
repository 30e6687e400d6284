"""How a board is held, in the letters of a terminal: the views and the words of `holding_picture`.

Only characters of code page 437, which every terminal's font has, a bare console's too; or ASCII alone.
"""

from __future__ import annotations

from assistant.drawings.holding import Face, Holding
from assistant.drawings.holding_picture import FACES, NEVER, NO_CLAMP, TURN
from assistant.joinery.model import StopSide

LEAST_COLUMNS, LEAST_ROWS = 24, 6
STOP_COLUMNS = 6
TURN_COLUMNS = 11
ROOM_FOR_TURN = 36
"""Columns from which the board is also drawn as it was before the turn."""
EDGE, WOOD, BACKING, BAR, BED, BLADE, HATCH = "█", "│", "▒", "▓", "═", "▲", "/"
MARKED = {Face.MARKED: "▄", Face.OTHER: "▀"}
"""The marked face, by the face at the backing, which lies below the board."""
MOST_HATCHED = 5

_MIRRORED = str.maketrans("◄►┌┐└┘", "►◄┐┌┘└")
_ASCII = str.maketrans("█▒▓▀▄─│┌┐└┘═▲▼◄►┴○", "#:%==-|++++=^v<>+o")


def in_ascii(lines: list[str]) -> list[str]:
    """The lines with ASCII in place of blocks and arrows."""
    return [line.translate(_ASCII) for line in lines]


def in_letters(holding: Holding, columns: int, rows: int, ascii_only: bool = False) -> list[str]:
    """The figure in exactly `rows` lines of `columns` characters; blank ones where it has no room, below 24 by 6.

    A figure is whole or left out. ascii_only: where the terminal shows nothing else.
    """
    if columns < LEAST_COLUMNS or rows < LEAST_ROWS:
        return [" " * columns] * rows
    turn = holding.turned and columns >= ROOM_FOR_TURN
    left = TURN_COLUMNS if turn else 0
    cells = _Cells(columns - left, rows, holding.stop_side == StopSide.RIGHT)
    _board(cells, holding, heading=" ".join(TURN) if holding.turned and not turn else "")
    lines = cells.lines()
    if turn:
        lines = [a + b for a, b in zip(_turn(holding, rows), lines, strict=True)]
    return in_ascii(lines) if ascii_only else lines


class _Cells:
    """The board's part of the figure, written as if the stop were at the left."""

    def __init__(self, columns: int, rows: int, mirrored: bool):
        self.columns, self.rows, self._mirrored = columns, rows, mirrored
        self._cells = [[" "] * columns for _ in range(rows)]

    def put(self, row: int, column: int, text: str) -> None:
        """Where the stop is at the right, the place is mirrored and so are arrows, but text still reads as text."""
        if self._mirrored:
            column, text = self.columns - column - len(text), text.translate(_MIRRORED)
        for at, letter in enumerate(text, start=column):
            if 0 <= at < self.columns:
                self._cells[row][at] = letter

    def lines(self) -> list[str]:
        return ["".join(row) for row in self._cells]


def _board(to: _Cells, holding: Holding, heading: str) -> None:
    """The view from above, then the view from the operator's side, in as many rows as there are."""
    edge, far = STOP_COLUMNS + (holding.bar or holding.piece), to.columns - 1
    row = 0
    if heading:
        to.put(row, 0, f"{heading:^{to.columns}}")
        row += 1
    # Face, backing, edge and end, and the bed take a row each. What is left is for the hatching, then for thickness.
    spare = to.rows - row - 4
    thick = min(max(spare - 3, 0), 2)
    hatched = min(spare - thick, MOST_HATCHED)
    air = spare - thick - hatched
    top = row
    for text, fill in _faces(holding, thick + 1):
        _wood(to, holding, row, f"{text:{fill}^{far - edge - 1}}")
        row += 1
    _stop(to, holding, top, row)
    to.put(row, edge, f"{' BACKING ':{BACKING}^{far - edge + 1}}")
    top = row = row + 1
    end = f"END {holding.end}" if holding.end else "SLOTS"
    for n in range(row, row + 1 + air):
        _wood(to, holding, n)
    how_many = _how_many(holding) if thick < 2 else ""
    middle = edge + 6 + (far - edge - 8 - len(end) - len(how_many)) // 2
    edge_word = "OTHER EDGE" if holding.other_edge else "EDGE"
    if far - edge - 4 - len(edge_word) - len(end) >= len(how_many):
        to.put(row, middle + len(edge_word) - 4, how_many)
    for column, text in ((edge + 1, "◄"), (edge + 2, edge_word), (far - 1 - len(end), end), (far - 1, "▼")):
        to.put(row, column, text)
    row += 1 + air
    _keep_clear(to, holding, row, hatched, edge, far)
    _stop(to, holding, top, row + hatched)


def _wood(to: _Cells, holding: Holding, row: int, inner: str = "") -> None:
    """A row of the board between its edges, the reference edge in a full block."""
    # Each on its own, so that each goes to its side where the figure is mirrored.
    edge = STOP_COLUMNS + (holding.bar or holding.piece)
    at_stop, at_far = (WOOD, EDGE) if holding.other_edge else (EDGE, WOOD)
    to.put(row, edge, at_stop)
    to.put(row, edge + 1, inner)
    to.put(row, to.columns - 1, at_far)


def _faces(holding: Holding, rows: int) -> list[tuple[str, str]]:
    """(text, what fills its row) from the far side of the board to the backing."""
    near = _named(holding.face), MARKED[Face.MARKED] if holding.face == Face.MARKED else " "
    far = _named({Face.MARKED: Face.OTHER, Face.OTHER: Face.MARKED}.get(holding.face, Face.NONE))
    between = [(_how_many(holding) if rows > 2 else "", " ")] * (rows - 2)
    return [(far, MARKED[Face.OTHER] if holding.face == Face.OTHER else " "), *between, near] if rows > 1 else [near]


def _how_many(holding: Holding) -> str:
    return f" {holding.copies} BOARDS " if holding.copies > 1 else ""


def _named(face: Face) -> str:
    return f" {FACES[face]} " if face else ""


def _keep_clear(to: _Cells, holding: Holding, top: int, hatched: int, edge: int, far: int) -> None:
    """Hatching with its words in it or beside it; the bed below, with the words that have no place there."""
    inner = far - edge - 1
    scale = inner / float(holding.width)
    start = max(edge + 1 + round(float(holding.lowest) * scale), 0)
    stop = min(max(edge + 1 + round(float(holding.highest) * scale), start + 1), to.columns)
    for row in range(top, top + hatched):
        _wood(to, holding, row)
        to.put(row, start, HATCH * (stop - start))
    left = []
    row = top
    for word in (NO_CLAMP, holding.reach, f"up to {holding.height}"):
        # One row at least shows how far the hatching goes.
        at = _place(word, start, stop, edge, far, over=row < top + hatched - 1) if row < top + hatched else None
        if at is None:
            left.append(word)
        else:
            to.put(row, *at)
            row += 1
    bed = top + hatched
    to.put(bed, 0, BED * to.columns)
    kerf = edge + 1 + min(max(int(float(holding.kerf[0]) * scale), 0), inner - 1)
    to.put(bed, kerf, BLADE)
    for count in range(len(left), 0, -1):
        text = f" {', '.join(left[:count])} "
        if (at_bed := _beside(kerf, len(text), to.columns)) is not None:
            break
    else:
        text = f" {left[0]} " if left else " BLADE "
        at_bed = _beside(kerf, len(text), to.columns)
        if at_bed is None:
            at_bed = max(0, (to.columns - len(text)) // 2)
    to.put(bed, at_bed, text)


def _beside(mark: int, long: int, columns: int) -> int | None:
    """Where a text of this length goes so that the mark stays to be seen."""
    if mark + 1 + long <= columns:
        return mark + 1
    return mark - long if long <= mark else None


def _place(word: str, start: int, stop: int, edge: int, far: int, over: bool) -> tuple[int, str] | None:
    """(column, text with its spaces) in the hatching, else on the wood beside it, else `over` it; None for no room."""
    inside = f" {word} "
    if len(inside) + 2 <= stop - start:
        return start + (stop - start - len(inside)) // 2, inside
    if stop + 1 + len(word) <= far:
        return stop + 1, word
    if start - 1 - len(word) > edge:
        return start - 1 - len(word), word
    room = far - edge - 1
    if not over or len(word) > room:
        return None
    # Never straight beside a stroke of the hatching, which could be read as a part of a fraction.
    spaced = f" {word} "[: max(len(word) + 1, room)] if len(word) < room else word
    return edge + 1 + (room - len(spaced)) // 2, spaced


def _stop(to: _Cells, holding: Holding, top: int, end: int) -> None:
    """The stop, and the distance piece at the edge, or the setting bar until it is out, in rows `top` to `end` - 1."""
    middle = (top + end - 1) // 2
    word = "PIECE" if holding.piece else "BAR" if holding.bar and not holding.clamped else ""
    first = middle - len(word) // 2
    for row in range(top, end):
        to.put(row, 0, WOOD + " " * (STOP_COLUMNS - 2) + WOOD)
        if word:
            named = end - top >= len(word) and first <= row < first + len(word)
            to.put(row, STOP_COLUMNS, word[row - first] if named else BAR)
    to.put(middle, 1, "STOP")


def _turn(holding: Holding, rows: int) -> list[str]:
    """The board as it was held for its end 1 and as it is now."""
    frames = [(f"{EDGE}{ends[0]}┐", f"{EDGE} {WOOD}", f"{EDGE}{ends[1]}┘") for ends in ("21", "12")]
    if holding.stop_side == StopSide.RIGHT:
        frames = [tuple(line[::-1].translate(_MIRRORED) for line in frame) for frame in frames]  # type: ignore[misc]
    both = [f"{a} {arrow} {b}" for a, arrow, b in zip(frames[0], " ► ", frames[1], strict=True)]
    gaps = [""] * (rows > LEAST_ROWS), [""] * (rows > LEAST_ROWS + 1)
    lines = [*TURN, *gaps[0], *both, *gaps[1], " ".join(NEVER)]
    return [f"{line:<{TURN_COLUMNS}}" for line in (lines + [""] * rows)[:rows]]
