"""Measures text, so that labels can be placed before anything is drawn.

Source: the Adobe font metrics of Helvetica and Helvetica-Bold, two of the 14 fonts that every PDF viewer
has (ISO 32000-1, 9.6.2.2). Widths are in thousandths of the font's size. Letters outside Latin-1 count as one
full size, so that the letters of a fallback font hardly have to be squeezed.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import chain

from assistant.wording.quantities import pieces

# fmt: off
_REGULAR = """
278 278 355 556 556 889 667 191 333 333 389 584 278 333 278 278 556 556 556 556 556 556 556 556 556 556 278 278 584 584
584 556 1015 667 667 722 722 667 611 778 722 278 500 667 556 833 722 778 667 778 722 667 611 722 667 944 667 667 611
278 278 278 469 556 333 556 556 500 556 556 278 556 556 222 222 500 222 833 556 556 556 556 333 500 278 556 500 722 500
500 500 334 260 334 584
278 333 556 556 556 556 260 556 333 737 370 556 584 333 737 333 400 584 333 333 333 556 537 278 333 333 365 556 834 834
834 611 667 667 667 667 667 667 1000 722 667 667 667 667 278 278 278 278 722 722 778 778 778 778 778 584 778 722 722
722 722 667 667 611 556 556 556 556 556 556 889 500 556 556 556 556 278 278 278 278 556 556 556 556 556 556 556 584 611
556 556 556 556 500 556 500
"""
_BOLD = """
278 333 474 556 556 889 722 238 333 333 389 584 278 333 278 278 556 556 556 556 556 556 556 556 556 556 333 333 584 584
584 611 975 722 722 722 722 667 611 778 722 278 556 722 611 833 722 778 667 778 722 667 611 722 667 944 667 667 611
333 278 333 584 556 333 556 611 556 611 556 333 611 611 278 278 556 278 889 611 611 611 611 389 556 333 611 556 778 556
556 500 389 280 389 584
278 333 556 556 556 556 280 556 333 737 370 556 584 333 737 333 400 584 333 333 333 611 556 278 333 333 365 556 834 834
834 611 722 722 722 722 722 722 1000 722 667 667 667 667 278 278 278 278 722 722 778 778 778 778 778 584 778 722 722
722 722 667 667 611 556 556 556 556 556 556 889 556 556 556 556 556 278 278 278 278 611 611 611 611 611 611 611 584 611
611 611 611 611 556 611 556
"""
# fmt: on
# Latin-1 without its control characters, in the order of the tables above.
_CODES = (*range(32, 127), *range(160, 256))
_WIDTHS = {
    False: dict(zip(map(chr, _CODES), map(int, _REGULAR.split()), strict=True)),
    True: dict(zip(map(chr, _CODES), map(int, _BOLD.split()), strict=True)),
}
_UNKNOWN = 1000
CAP_OF_SIZE = 0.718
"""Height of a capital or figure, as a share of the font's size."""


def size_of(cap: float) -> float:
    """The font's size, in the unit of `cap`, whose capitals are `cap` high."""
    return cap / CAP_OF_SIZE


@lru_cache(maxsize=20_000)
def width_of(text: str, cap: float, bold: bool = False) -> float:
    """How wide `text` is, in the unit of `cap`, the height of its capitals."""
    table = _WIDTHS[bold]
    return sum(table.get(letter, _UNKNOWN) for letter in text) * size_of(cap) / 1000


def is_known(letter: str) -> bool:
    """Whether the standard fonts of every PDF viewer have this letter."""
    return letter in _WIDTHS[False]


def shortened(text: str, cap: float, most: float, bold: bool = False) -> str:
    """`text`, or if it is wider than `most`, as much of it as fits with "..." at the end."""
    if width_of(text, cap, bold) <= most:
        return text
    for count in range(len(text) - 1, 0, -1):
        cut = text[:count].rstrip() + "..."
        if width_of(cut, cap, bold) <= most:
            return cut
    return ""


def wrapped(text: str, cap: float, most: float, bold: bool = False) -> list[str]:
    """`text` in lines at most `most` wide, never broken inside a quantity. A word that is wider is broken anywhere."""
    lines: list[str] = []
    line = ""
    # A quantity is only broken at its spaces if it doesn't fit into a line.
    words = ([piece] if width_of(piece, cap, bold) <= most else piece.split(" ") for piece in pieces(text))
    for word in chain.from_iterable(words):
        for part in _broken_anywhere(word, cap, most, bold):
            longer = f"{line} {part}" if line else part
            if line and width_of(longer, cap, bold) > most:
                lines.append(line)
                longer = part
            line = longer
    return [*lines, line] if line else lines


def _broken_anywhere(word: str, cap: float, most: float, bold: bool) -> list[str]:
    """The word in parts at most `most` wide, but of at least one letter."""
    parts = [""]
    for letter in word:
        if parts[-1] and width_of(parts[-1] + letter, cap, bold) > most:
            parts.append("")
        parts[-1] += letter
    return parts
