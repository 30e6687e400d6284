"""How a board is held, in the letters of a terminal: the same views and words as `holding_picture`.

Only characters of code page 437, which every terminal's font has, a bare console's too; or ASCII alone.
"""

from __future__ import annotations

from assistant.drawings.holding import Holding

LEAST_COLUMNS, LEAST_ROWS = 24, 6
TURN_COLUMNS = 10
STOP_COLUMNS = 6
NO_CLAMP = "NO CLAMP"
ROOM_FOR_TURN = 36
"""Columns from which the board is also drawn as it was before the turn."""

MIRRORED = str.maketrans("◄►┌┐└┘▌▐<>", "►◄┐┌┘└▐▌><")
ASCII = str.maketrans("█▒▓▀▄─│┌┐└┘═▲▼◄►┴○", "#:%==-|++++=^v<>+o")


def in_letters(holding: Holding, columns: int, rows: int, ascii_only: bool = False) -> list[str]:
    """The figure in exactly `rows` lines of `columns` characters; blank lines where it has no room (24 by 6).

    ascii_only: where the terminal shows nothing else.
    """
    if columns < LEAST_COLUMNS or rows < LEAST_ROWS:
        return [" " * columns] * rows
    turn = holding.turned and columns >= ROOM_FOR_TURN
    left = TURN_COLUMNS if turn else 0
    board = _Letters(columns - left, rows, holding.stop_side == "right")
    _board(board, holding, rows, said_above=holding.turned and not turn)
    lines = board.lines()
    if turn:
        before = _turn(holding, rows)
        lines = [a + b for a, b in zip(before, lines, strict=True)]
    return [line.translate(ASCII) for line in lines] if ascii_only else lines


class _Letters:
    """Cells, with the stop at the left until they are read."""

    def __init__(self, columns: int, rows: int, mirrored: bool):
        self.columns, self._mirrored = columns, mirrored
        self._cells = [[" "] * columns for _ in range(rows)]

    def put(self, row: int, column: int, text: str) -> None:
        """Text keeps its direction where the picture is mirrored; signs are turned round."""
        if self._mirrored:
            column, text = self.columns - column - len(text), text.translate(MIRRORED)
        for n, letter in enumerate(text):
            if 0 <= column + n < self.columns:
                self._cells[row][column + n] = letter

    def lines(self) -> list[str]:
        return ["".join(row) for row in self._cells]


def _board(to: _Letters, holding: Holding, rows: int, said_above: bool) -> None:
    edge, far = STOP_COLUMNS + (1 if holding.bar else 0), to.columns - 1
    inner = far - edge - 1
    row = 0
    if said_above:
        to.put(0, 0, f"{'TURN END OVER END':^{to.columns}}")
        row = 1
    to.put(row, edge, f"{' BACKING ':▒^{far - edge + 1}}")
    row += 1
    faces = {"marked": ("▀ MARKED FACE ▀", "OTHER FACE"), "other": ("OTHER FACE", "▄ MARKED FACE ▄"), "": ("", "")}
    to_backing, near = faces[holding.face]
    shown = [to_backing, near] if rows - row >= 7 and holding.face else [to_backing]
    first = row
    for text in shown:
        fill = text[0] if text and text[0] in "▀▄" else " "
        to.put(row, edge, "█")
        to.put(row, edge + 1, f"{text:{fill}^{inner}}")
        to.put(row, far, "│")
        row += 1
    hatch = min(4, rows - row - 2)
    front = row
    to.put(row, edge, "█")
    to.put(row, edge + 1, "◄")
    to.put(row, edge + 2, "EDGE")
    end = f"END {holding.end}" if holding.end else "SLOTS"
    to.put(row, far - 1, "▼")
    to.put(row, far - 1 - len(end), end)
    to.put(row, far, "│")
    row += 1
    start, stop = (edge + 1 + round(float(at / holding.width) * inner) for at in (holding.lowest, holding.highest))
    start, stop = max(start, 0), min(max(stop, start + 1), to.columns)
    words = [NO_CLAMP, holding.reach] if hatch > 1 else [f"{NO_CLAMP} {holding.reach}"]
    for n in range(hatch):
        to.put(row, edge, "█")
        to.put(row, far, "│")
        to.put(row, start, "/" * (stop - start))
        if n < len(words):
            text = f" {words[n]} "
            at = start + (stop - start - len(text)) // 2 if len(text) <= stop - start else stop
            to.put(row, min(at, far - len(text)), text)
        row += 1
    to.put(row, 0, "═" * to.columns)
    to.put(row, edge + 1 + int(max(float(holding.kerf[0] / holding.width), 0) * inner), "▲")
    to.put(row, far - len(holding.height) - 1, f" {holding.height} ")
    for n in range(first, row):
        if holding.bar:
            to.put(n, STOP_COLUMNS, "▒")
        to.put(n, 0, "│" + " " * (STOP_COLUMNS - 2) + "│")
    for n in (first, (front + row - 1) // 2):
        to.put(n, 1, "STOP")


def _turn(holding: Holding, rows: int) -> list[str]:
    mirrored = holding.stop_side == "right"
    a = ["█2┐", "█ │", "█1┘"] if not mirrored else ["┌2█", "│ █", "└1█"]
    b = ["█1┐", "█F│", "█2┘"] if not mirrored else ["┌1█", "│F█", "└2█"]
    lines = ["TURN END", "OVER END", "", *(f"{x} {arrow} {y}" for x, arrow, y in zip(a, " ► ", b, strict=True))]
    return [f"{line:<{TURN_COLUMNS}}" for line in (*lines, *[""] * rows)[:rows]]
