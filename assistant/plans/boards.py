"""The boards to prepare for a plan: their lengths from the box's size, and the list of boards and blanks."""

from __future__ import annotations

from fractions import Fraction

from assistant.joinery import sizes
from assistant.joinery.sizes import ListRow
from assistant.plans.model import Plan


def lengths(plan: Plan) -> dict[str, Fraction] | None:
    """The length of each part's boards, mm, or None if the plan gives no size. Raises BadInput."""
    if plan.size is None:
        return None
    size, sand = plan.size, plan.joint.sand_allowance
    return sizes.board_lengths(size.kind, size.figures, plan.width, plan.thickness, sand, unit=plan.unit)


def board_list(plan: Plan) -> tuple[ListRow, ...]:
    """The boards in the plan's order, then the blanks of a lined joint."""
    return sizes.board_list(plan.boards, plan.width, plan.thickness, lengths(plan), plan.lining)
