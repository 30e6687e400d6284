"""Which setup follows, and which must wait for another."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.joinery.halves import mirrored_segments
from assistant.plans.model import Job
from assistant.plans.pieces import BLANK
from assistant.session.state import State


def coming(state: State) -> int:
    """The setup after this one: the one chosen, or else the next that can be cut; 0 if all is cut."""
    # A setup that is all cut stays open until it has ended, and is not begun again then.
    all_cut = state.chosen == state.setup and state.setup_complete
    if state.chosen and state.is_open(state.chosen) and not all_cut:
        return state.chosen
    return next((number for number in state.open_elsewhere if not must_wait(state, number)), 0)


def must_wait(state: State, number: int) -> bool:
    """Whether something must be cut first: an earlier stage of the board or its blanks, or the end's first half."""
    job, setup = state.the_job, state.the_job.setups[number - 1]
    # A setup that is all cut stays open until it has ended, and the next one is looked for just before that.
    here = (state.setup,) if state.setup and state.is_open(state.setup) and not state.setup_complete else ()
    if setup.half.is_second:
        before = [n for n in setups_of_end(job, number) if not job.setups[n - 1].half.is_second]
        if set(before) & {*state.open_elsewhere, *here}:
            return True
    if setup.stage == 1:
        return False
    copies = range(setup.first_copy, setup.first_copy + setup.copies)
    earlier = (job.setups[n - 1] for n in (*state.open_elsewhere, *here))
    return any(
        one.stage < setup.stage
        and (one.board == setup.board + BLANK or (one.board == setup.board and one.first_copy in copies))
        for one in earlier
    )


def setups_of_end(job: Job, number: int) -> tuple[int, ...]:
    """The setups in which this end is cut, in order: two if it is cut in halves."""
    wanted = end_of(job, number)
    return tuple(n for n in job.order if end_of(job, n) == wanted)


def end_of(job: Job, number: int) -> tuple[object, ...]:
    """What is the same for all setups in which an end is cut, and for no other."""
    one, pattern = job.setups[number - 1], job.pattern_of(number)
    if not job.slotted:
        return one.board, one.first_copy, one.end, one.stage
    # Slots planned with different depths have setups of their own, with board, end and stage the same. Where they lie
    # tells them apart; their depth may not: slots that were cut too deep may be as deep as others by now.
    segments = mirrored_segments(pattern.segments, pattern.width) if pattern.mirrored else pattern.segments
    return one.board, one.first_copy, one.end, one.stage, segments


@dataclass(frozen=True, slots=True)
class Opposite:
    """The board that must stay as long as this one. setup: that of its same end; 0 if it could be any of several."""

    setup: int


def opposite(state: State, setup: int) -> Opposite | None:
    """The board opposite this one in the box, which must lose the same length; None if it is in the same stack.

    Only the part tells which boards can be opposite (common practice, no source: opposite sides are cut alike).
    """
    job, this = state.the_job, state.the_job.setups[setup - 1]
    boards: dict[tuple[str, int], int] = {}
    for number in state.counted:
        one = job.setups[number - 1]
        alike = (one.part, one.stage, one.end, one.half) == (this.part, this.stage, this.end, this.half)
        if alike:
            boards[one.board, one.first_copy] = number
    del boards[this.board, this.first_copy]
    if len(boards) == 1 and this.copies == 1:
        ((_, number),) = boards.items()
        return Opposite(number)
    return None if not boards and this.copies > 1 else Opposite(0)
