"""Places what is read from two metres: lines of block letters of one size, and what stands smaller beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from assistant.screens import view_letters as letters
from assistant.screens.view_cells import BOLD
from assistant.screens.view_heading import Heading
from assistant.screens.view_regions import Pane

LEAST_BIG = 4  # lines: the smallest letters
APART = 2  # columns between the letters and what stands beside them
THEN_FROM = 4  # the scale from which what comes next is in block letters too: beside smaller ones it would look alike


@dataclass(frozen=True, slots=True)
class Blocks:
    """Lines of block letters at one scale. right: lines beside them at the right edge, at half their scale.

    above: a line over them, also at half their scale.
    """

    lines: tuple[str, ...]
    scale: int
    right: tuple[str, ...] = ()
    above: str = ""

    @property
    def rows(self) -> int:
        return rows_of(len(self.lines), self.scale) + self.rows_above

    @property
    def rows_above(self) -> int:
        """With half a line or more below it."""
        return letters.rows_of(self.right_scale) + (self.right_scale % 2 == 0) if self.above else 0

    @property
    def columns(self) -> int:
        return max(letters.columns_of(line, self.scale) for line in self.lines)

    @property
    def right_scale(self) -> int:
        return max(1, self.scale // 2)

    @property
    def columns_with_right(self) -> int:
        """The widest pair of a line and what stands beside it; where the right has fewer lines, it may be wider."""
        rights = [letters.columns_of(line, self.right_scale) for line in self.right]
        beside = self.lines[: 1 if len(self.right) == 1 else len(self.lines)]
        return max(letters.columns_of(line, self.scale) for line in beside) + APART + max(rights)


def rows_of(lines: int, scale: int) -> int:
    """Lines of the terminal for so many lines of letters, with at least half a line between them."""
    return lines * letters.rows_of(scale) + (lines - 1 if scale % 2 == 0 else 0)


def blocks_of(heading: Heading, columns: int, rows: int) -> Blocks | None:
    """The largest letters that fit; None if not even the smallest do.

    What stands at the right, in one line or two, is left out rather than make the letters much smaller.
    """
    if heading.above:
        return _with_line_above(heading, columns, rows)
    best: Blocks | None = None
    for lines in _arrangements(heading):
        scale = letters.largest_scale(lines, columns, rows)
        # What is shown whole is shorter only where it must be.
        if not scale or (best is not None and (scale <= best.scale or heading.whole)):
            continue
        best = Blocks(tuple(lines), scale)
        rights = [(heading.right,), tuple(heading.right.split(" ", 1))] if heading.right else []
        for least in (min(scale, 2), 1):
            found = [Blocks(best.lines, s, right) for s in range(scale, least - 1, -1) for right in rights]
            fitting = next((each for each in found if each.columns_with_right <= columns), None)
            if fitting is not None:
                best = fitting
                break
    return best


def _with_line_above(heading: Heading, columns: int, rows: int) -> Blocks | None:
    lines = tuple(heading.left)
    for scale in range(letters.largest_scale(lines, columns, rows), 0, -1):
        made = Blocks(lines, scale, above=heading.above)
        if made.rows <= rows and letters.columns_of(heading.above, made.right_scale) <= columns:
            return made
    return None


def least_rows(heading: Heading, columns: int) -> int:
    """The rows that the smallest letters take; 0 if they are too wide, or a letter is missing."""
    if heading.above:
        fits = letters.fits_across((*heading.left, heading.above), 1, columns)
        return Blocks(tuple(heading.left), 1, above=heading.above).rows if fits else 0
    made = [lines for lines in _arrangements(heading) if letters.fits_across(lines, 1, columns)]
    return min((rows_of(len(lines), 1) for lines in made), default=0)


def _arrangements(heading: Heading) -> list[list[str]]:
    """The lines as they are; a long name in two lines; one line alone. If whole: as they are, or split ranges."""
    if heading.whole:
        broken = "\n".join(heading.left).replace(" TO ", " TO\n").split("\n")
        found = [list(heading.left), *([list(heading.shorter)] if heading.shorter else []), broken]
    else:
        name, *figure = heading.left
        alone = heading.left[heading.alone]
        found = [[name, *figure], [*letters.in_two_lines(name), *figure], [alone], letters.in_two_lines(alone)]
        if figure:  # both lines, even if one alone could be larger
            # As wide as they like: this only asks whether there are letters for all of them.
            found = found[:2] if any(letters.fits_across(each, 1, 10_000) for each in found[:2]) else found
    return [lines for n, lines in enumerate(found) if lines not in found[:n]]


def has_room_beside(made: Blocks, text: str, columns: int) -> bool:
    """Whether this text, one line high, has room at the right of the letters."""
    widest = letters.columns_of(made.above, made.right_scale) if made.above else made.columns
    return not made.right and 1 + widest + APART + len(text) < columns


def draw_blocks(pane: Pane, made: Blocks, heading: Heading) -> bool:
    """The lines in the middle of the pane, the rest at their right. Returns whether what comes next is there."""
    if made.above:
        top = max(0, (pane.rows - made.rows) // 2)
        _letters(pane, top, 1, letters.big(made.above, made.right_scale))
        below = pane.part(top + made.rows_above, pane.rows - top - made.rows_above)
        draw_blocks(below, replace(made, above=""), replace(heading, then=""))
        # Beside the line above: small letters beside large ones, and never beside small ones that look alike.
        left = 1 + letters.columns_of(made.above, made.right_scale) + APART
        return _then(pane, heading.then, left, top, top + made.rows_above, made.right_scale)
    high = letters.rows_of(made.scale)
    gap = 1 if made.scale % 2 == 0 or made.rows + len(made.lines) - 1 <= pane.rows else 0
    top = max(0, (pane.rows - len(made.lines) * (high + gap) + gap) // 2)
    for n, line in enumerate(made.lines):
        _letters(pane, top + n * (high + gap), 1, letters.big(line, made.scale))
    if made.right:
        small = letters.rows_of(made.right_scale)
        # One line ends with the first of the others; two begin with it.
        first = top + high - small if len(made.right) == 1 else top
        for n, line in enumerate(made.right):
            left = pane.columns - 1 - letters.columns_of(line, made.right_scale)
            _letters(pane, first + n * small, left, letters.big(line, made.right_scale))
        return False
    bottom = top + (len(made.lines) - 1) * (high + gap) + high
    left = 1 + made.columns + APART
    return _then(pane, heading.then, left, top, _unit(pane, heading.unit, left, bottom, made.scale), made.scale)


def _unit(pane: Pane, unit: str, left: int, bottom: int, scale: int) -> int:
    """On the baseline of the last line. Returns the row where it begins, `bottom` if it has no room."""
    room, capitals = pane.columns - 1 - left, letters.plain_capitals(unit)
    if unit and letters.can_write(capitals):
        for small in range(max(1, scale // 2), 0, -1):
            if letters.columns_of(capitals, small) <= room:
                at = bottom - letters.rows_of(small)
                _letters(pane, at, left, letters.big(capitals, small))
                return at
    words = unit.replace(" + ", " +\n").split("\n")
    if unit and max(map(len, words)) <= room:
        for n, word in enumerate(words):
            pane.put(bottom - len(words) + n, left, word, BOLD)
        return bottom - len(words)
    return bottom


def _then(pane: Pane, then: str, left: int, top: int, bottom: int, scale: int) -> bool:
    """At the top: beside much larger letters in small blocks, in two lines; else in one line of text."""
    lines = letters.plain_capitals(then).split(" ", 1)
    room = pane.columns - 1 - left
    if then and scale >= THEN_FROM and letters.largest_scale(lines, room, bottom - 1 - top):
        for n, line in enumerate(lines):
            _letters(pane, top + n * letters.rows_of(1), left, letters.big(line, 1))
        return True
    if then and len(then) <= room and top < bottom:
        pane.put(top, left, then, BOLD)
        return True
    return False


def _letters(pane: Pane, row: int, column: int, drawn: Sequence[str], style: int = BOLD) -> None:
    for n, line in enumerate(drawn):
        pane.put(row + n, column, line, style)


def draw_line(pane: Pane, row: int, column: int, text: str, style: int) -> int:
    """One line of the smallest letters; in reverse where `style` says so. Returns the column after it."""
    drawn = letters.big(text, 1)
    _letters(pane, row, column, drawn, style)
    return column + len(drawn[0])
