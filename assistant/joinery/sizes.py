"""Works out board lengths from a box's size, and lists the boards to prepare. Lengths: Fraction, mm."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Protocol

from assistant.errors import BadInput, Fault
from assistant.joinery.lined import BLANK_LENGTH_MM, Lining
from assistant.joinery.units import LONGEST_MM, Unit, at_least, plain_length


class Board(Protocol):
    """A plan's board entry: `count` equal boards, jointed on `ends` (1 or 2)."""

    @property
    def name(self) -> str: ...
    @property
    def part(self) -> str: ...
    @property
    def count(self) -> int: ...
    @property
    def ends(self) -> int: ...


class SizeOf(StrEnum):
    """Which box the figures are of."""

    OUTSIDE = "outside"
    INSIDE = "inside"


class RowKind(StrEnum):
    """What a row of the cut list is about."""

    BOARD = "board"
    BLANK = "blank"
    """Lining wood, of the row's length at least."""


@dataclass(frozen=True, slots=True)
class ListRow:
    """Pieces to prepare. length: None if not known."""

    kind: RowKind
    name: str
    part: str
    count: int
    length: Fraction | None
    width: Fraction
    thickness: Fraction


def board_lengths(
    kind: SizeOf,
    size: Sequence[Fraction],
    stock_width: Fraction,
    thickness: Mapping[str, Fraction],
    sand_allowance: Fraction,
    *,
    unit: Unit = Unit.MM,
) -> dict[str, Fraction]:
    """Length of part A (along the first figure) and B (along the second), jointed on both ends.

    size: length, width, height; the height is the stock's width.
    thickness: by part, "A" and "B". Fingers stand proud by sand_allowance at each end, so a board's
    length is the outside size + twice that. Outside = inside + twice the mate's thickness.
    unit: for messages only.

    Raises: BadInput, all faults at once.
    """
    where = f"size.{kind}"
    if kind not in tuple(SizeOf) or len(size) != 3:
        mend = "write outside = [length, width, height] or inside = [...]"
        raise BadInput([Fault("a size needs three figures, outside or inside", f"{len(size)} figures", where, mend)])
    mates = {"A": thickness["B"], "B": thickness["A"]}
    faults = []
    height = size[2]
    if height != stock_width:
        than = "more" if height > stock_width else "less"
        stock = plain_length(stock_width, unit)
        apart = f"{plain_length(abs(height - stock_width), unit)} {than} than the stock's width of {stock}"
        mend = f"make the height {stock}, or stock.width {plain_length(height, unit)}"
        faults.append(Fault(f"the box's height is {apart}", plain_length(height, unit), where, mend))
    lengths = {}
    for part, figure in zip("AB", size[:2], strict=True):
        outside = figure + 2 * mates[part] if kind == SizeOf.INSIDE else figure
        lengths[part] = outside + 2 * sand_allowance
        inside = outside - 2 * mates[part]
        if inside <= 0:
            what = f"no space is left inside, between the boards that part {part} joins"
            mend = f"make it over {at_least(figure - inside, unit)}"
            faults.append(Fault(what, plain_length(figure, unit), where, mend))
        elif lengths[part] > LONGEST_MM:
            what = f"part {part} would be longer than {plain_length(LONGEST_MM, unit)}"
            faults.append(Fault(what, plain_length(lengths[part], unit), where, "check the unit and the decimal point"))
    if faults:
        raise BadInput(faults)
    return lengths


def board_list(
    boards: Iterable[Board],
    stock_width: Fraction,
    thickness: Mapping[str, Fraction],
    lengths: Mapping[str, Fraction] | None = None,
    lining: Lining | None = None,
) -> tuple[ListRow, ...]:
    """The boards in the plan's order, then one blank for each lined board end.

    A blank is as wide and as thick as its board, has the grain lengthwise and is at least 200 mm long, for clamping.
    lengths: by part, or None if the plan gives no size.
    """
    known = lengths or {}
    rows: list[ListRow] = []
    blanks: list[ListRow] = []
    for one in boards:
        thick = thickness[one.part]
        rows.append(ListRow(RowKind.BOARD, one.name, one.part, one.count, known.get(one.part), stock_width, thick))
        if lining is not None and one.part in lining.parts:
            count = one.count * one.ends
            blanks.append(ListRow(RowKind.BLANK, one.name, one.part, count, BLANK_LENGTH_MM, stock_width, thick))
    return (*rows, *blanks)
