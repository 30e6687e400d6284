"""Lays out slots for dividers, dadoes and cross-halved grids: only the slotted part is cut, not the piece that goes in.

Because the mating piece keeps its size, each slot wall moves c/2 (not c/4), so that every glue
gap is c/2 as in the other layouts. A slot is as wide as the piece's thickness plus the clearance.
Lengths: Fraction, mm; x = 0 at the reference edge.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from assistant.errors import BadInput, Fault
from assistant.joinery.model import Segment
from assistant.joinery.units import Unit, at_least, at_most, plain_length

MOST_SLOTS = 499  # together with the wood between them, just under a board's 1,000 segments


@dataclass(frozen=True, slots=True)
class Slot:
    """One slot. at: the wall nearer the reference edge. width: thickness of the piece for it. depth: of the cut."""

    at: Fraction
    width: Fraction
    depth: Fraction

    @property
    def end(self) -> Fraction:
        return self.at + self.width


@dataclass(frozen=True, slots=True)
class AtDepth:
    """The slots of one depth, ascending along x, and the board's segments with their clearance."""

    depth: Fraction
    slots: tuple[Slot, ...]
    segments: tuple[Segment, ...]


def lay_out(
    slots: Sequence[Slot], width: Fraction, clearance: Fraction, kerf: Fraction, *, unit: Unit = Unit.MM
) -> tuple[AtDepth, ...]:
    """One layout for each depth, ascending. Each depth is cut in separate setups.

    slots: in any order. width: the board's, mm. clearance: slot minus piece, >= 0. kerf: over 0.
    unit: for messages only. Faults name `slots[n]`, n from 1 as given.

    Raises: BadInput, all faults at once: no slots or over 499, a width or depth of 0 or less, slots
    narrower than the kerf, past an edge or overlapping, no wood left between, at an edge or at all.
    """
    if not 1 <= len(slots) <= MOST_SLOTS:
        what = f"a board must have 1 to {MOST_SLOTS} slots"
        raise BadInput([Fault(what, f"{len(slots):,}", "slots", "change the number of slots")])
    faults: list[Fault] = []
    for number, one in enumerate(slots, 1):
        faults += _own_faults(number, one, width, clearance, kerf, unit)
    ordered = sorted(enumerate(slots, 1), key=lambda pair: pair[1].at)
    # The slot that reaches furthest is the neighbour, since a wide slot may cover several.
    furthest = ordered[0]
    for pair in ordered[1:]:
        faults += _between_faults(furthest, pair, clearance, unit)
        furthest = max(furthest, pair, key=lambda each: each[1].end)
    if faults:
        raise BadInput(faults)
    return tuple(AtDepth(deep, group, segments(group, width, clearance)) for deep, group in by_depth(slots))


def by_depth(slots: Iterable[Slot]) -> tuple[tuple[Fraction, tuple[Slot, ...]], ...]:
    """(depth, its slots along x), ascending by depth."""
    groups: dict[Fraction, list[Slot]] = {}
    for one in sorted(slots, key=lambda slot: (slot.depth, slot.at)):
        groups.setdefault(one.depth, []).append(one)
    return tuple((depth, tuple(group)) for depth, group in groups.items())


def segments(slots: Iterable[Slot], width: Fraction, clearance: Fraction) -> tuple[Segment, ...]:
    """The board with these slots cut, clearance included, for slots that `lay_out` accepts.

    Each wall moves c/2 into the wood, except a slot's side on the board's edge.
    """
    found: list[Segment] = []
    x = Fraction(0)
    for one in sorted(slots, key=lambda slot: slot.at):
        start = one.at if one.at == 0 else one.at - clearance / 2
        end = one.end if one.end == width else one.end + clearance / 2
        if start > x:
            found.append(Segment(x, start, True))
        found.append(Segment(start, end, False))
        x = end
    if x < width:
        found.append(Segment(x, width, True))
    return tuple(found)


def evenly(
    width: Fraction, count: int, slot_width: Fraction, depth: Fraction, *, unit: Unit = Unit.MM
) -> tuple[Slot, ...]:
    """`count` slots with equal clear spaces between them and to both edges of the board, exact.

    Raises: BadInput if the count is not 1 to 499, or no space is left.
    """
    if not 1 <= count <= MOST_SLOTS:
        what = f"a board must have 1 to {MOST_SLOTS} slots"
        raise BadInput([Fault(what, f"{count:,}", "slots", "change the number of slots")])
    space = (width - count * slot_width) / (count + 1)
    if space <= 0 or slot_width <= 0:
        what = f"{count} slots leave no space on a board of {plain_length(width, unit)}"
        mend = f"use fewer slots, or make each over 0 and under {at_most(width / count, unit)} wide"
        raise BadInput([Fault(what, f"{plain_length(slot_width, unit)} wide", "slots", mend)])
    return tuple(Slot(space + n * (space + slot_width), slot_width, depth) for n in range(count))


def _own_faults(
    number: int, one: Slot, width: Fraction, clearance: Fraction, kerf: Fraction, unit: Unit
) -> list[Fault]:
    where = f"slots[{number}]"
    faults = []
    if one.depth <= 0:
        deep = plain_length(one.depth, unit)
        faults.append(Fault("a slot's depth must be over 0", deep, f"{where}.depth", "give its real depth"))
    if one.width <= 0:
        shown = plain_length(one.width, unit)
        mend = "give the thickness of what goes in"
        return [*faults, Fault("a slot's width must be over 0", shown, f"{where}.width", mend)]
    if one.at < 0 or one.end > width:
        span = f"from {plain_length(one.at, unit)} to {plain_length(one.end, unit)}"
        what = f"the slot runs past the edge of a board {plain_length(width, unit)} wide"
        if one.width >= width:
            mend = f"make it under {at_most(width, unit)} wide"
        else:
            mend = f"put it at 0 to {at_most(width - one.width, unit)}"
        faults.append(Fault(what, span, f"{where}.at", mend))
    elif one.width == width:
        what = "the slot leaves no wood beside it on the board"
        whole = plain_length(width, unit)
        faults.append(Fault(what, f"{whole} wide", f"{where}.width", f"make it under {at_most(width, unit)} wide"))
    elif one.at > 0 and one.end < width and one.width + clearance < kerf:
        # At an edge the blade may overhang, so only a slot with wood on both sides can be too narrow for it.
        wide = one.width + clearance
        what = f"the slot would be narrower than the kerf of {plain_length(kerf, unit)}"
        mend = (
            f"a blade with a kerf of {at_most(wide, unit)} or less would fit, "
            f"or widen the slot by {at_least(kerf - wide, unit)} or more"
        )
        faults.append(Fault(what, f"{plain_length(wide, unit)} wide with its clearance", f"{where}.width", mend))
    return faults + _edge_wood_faults(where, one, width, clearance, unit)


def _edge_wood_faults(where: str, one: Slot, width: Fraction, clearance: Fraction, unit: Unit) -> list[Fault]:
    faults = []
    sides: list[tuple[Fraction, str, Fraction]] = [
        (one.at, "the reference edge", Fraction(0)),
        (width - one.end, "the far edge", width - one.width),
    ]
    for left, edge, put in sides:
        # A slot right at the edge leaves no wood there, and its side on the edge doesn't move.
        if 0 < left <= clearance / 2:
            what = f"the clearance leaves no wood between the slot and {edge}"
            mend = f"put it at {plain_length(put, unit)}, or leave over {at_least(clearance / 2, unit)}"
            faults.append(Fault(what, plain_length(left, unit), f"{where}.at", mend))
    return faults


def _between_faults(before: tuple[int, Slot], after: tuple[int, Slot], clearance: Fraction, unit: Unit) -> list[Fault]:
    (first, left), (number, right) = before, after
    between = right.at - left.end
    # Both walls move c/2 into the wood between the slots, so the clearance itself leaves nothing there.
    if between > clearance:
        return []
    least = left.end + clearance
    mend = f"put slot {number} more than {at_least(least, unit)} from the reference edge, or make one slot of both"
    what = f"the slot overlaps slot {first}" if between < 0 else f"no wood is left between this slot and slot {first}"
    return [Fault(what, plain_length(right.at, unit), f"slots[{number}].at", mend)]
