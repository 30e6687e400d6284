"""Where each part of the page is. It depends on the terminal's size alone, so nothing moves when the state changes.

From the top: the head, what is lost, the thing to do, the board, progress, the log, the inputs, and the keys.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from assistant.screens.view_cells import Canvas, fitting, width

LEAST_COLUMNS, LEAST_LINES = 80, 24  # a new terminal window's usual size (common practice, no source)
ORDER = ("head", "faults", "do", "board", "progress", "log", "inputs", "keys")
SHARES = (
    ("do", 12),
    ("board", 4),
    ("log", 2),
    ("do", 16),
    ("board", 6),
    ("log", 3),
    ("board", 8),
    ("do", 20),
    ("log", 5),
    ("board", 12),
    ("do", 28),
    ("log", 7),
    ("board", 18),
    ("do", 40),
    ("log", 1000),
)
"""(region, lines): given out in this order while any are left.

12 lines hold three lines of the smallest letters, 16 two of the next size, 28 all but the largest.
"""
BLOCK_COLUMNS, BLOCK_LINES = 160, 48  # from this size on, head and keys are in block letters too


@dataclass(frozen=True, slots=True)
class PageRegion:
    """Lines of the page, from 0."""

    top: int
    rows: int


@lru_cache(maxsize=16)
def regions_of(columns: int, rows: int) -> dict[str, PageRegion]:
    """Name -> region, for every name in `ORDER`; {} for a terminal that is too small for all of them."""
    if columns < LEAST_COLUMNS or rows < LEAST_LINES:
        return {}
    blocks = columns >= BLOCK_COLUMNS and rows >= BLOCK_LINES
    share = {"head": 4 if blocks else 1, "faults": 2, "progress": 1, "inputs": 1, "keys": 5 if blocks else 1}
    left = rows - sum(share.values())
    for name, wanted in SHARES:
        more = min(max(0, wanted - share.get(name, 0)), left)
        share[name] = share.get(name, 0) + more
        left -= more
    tops = [0]
    for name in ORDER:
        tops.append(tops[-1] + share[name])
    return {name: PageRegion(top, end - top) for name, (top, end) in zip(ORDER, pairwise(tops), strict=True)}


@dataclass(frozen=True, slots=True)
class Pane:
    """A part of a canvas: rows and columns count from its own corner, and nothing is drawn outside it."""

    canvas: Canvas
    top: int
    rows: int
    columns: int
    left: int = 0

    @classmethod
    def of(cls, canvas: Canvas, region: PageRegion) -> Pane:
        return cls(canvas, region.top, region.rows, canvas.columns)

    def part(self, top: int, rows: int, left: int = 0, columns: int | None = None) -> Pane:
        """A pane within this one. columns: None for all to the right of `left`."""
        most = self.columns - left
        wide = most if columns is None else min(columns, most)
        return Pane(self.canvas, self.top + top, max(0, min(rows, self.rows - top)), wide, self.left + left)

    def put(self, row: int, column: int, text: str, style: int = 0) -> int:
        """As `Canvas.put`."""
        end = column + width(text)
        if 0 <= row < self.rows and 0 <= column < self.columns:
            shown = text if end <= self.columns else fitting(text, self.columns - column)
            self.canvas.put(self.top + row, self.left + column, shown, style)
        return end
