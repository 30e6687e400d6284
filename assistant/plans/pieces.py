"""Turns a plan into the pieces of the job: what is cut into each kind of board end, in which stage."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

from assistant.errors import BadInput, Fault
from assistant.joinery import layout, lined, slots, walls
from assistant.joinery.layout import Remainder
from assistant.joinery.model import Blade, Pattern, Segment
from assistant.joinery.pattern import depth_of
from assistant.joinery.units import plain_length
from assistant.plans.model import BoardPlan, CutOrder, Job, Layout, Plan

STAGES = {Layout.LINED: ("openings and blanks", "final sockets")}
ONE_STAGE = ("joint",)
BLANK = " blank"
SHARE_OUT = 'remainder = "stretch" or "both edges" in the plan would share it out'
# The kerf when only the plan is checked, without a blade: no slot is too narrow for it.
VANISHING_KERF = Fraction(1, 10**9)


@dataclass(frozen=True, slots=True)
class Piece:
    """What is cut into one kind of end in one stage.

    part: as it is called aloud, "A", "B" or "A blank". of: the plan's part whose boards it is for.
    segments: with their clearance. depth: mm.
    """

    stage: int
    part: str
    of: str
    segments: tuple[Segment, ...]
    depth: Fraction

    @property
    def is_blank(self) -> bool:
        return self.part != self.of


def stages(plan: Plan) -> tuple[str, ...]:
    """The stages' names in order."""
    return STAGES.get(plan.joint.layout, ONE_STAGE)


def depth(plan: Plan, part: str) -> Fraction:
    """How deep a part of the joint is cut, mm: its mate's thickness plus the sanding allowance."""
    return depth_of(plan.thickness["B" if part == "A" else "A"], plan.joint.sand_allowance)


def nominal(plan: Plan) -> dict[str, tuple[Segment, ...]]:
    """The parts of a joint before clearance; empty for slots."""
    joint = plan.joint
    if joint.slotted:
        return {}
    if joint.finger is not None:
        part_a = layout.even(plan.width, joint.finger, joint.starts_with, joint.remainder, unit=plan.unit)
    else:
        part_a = layout.listed(plan.width, joint.widths, joint.repeat, joint.mirror, joint.starts_with, unit=plan.unit)
    return {"A": part_a, "B": layout.mate(part_a)}


def leaves_over(plan: Plan) -> bool:
    """Whether part of a finger is left over at the far edge: nothing else in an even layout is thin (`slips`)."""
    joint = plan.joint
    return joint.finger is not None and joint.remainder == Remainder.FAR_EDGE and plan.width % joint.finger != 0


def pieces(plan: Plan, blade: Blade | None = None) -> tuple[Piece, ...]:
    """Every piece, in cutting order: stage, depth, part.

    blade: to check whether a lining leaves it room; None if only the plan is checked.
    Raises BadInput with all faults at once, which name keys only, not the file.
    """
    found = _slotted(plan, blade) if plan.joint.slotted else _jointed(plan, blade)
    # Depth before part, so that the blade is raised and lowered as seldom as can be.
    return tuple(sorted(found, key=lambda piece: (piece.stage, piece.depth, piece.part)))


def _slotted(plan: Plan, blade: Blade | None) -> list[Piece]:
    faults = []
    # A slot is cut into the board's thickness, or into its edge in a cross-halved grid: stock.height is then the limit.
    height = plan.slot_height if plan.slot_height is not None else plan.thickness["A"]
    for number, slot in enumerate(plan.slots, start=1):
        if slot.depth >= height:
            what = f"the slot goes through all of the {plain_length(height, plan.unit)} of wood there"
            mend = "cut it less deep, or give stock.height if it is cut from an edge"
            faults.append(Fault(what, f"{plain_length(slot.depth, plan.unit)} deep", f"slots[{number}].depth", mend))
    kerf = blade.kerf if blade is not None else VANISHING_KERF
    try:
        groups = slots.lay_out(plan.slots, plan.width, plan.joint.clearance, kerf, unit=plan.unit)
    except BadInput as error:
        raise BadInput([*error.faults, *faults]) from error
    if faults:
        raise BadInput(faults)
    return [Piece(1, "A", "A", group.segments, group.depth) for group in groups]


def _jointed(plan: Plan, blade: Blade | None) -> list[Piece]:
    faults: list[Fault] = []
    final: dict[str, tuple[Segment, ...]] = {}
    for part, segments in nominal(plan).items():
        try:
            final[part] = walls.open_walls(segments, plan.joint.clearance, unit=plan.unit)
        except BadInput as error:
            left_over = f"it is left over at the far edge: {SHARE_OUT}"
            faults += [replace(fault, mend=left_over) if leaves_over(plan) else fault for fault in error.faults]
    if faults:
        raise BadInput(tuple(dict.fromkeys(faults)))  # a fault that A and B share is reported once
    if plan.joint.layout != Layout.LINED:
        return [Piece(1, part, part, segments, depth(plan, part)) for part, segments in final.items()]
    return _lined(plan, final, blade)


def _lined(plan: Plan, final: dict[str, tuple[Segment, ...]], blade: Blade | None) -> list[Piece]:
    """Stage 1 opens the lined parts and cuts their blanks. Stage 2 cuts the final sockets of every part."""
    depths = {part: depth(plan, part) for part in final}
    found = [Piece(2, part, part, segments, depths[part]) for part, segments in final.items()]
    if plan.lining is None or blade is None:
        return found
    for of in lined.stages(final, depths, plan.lining, blade.kerf, unit=plan.unit):
        found.append(Piece(1, of.part, of.part, of.opened, of.opened_depth))
        found.append(Piece(1, of.part + BLANK, of.part, of.blank, of.blank_depth))
    return found


class BoardEnd(NamedTuple):
    """One board end, or a stack of them. piece: its place among the pieces. first: number of the first copy, from 1."""

    piece: int
    board: str
    end: int
    first: int
    copies: int


def board_ends(found: Sequence[Piece], boards: Sequence[BoardPlan], order: CutOrder) -> Iterator[BoardEnd]:
    """Everything that is clamped, in cutting order, with a blank for each lined end.

    found: the pieces in their own cutting order.
    """
    if order == CutOrder.BY_PART:
        for place, piece in enumerate(found):
            for board in boards:
                yield from _ends_of(place, piece, board)
        return
    for stage in sorted({piece.stage for piece in found}):
        here = [(place, piece) for place, piece in enumerate(found) if piece.stage == stage]
        for board in boards:
            of_board = [each for place, piece in here for each in _ends_of(place, piece, board)]
            # A blank is a board of its own, which comes after those that it is glued into.
            yield from sorted(of_board, key=lambda each: (found[each.piece].is_blank, each.first, each.end))


def _ends_of(place: int, piece: Piece, board: BoardPlan) -> Iterator[BoardEnd]:
    if board.part != piece.of:
        return
    count, ends = (board.count * board.ends, 1) if piece.is_blank else (board.count, board.ends)
    name = board.name + BLANK if piece.is_blank else board.name
    for end in range(1, ends + 1):
        for first in range(1, count + 1, board.stack):
            yield BoardEnd(place, name, end, first, min(board.stack, count - first + 1))


class DepthTerms(NamedTuple):
    """What the depth of a joint's end is made up of, mm."""

    mate: Fraction
    sanding: Fraction
    lining: Fraction
    tips: Fraction
    """Room for the tips of a lined joint."""


def depth_terms(plan: Plan, pattern: Pattern) -> DepthTerms:
    """Of an end of a joint, or of the blank for its lining."""
    of = pattern.part.removesuffix(BLANK)
    mate, sand = plan.thickness["B" if of == "A" else "A"], plan.joint.sand_allowance
    deeper = pattern.depth - mate - sand
    lining = min(deeper, plan.lining.thickness) if plan.lining else Fraction(0)
    return DepthTerms(mate, sand, lining, deeper - lining)


def socket_numbers(job: Job) -> list[Mapping[int, int]]:
    """For each pattern: a socket's number in the pattern -> the number that people see.

    Slots are numbered along the board, whatever their depths. Sockets keep the number they have in their part.
    """
    own = [range(1, len(pattern.sockets) + 1) for pattern in job.patterns]
    if job.layout != Layout.SLOTS:
        return [dict(zip(numbers, numbers, strict=True)) for numbers in own]
    # Both halves of an end have all its slots.
    starts = sorted({socket.start for pattern in job.ends for socket in pattern.sockets})
    return [
        {n: starts.index(socket.start) + 1 for n, socket in zip(numbers, pattern.sockets, strict=True)}
        for numbers, pattern in zip(own, job.patterns, strict=True)
    ]
