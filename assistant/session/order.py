"""Which setup follows, and which must wait for another."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.plans.pieces import BLANK
from assistant.session.state import State


def coming(state: State) -> int:
    """The setup that follows this one: the one chosen, or the next that is ready to be cut; 0 if all is cut."""
    if state.chosen and state.is_open(state.chosen):
        return state.chosen
    return next((number for number in state.open_elsewhere if not waits_for_stage(state, number)), 0)


def waits_for_stage(state: State, number: int) -> bool:
    """Whether something of an earlier stage must still be cut into this setup's board or its blanks."""
    job, setup = state.the_job, state.the_job.setups[number - 1]
    if setup.stage == 1:
        return False
    here = (state.setup,) if state.setup and state.is_open(state.setup) and not state.setup_complete else ()
    copies = range(setup.first_copy, setup.first_copy + setup.copies)
    earlier = (job.setups[n - 1] for n in (*state.open_elsewhere, *here))
    return any(
        one.stage < setup.stage
        and (one.board == setup.board + BLANK or (one.board == setup.board and one.first_copy in copies))
        for one in earlier
    )


@dataclass(frozen=True, slots=True)
class Opposite:
    """The board that must stay as long as this one. setup: of the same end; 0 where several boards could be it."""

    setup: int
    board: str = ""


def opposite(state: State, setup: int) -> Opposite | None:
    """The board that faces this one in the box, and so must lose the same length; None if it is in the same stack.

    Only the part tells which boards can face each other (common practice, no source: opposite sides are cut alike).
    """
    job, this = state.the_job, state.the_job.setups[setup - 1]
    boards: dict[tuple[str, int], int] = {}
    for number in state.counted:
        one = job.setups[number - 1]
        if one.part == this.part and one.stage == this.stage and one.end == this.end:
            boards[one.board, one.first_copy] = number
    del boards[this.board, this.first_copy]
    if len(boards) == 1 and this.copies == 1:
        ((_, number),) = boards.items()
        return Opposite(number, job.setups[number - 1].board)
    return None if not boards and this.copies > 1 else Opposite(0)
