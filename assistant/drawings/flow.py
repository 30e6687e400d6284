"""Lays out pictures and rows on pages, one after another, and draws the frame that every page has."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from assistant.drawings.letters import shortened, width_of, wrapped
from assistant.drawings.picture import BIG, CAP, MIDDLE, Item, Line, Page, Picture, Text

MARGIN = 12.0
HEAD, FOOT = 15.0, 15.0
"""Room within the margins for the job's title and for the two lines of the caution, mm."""
COLUMN_GAP, ROW_GAP = 8.0, 6.0
CAUTION = (
    "Kerfcall never stops the blade. The saw's manual, local regulations and safe working practice come first. "
    "Saw off before you reach in."
)
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height of an upright sheet, mm. Sources: ISO 216; ANSI/ASME Y14.1, size A."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A blank page."""

    width: float
    height: float

    @classmethod
    def of(cls, paper: str, *, landscape: bool = False) -> Sheet:
        """paper: "a4" or "letter"."""
        width, height = PAPERS[paper]
        return cls(height, width) if landscape else cls(width, height)

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.width - 2 * MARGIN

    @property
    def room(self) -> float:
        """Height between head and foot."""
        return self.height - 2 * MARGIN - HEAD - FOOT


class Flow:
    """Fills pages from the top. Only grids are split: they continue in the next column or on the next page."""

    def __init__(self, name: str, sheet: Sheet, *, scaled: bool = False):
        self.name, self.sheet, self.scaled = name, sheet, scaled
        self._pages: list[list[Item]] = []
        self._left = 0.0

    @property
    def has_pages(self) -> bool:
        return bool(self._pages)

    @property
    def left(self) -> float:
        """The height left on this page."""
        return self._left

    def new_page(self) -> None:
        self._pages.append([])
        self._left = self.sheet.room

    def need(self, height: float) -> None:
        """Begin a new page unless this one has this much room left. Keeps together what belongs together."""
        # A page with nothing on it yet is no worse than a new one, even for what no page can hold.
        if not self._pages or (self._left < height and self._left < self.sheet.room):
            self.new_page()

    def add(self, picture: Picture, gap: float = 3.0) -> None:
        """Place a picture below what is already there, or on the next page if it doesn't fit."""
        self.need(picture.height)
        self._place(picture, 0.0, picture.height)
        self._left -= picture.height + gap

    def _place(self, picture: Picture, x: float, drop: float) -> None:
        y = MARGIN + FOOT + self._left - drop
        self._pages[-1] += picture.at(MARGIN + x, y)

    def paragraph(self, text: str, *, cap: float = CAP, bold: bool = False, gap: float = 2.0) -> None:
        lines = wrapped(text, cap, self.sheet.inner, bold)
        for n, line in enumerate(lines):
            self.add(text_row(line, cap, bold), gap if n == len(lines) - 1 else 0.0)

    def beside(self, pictures: Sequence[Picture]) -> None:
        """Place the pictures in one row, spread over the page's width. They must fit into it."""
        self.need(max(each.height for each in pictures))
        free = (self.sheet.inner - sum(each.width for each in pictures)) / len(pictures)
        # Half of each picture's share of the free width goes on either side of it.
        x = free / 2
        high = max(each.height for each in pictures)
        for each in pictures:
            self._place(each, x, high)
            x += each.width + free
        self._left -= high + ROW_GAP

    def grid(self, rows: Sequence[Picture], head: Picture | None = None, gap: float = 3.0) -> None:
        """Place rows of equal size in as many columns as fit, read down each column. head: repeated over each."""
        if not rows:
            return
        wide, high = max(row.width for row in rows), max(row.height for row in rows)
        # One gap more on both sides of the division, since the last column has none.
        columns = max(1, int((self.sheet.inner + COLUMN_GAP) // (wide + COLUMN_GAP)))
        over = head.height if head else 0.0
        done = 0
        while done < len(rows):
            evenly = -(-(len(rows) - done) // columns)
            # A grid never begins at the foot of a page with only a row or two.
            self.need(over + min(5, evenly) * high)
            deep = min(evenly, max(1, int((self._left - over) // high)))
            for column in range(columns):
                block = rows[done : done + deep]
                done += len(block)
                x = column * (wide + COLUMN_GAP)
                if head and block:
                    self._place(head, x, over)
                for n, row in enumerate(block, start=1):
                    self._place(row, x, over + n * high)
            self._left -= over + deep * high + gap

    @property
    def pages(self) -> list[Page]:
        sheet = self.sheet
        return [Page(self.name, sheet.width, sheet.height, tuple(items), self.scaled) for items in self._pages]


def text_row(text: str, cap: float = CAP, bold: bool = False) -> Picture:
    """One line of text."""
    item = Text((0, 0.42 * cap), text, cap, bold=bold)
    return Picture((item,), item.width, 1.86 * cap)


def cells(texts: Sequence[str], widths: Sequence[float], *, right: Sequence[int] = (), bold: bool = False) -> Picture:
    """A table's row. widths: of the columns, mm. right: the columns that are aligned right."""
    items: list[Item] = []
    x = 0.0
    for n, (text, width) in enumerate(zip(texts, widths, strict=True)):
        at = x + width if n in right else x
        if text:
            items.append(Text((at, 0.42 * CAP), text, CAP, "end" if n in right else "start", bold=bold))
        x += width + 3
    return Picture(tuple(items), x - 3, 1.86 * CAP)


def column_widths(rows: Iterable[Sequence[str]]) -> list[float]:
    """How wide each column must be if its text is bold, mm."""
    return [max(width_of(text, CAP, True) for text in column) for column in zip(*rows, strict=True)]


def framed(pages: Sequence[Page], title: str) -> tuple[Page, ...]:
    """Add the job's title, the page's name and number, and the caution to every page."""
    made = []
    for number, page in enumerate(pages, start=1):
        top, right = page.height - MARGIN, page.width - MARGIN
        room = page.width - 2 * MARGIN
        items: list[Item] = [
            Text((MARGIN, top - BIG - 1), shortened(title, BIG, room, True), BIG, bold=True),
            Text((right, top - 11), f"{page.name}, page {number} of {len(pages)}", CAP, "end"),
            Line((MARGIN, top - 13), (right, top - 13), MIDDLE),
            Line((MARGIN, MARGIN + FOOT - 3), (right, MARGIN + FOOT - 3), MIDDLE),
        ]
        for n, line in enumerate(wrapped(CAUTION, CAP, room, True)):
            items.append(Text((MARGIN, MARGIN + FOOT - 7.5 - 5 * n), line, CAP, bold=True))
        made.append(replace(page, items=(*page.items, *items)))
    return tuple(made)
