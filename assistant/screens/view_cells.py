"""A page of character cells, and the fewest bytes that turn a terminal's page into another.

It uses only what every terminal has: a cursor that can be placed, erasing to the end of a line, bold, reverse, and the
eight colours. It never sets the background, so a dark terminal stays dark and a light terminal light. Marks are red or
magenta, which can be seen on both; the other colours only fill whole cells beside a word that says the same. What must
be read is in the terminal's own colours.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from functools import lru_cache

from assistant.wording.quantities import pieces, whole_until

BOLD, REVERSE, RED, MAGENTA, GREEN, YELLOW, CYAN, BLUE = (1 << n for n in range(8))
MARKING = (RED, MAGENTA)
"""The colours of marks and figures; all others only fill cells."""
COLOURS = (*MARKING, GREEN, YELLOW, CYAN, BLUE)
ANY_COLOUR = sum(COLOURS)
CODES = {
    BOLD: ("1", "22"),
    REVERSE: ("7", "27"),
    RED: ("31", "39"),
    MAGENTA: ("35", "39"),
    GREEN: ("32", "39"),
    YELLOW: ("33", "39"),
    CYAN: ("36", "39"),
    BLUE: ("34", "39"),
}
"""The code that sets a style, and the code that ends it."""
Cell = tuple[str, int]
"""A character with its style; "" for the second half of a wide character."""
BLANK: Cell = (" ", 0)
FULL = "█"
"""Sent as a blank in reverse, which fills its cell completely in any font and takes one byte instead of three."""
BLOCKS = " ▀▄█░"  # what most of a page consists of: one cell each
GAP = 6  # this many unchanged cells are written again instead of skipped: moving the cursor takes as many bytes


@lru_cache(maxsize=4096)
def _shown(char: str) -> tuple[str, ...]:
    """The cells of one character: none, one, or itself and ""."""
    # Marks that combine with the character before, and format characters, take no column of a terminal.
    if unicodedata.category(char) in ("Mn", "Me", "Cf"):
        return ()
    if not char.isprintable():
        return (" ",) if char.isspace() else ("?",)
    return (char, "") if unicodedata.east_asian_width(char) in "WF" else (char,)


def cells(text: str, style: int = 0) -> list[Cell]:
    """The text, cell by cell. A character that can't be shown becomes a question mark; combining marks are dropped."""
    if text.isascii() and text.isprintable() or not text.strip(BLOCKS):
        return [(char, style) for char in text]
    return [(shown, style) for char in text for shown in _shown(char)]


def width(text: str) -> int:
    """Columns that the text takes."""
    return len(text) if text.isascii() and text.isprintable() or not text.strip(BLOCKS) else _width(text)


@lru_cache(maxsize=1024)
def _width(text: str) -> int:
    return len(cells(text))


def wrapped(text: str, columns: int) -> list[str]:
    """Lines of at most `columns` columns, broken between words where possible, and never inside a quantity."""
    lines: list[str] = []
    for paragraph in text.splitlines():
        line = ""
        for piece in pieces(paragraph):
            longer = f"{line} {piece}" if line else piece
            if width(longer) <= columns:
                line = longer
                continue
            if line:
                lines.append(line)
            *whole, line = [piece] if width(piece) <= columns else _broken(piece, columns)
            lines += whole
        lines.append(line)
    return lines


def _broken(piece: str, columns: int) -> list[str]:
    """Breaks a piece wider than a line, starting at a line's beginning: between words, or else anywhere."""
    lines = [""]
    for word in piece.split(" "):
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if width(longer) <= columns:
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        for char in word:
            if width(lines[-1] + char) > columns:
                lines.append("")
            lines[-1] += char
    return lines


def cut_to(text: str, columns: int) -> str:
    """The text, cut short with an ellipsis if it is too long. A quantity is never cut in two."""
    if width(text) <= columns:
        return text
    short = ""
    for char in text:
        if width(short + char) > columns - 1:
            break
        short += char
    return f"{text[: whole_until(text, len(short))].rstrip()}…" if columns > 0 else ""


def fitting(text: str, columns: int) -> str:
    """As much of the text as fits, cut anywhere but within a character."""
    shown = ""
    for char in text:
        if width(shown + char) > columns:
            break
        shown += char
    return shown


def _is_wide(char: str) -> bool:
    return bool(char) and len(_shown(char)) == 2


class Canvas:
    """A page of `rows` lines of `columns` cells; anything outside is ignored."""

    def __init__(self, columns: int, rows: int) -> None:
        self.columns, self.rows = columns, rows
        self.lines: list[list[Cell]] = [[BLANK] * columns for _ in range(rows)]
        self._with_wide: set[int] = set()

    def put(self, row: int, column: int, text: str, style: int = 0) -> int:
        """Write from (row, column), both from 0. Returns the column after the text."""
        made = cells(text, style)
        end = column + len(made)
        if 0 <= row < self.rows and 0 <= column < self.columns:
            fitting = made[: self.columns - column]
            self.lines[row][column : column + len(fitting)] = fitting
            if row in self._with_wide or ("", style) in made:
                self._with_wide.add(row)
                self._mend(row)
        return end

    def _mend(self, row: int) -> None:
        """Turn half a wide character into a blank."""
        line = self.lines[row]
        for n, (char, style) in enumerate(line):
            before, after = line[n - 1][0] if n else " ", line[n + 1][0] if n + 1 < len(line) else " "
            if (_is_wide(char) and after) or (not char and not _is_wide(before)):
                line[n] = (" ", style)

    def text(self, row: int) -> str:
        """A line as plain text."""
        return "".join(char for char, _ in self.lines[row])


def changes(before: Canvas | None, after: Canvas, colour: bool = True) -> str:
    """What to send to a terminal that shows `before` to make it show `after`; "" if they are the same.

    before: None for a terminal with unknown contents, which is then cleared; otherwise a canvas of the same size. The
    style is plain before and afterwards.
    """
    pen = _Pen(colour)
    if before is None:
        pen.out.append("\x1b[0m\x1b[2J")
    old_lines = before.lines if before is not None else Canvas(after.columns, after.rows).lines
    for row, (old, new) in enumerate(zip(old_lines, after.lines, strict=True)):
        if old == new:
            continue
        end = _plain_from(new)
        for first, last in _runs(old, new):
            pen.move(row, first)
            if last > end:
                pen.write(new[first:end])
                pen.style_to(0)
                pen.out.append("\x1b[K")
                break
            pen.write(new[first:last])
    pen.style_to(0)
    return "".join(pen.out)


def _plain_from(line: list[Cell]) -> int:
    """The column from which the line is blank, as after erasing."""
    end = len(line)
    while end and line[end - 1] == BLANK:
        end -= 1
    # Erasing pays from two cells on. At the last column it would erase the character just written there.
    return end if end < len(line) - 1 else len(line) + 1


def _runs(old: list[Cell], new: list[Cell]) -> Iterator[tuple[int, int]]:
    """Spans of columns to write: those that differ, joined across short gaps; never half a character."""
    differing = [n for n, (a, b) in enumerate(zip(old, new, strict=True)) if a != b]
    first = last = -1
    for n in differing:
        start = n - 1 if not new[n][0] else n
        stop = n + 2 if n + 1 < len(new) and not new[n + 1][0] else n + 1
        if first >= 0 and start - last <= GAP:
            last = max(last, stop)
            continue
        if first >= 0:
            yield first, last
        first, last = start, stop
    if first >= 0:
        yield first, last


class _Pen:
    """Bytes for a terminal whose style is known."""

    def __init__(self, colour: bool) -> None:
        self.out: list[str] = []
        self._mask = ~0 if colour else ~ANY_COLOUR
        self._style = 0

    def move(self, row: int, column: int) -> None:
        self.out.append(f"\x1b[{row + 1};{column + 1}H" if column else f"\x1b[{row + 1}H")

    def write(self, line: list[Cell]) -> None:
        for char, style in line:
            if char == FULL:
                char, style = " ", style ^ REVERSE
            if style != self._style:
                self.style_to(style)
            self.out.append(char)

    def style_to(self, style: int) -> None:
        """Set this style. NO_COLOR asks for no colour; bold and reverse stay."""
        style &= self._mask
        new, gone = style & ~self._style, self._style & ~style
        self._style = style
        if gone and not style:
            self.out.append("\x1b[m")
            return
        # A new colour takes the old one's place: 39, which ends a colour, would end the new one.
        codes = [code for flag, (code, _) in CODES.items() if new & flag]
        codes += [
            code for flag, (_, code) in CODES.items() if gone & flag and not (flag in COLOURS and new & ANY_COLOUR)
        ]
        if codes:
            self.out.append(f"\x1b[{';'.join(codes)}m")
