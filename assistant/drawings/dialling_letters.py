"""One move of a handwheel in the letters of a terminal: its dial unrolled, with the marks rising to the right."""

from __future__ import annotations

from assistant.drawings.dialling import Dial
from assistant.drawings.dialling_picture import numbers
from assistant.drawings.holding_letters import in_ascii
from assistant.joinery.settings import mark_text

LEAST_COLUMNS, ROWS = 24, 4
STANDS = "○"


def in_letters(dial: Dial, columns: int, ascii_only: bool = False) -> list[str]:
    """Four lines of `columns` characters: the way, the numbers, the dial with both marks, the mark to end at.

    Blank lines under 24 columns.
    """
    if columns < LEAST_COLUMNS:
        return [" " * columns] * ROWS
    way = "STAY" if dial.stays else "UP ►" if dial.up else "◄ DOWN"
    before = " ".join(filter(None, (str(dial.step) if dial.step else "", way)))
    whole = " + ".join(filter(None, dial.amount))
    # A figure is never cut short.
    shorter = whole.removesuffix("s").removesuffix(" mark")
    amount = next((each for each in (whole, shorter) if len(before) + 1 + len(each) <= columns), dial.in_short)
    lines = [f"{before} {amount}"]
    scale, edges = list("─" * columns), [" "] * columns
    for mark in numbers(dial.divisions):
        at, name = _column(dial, mark, columns), str(mark)
        scale[at] = "┴"
        if at + len(name) < columns and all(letter == " " for letter in edges[max(at - 1, 0) : at + len(name) + 1]):
            edges[at : at + len(name)] = name
    start, end = (_column(dial, float(mark), columns) for mark in (dial.start, dial.end))
    scale[start] = STANDS
    scale[end] = "▲"
    name = mark_text(dial.end)
    at = min(max(end - len(name) // 2, 0), columns - len(name))
    lines += ["".join(edges), "".join(scale), " " * at + name]
    made = [f"{line[:columns]:<{columns}}" for line in lines]
    return in_ascii(made) if ascii_only else made


def _column(dial: Dial, mark: float, columns: int) -> int:
    return min(int(mark / dial.divisions * columns), columns - 1)
