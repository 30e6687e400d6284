"""The board's end in character cells, as the operator sees it: end down, the stop on the correct side.

Wood, sockets cut, cuts to come and the kerf being cut each have their own character.
"""

from __future__ import annotations

import bisect
from dataclasses import dataclass

from assistant.joinery.model import Pattern, StopSide
from assistant.screens.view_cells import BOLD, MAGENTA, REVERSE, Canvas
from assistant.screens.view_regions import Pane

WOOD, COMING, GONE, NOW, BLADE = "█", "░", " ", "▼", "▲"
LEGEND = f"full: wood   dotted: to come   blank: cut   {NOW}: now"
SHORT_LEGEND = "dotted: to come   blank: cut"
LEAST_ROWS = 2
LEAST_COLUMNS = 20
LEAST_A_SEGMENT = 2  # columns; if a board has too many segments, the part around the current pass is shown
COLUMNS_A_SEGMENT = 3  # on average, in such a part
STOP = "STOP"
STOP_COLUMNS = 4


@dataclass(frozen=True, slots=True)
class Window:
    """The part of the board shown: mm from the reference edge."""

    start: float
    end: float


class BoardPicture:
    """One pattern, with its figures turned into floats once, so that drawing only looks them up."""

    def __init__(self, pattern: Pattern, stop_side: StopSide) -> None:
        self._mirrored = stop_side == StopSide.RIGHT
        self._width = float(pattern.width)
        self._starts = [float(segment.start) for segment in pattern.segments]
        self._is_finger = [segment.is_finger for segment in pattern.segments]
        self._passes = pattern.passes
        self._kerfs = [(float(one.kerf_from), float(one.kerf_to)) for one in pattern.passes]
        by_start = sorted(range(len(self._kerfs)), key=lambda n: self._kerfs[n])
        self._by_start = [(self._kerfs[n][0], n) for n in by_start]
        # Cut in an earlier clamping of this end.
        self._gone = [(float(one.kerf_from), float(one.kerf_to)) for one in pattern.before]
        self._widest = max((b - a for a, b in self._kerfs), default=0.0)

    def draw(self, canvas: Canvas | Pane, top: int, rows: int, cut: int, pass_: int) -> None:
        """Draws into `rows` lines from `top`; the last line has the blade's mark and the legend.

        cut: bit p - 1 for each pass already cut. pass_: the pass called, 0 for none. Draws nothing with fewer than
        `LEAST_ROWS` + 1 lines or too few columns.
        """
        columns = canvas.columns - 2 * (STOP_COLUMNS + 1)
        if rows <= LEAST_ROWS or columns < LEAST_COLUMNS:
            return
        high = rows - 1
        window = self.window(columns, cut, pass_)
        row = self.row(columns, window, cut, pass_)
        wood = max(1, high // 3)
        left = STOP_COLUMNS + 1
        now = row.find(NOW)
        for n in range(high):
            canvas.put(top + n, left, WOOD * columns if n < wood else row)
            if n >= wood and now >= 0:
                canvas.put(top + n, left + now, NOW * row.count(NOW), BOLD | MAGENTA)
        self._beside(canvas, top, high, window)
        self._below(canvas, top + high, left, row, pass_)

    def window(self, columns: int, cut: int, pass_: int) -> Window:
        """The whole board or, if its sockets would be too narrow, the part around the pass called or next."""
        segments = len(self._starts)
        if segments * LEAST_A_SEGMENT <= columns:
            return Window(0.0, self._width)
        shown = self._width * columns / (segments * COLUMNS_A_SEGMENT)
        # Around the pass called, else the first not cut (the lowest bit not set), else the last.
        uncut = ~cut & ((1 << len(self._passes)) - 1)
        first_uncut = (uncut & -uncut).bit_length() - 1 if uncut else len(self._passes) - 1
        middle = sum(self._kerfs[pass_ - 1 if pass_ else first_uncut]) / 2
        start = min(max(middle - shown / 2, 0.0), self._width - shown)
        return Window(start, start + shown)

    def row(self, columns: int, window: Window, cut: int, pass_: int) -> str:
        """A line through the sockets, one character for each column from left to right."""
        step = (window.end - window.start) / columns
        found = [self._character_at(window.start + (n + 0.5) * step, cut) for n in range(columns)]
        if pass_:
            # At least one column, inside the board, however narrow the kerf or however far past the edge.
            kerf_from, kerf_to = self._kerfs[pass_ - 1]
            first = round((max(kerf_from, 0.0) - window.start) / step)
            last = round((min(kerf_to, self._width) - window.start) / step)
            first = min(max(first, 0), columns - 1)
            last = min(max(last, first + 1), columns)
            found[first:last] = [NOW] * (last - first)
        return "".join(reversed(found) if self._mirrored else found)

    def _character_at(self, x: float, cut: int) -> str:
        """What is `x` mm from the reference edge."""
        if self._is_finger[max(bisect.bisect_right(self._starts, x) - 1, 0)]:
            return WOOD
        # Back from the last kerf that begins before x. A kerf that begins more than the widest kerf away can't reach x.
        n = bisect.bisect_right(self._by_start, (x, len(self._kerfs))) - 1
        while n >= 0 and self._by_start[n][0] >= x - self._widest:
            index = self._by_start[n][1]
            if cut >> index & 1 and x <= self._kerfs[index][1]:
                return GONE
            n -= 1
        return GONE if any(left < x <= right for left, right in self._gone) else COMING

    def _beside(self, canvas: Canvas | Pane, top: int, high: int, window: Window) -> None:
        """The stop at the reference edge, and marks on each side for what is not shown."""
        right = canvas.columns - STOP_COLUMNS
        stop_at, other = (right, 0) if self._mirrored else (0, right)
        whole = window.start <= 0
        for n in range(high):
            letter = f" {STOP[n] if n < len(STOP) else ' '} "
            if high < len(STOP):
                letter = STOP if n == 0 else ""
            letters = f"{letter:>{STOP_COLUMNS}}" if self._mirrored else f"{letter:{STOP_COLUMNS}}"
            if whole:
                canvas.put(top + n, stop_at, letters, REVERSE)
            else:
                canvas.put(top + n, stop_at, " ◄ " if stop_at == 0 else " ► ")
            if window.end < self._width:
                canvas.put(top + n, other, " ◄ " if other == 0 else " ► ")

    def _below(self, canvas: Canvas | Pane, line: int, left: int, row: str, pass_: int) -> None:
        """The blade's mark with its pass, and the legend on the side that has room for it."""
        at = row.find(NOW)
        legend = LEGEND if left + len(LEGEND) <= canvas.columns else SHORT_LEGEND
        if at < 0:
            canvas.put(line, left, legend)
            return
        count = row.count(NOW)
        canvas.put(line, left + at, BLADE * count, BOLD | MAGENTA)
        after = left + at + count + 1
        label = f"pass {pass_}"
        if after + len(label) > canvas.columns:
            after = left + at - len(label) - 1
        canvas.put(line, after, label, BOLD)
        legend_at = canvas.columns - left - len(legend)
        if after + len(label) + 2 <= legend_at:
            canvas.put(line, legend_at, legend)
        elif left + len(legend) + 2 <= min(left + at, after):
            canvas.put(line, left, legend)
