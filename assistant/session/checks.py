"""Which checks are due, and when.

Looking at guard, clamps and hold-downs before each cut is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from assistant.joinery.halves import Half
from assistant.plans.checks import (
    BACKING,
    BOARD_OUT,
    CLAMPS,
    CLAMPS_AND_GUARD,
    GUARD,
    SAW_OFF,
    ZERO_CHECK,
    After,
    again_after,
    covered_by,
)
from assistant.plans.model import Check, When
from assistant.session.state import CHECKS, Confirmation, State

BEFORE_A_TRIAL = (ZERO_CHECK, BACKING)
"""What is asked before work is tried: a cut shows nothing for a carriage that isn't zeroed, and for a fresh face of the
backing the work comes out of its clamps."""


def bits_of(checks: tuple[Check, ...], names: Collection[str]) -> int:
    """The `redo` bits of the checks with these names."""
    return sum(1 << i for i, check in enumerate(checks) if check.name in names)


def due_after(checks: tuple[Check, ...], *happened: After) -> int:
    """The `redo` bits of the checks that are due again once any of this has happened."""
    return bits_of(checks, [check.name for check in checks if again_after(check).intersection(happened)])


def here(state: State) -> Confirmation:
    """Where the session is now, as a confirmation would record it."""
    setup = state.the_setup
    return Confirmation(setup.number, setup.stage, setup.part, state.pattern.depth)


def _due(check: Check, last: Confirmation | None, now: Confirmation) -> bool:
    if last is None:
        return True
    match check.when:
        case When.SESSION:
            return False
        case When.SETUP | When.SETUP_END:
            return last.setup != now.setup
        case When.LEAVING:
            return True
        case When.DEPTH:
            return last.depth != now.depth
        case When.PART:
            # A backing face supports the wood only as long as the cuts in it are the same: part, depth and stage.
            return (last.part, last.depth, last.stage) != (now.part, now.depth, now.stage)
        case When.STAGE:
            return last.stage != now.stage
        case When.EVERY:
            return last.passes >= check.every
    raise ValueError(f"check {check.name!r} has no rule {check.when!r}")


def confirmed_with(state: State, check: str) -> tuple[Confirmation | None, ...]:
    """Where each check was last confirmed, once this one is confirmed here.

    None, as if it never was, for what hangs on a clamping that this one ends.
    """
    now, names = here(state), covered_by(check)
    ended = 0
    if check == ZERO_CHECK and state.the_setup.half is Half.PIECE_OUT:
        # For that the piece was put back, so the board was out of its clamps.
        ended = due_after(state.the_job.checks, After.CLAMPED_AGAIN)
    pairs = enumerate(zip(state.the_job.checks, state.confirmed, strict=True))
    return tuple(now if one.name in names else None if ended >> i & 1 else last for i, (one, last) in pairs)


def counted_on(state: State) -> tuple[Confirmation | None, ...]:
    """Where each check was last confirmed, once one more pass is made.

    It wears the blade and fills the dust bag, whether or not it is taken back later.
    """
    pairs = zip(state.the_job.checks, state.confirmed, strict=True)
    return tuple(
        replace(last, passes=last.passes + 1) if last is not None and last.passes < check.every else last
        for check, last in pairs
    )


def _index(state: State, name: str) -> int | None:
    return next((i for i, check in enumerate(state.the_job.checks) if check.name == name), None)


def _due_by_itself(state: State, index: int) -> bool:
    if state.redo >> index & 1:
        return True
    check, last = state.the_job.checks[index], state.confirmed[index]
    if check.when == When.PIECE:
        setups = state.the_job.setups
        return last is None or setups[last.setup - 1].half != state.the_setup.half
    return _due(check, last, here(state))


def _clamps_with_guard(state: State) -> bool:
    """Whether clamps and guard are one question.

    They are for a new clamping, if the guard has been confirmed in this run for this depth and stage. At the start,
    after an interruption, and for another depth or stage, the guard is a separate check.
    """
    clamps, guard = _index(state, CLAMPS), _index(state, GUARD)
    if clamps is None or guard is None or _index(state, CLAMPS_AND_GUARD) is None:
        return False
    # Due for more than a new clamping: somebody may have been at either, so each gets a question of its own.
    if state.redo & (1 << clamps | 1 << guard):
        return False
    last, now = state.confirmed[guard], here(state)
    if last is None or (last.depth, last.stage) != (now.depth, now.stage):
        return False
    return _due_by_itself(state, clamps) and _due_by_itself(state, guard)


def is_due(state: State, index: int) -> bool:
    """Whether check `index` must be confirmed before the next setting is called or, once all is cut, the setup ends."""
    check = state.the_job.checks[index]
    if state.leaves:
        # The board comes out of the clamps as it is: the only question is whether the blade stands still.
        return check.when == When.LEAVING and state.saw_runs
    if check.when == When.LEAVING or (check.when == When.SETUP_END) != state.setup_complete:
        return False
    # In the first stage nothing has been glued yet.
    if check.when == When.STAGE and state.the_setup.stage < 2:
        return False
    if check.name == CLAMPS_AND_GUARD:
        return _clamps_with_guard(state)
    if check.name in (CLAMPS, GUARD):
        return _due_by_itself(state, index) and not _clamps_with_guard(state)
    if check.when == When.PIECE and state.the_setup.half is Half.PIECE_OUT:
        # It goes back in for zero, so it is asked whether it is out once that is done.
        return _due_by_itself(state, index) and due_of(state, ZERO_CHECK) is None
    if check.when == When.STANDING_BY:
        # Clamps that were never confirmed for this board have a separate question.
        clamps = _index(state, CLAMPS)
        return bool(state.redo >> index & 1) and (clamps is None or not _due_by_itself(state, clamps))
    return _due_by_itself(state, index)


def is_out(state: State) -> bool:
    """Whether this board is on its way to make room for another, and was confirmed to be out of the clamps."""
    index = _index(state, BOARD_OUT)
    last = None if index is None else state.confirmed[index]
    return state.leaves and not state.saw_runs and last is not None and last.setup == state.setup


def asks_saw_off(state: State) -> bool:
    """Whether the saw is to be switched off: to count the cuts, or to take out a board that isn't all cut."""
    index = state.open_check
    asked = "" if index is None else state.the_job.checks[index].name
    return state.mode == CHECKS and asked in (SAW_OFF, BOARD_OUT)


def runs_down_until(state: State) -> float | None:
    """While saw off is asked: when the blade can be taken to stand still (s). An earlier reflex proves nothing."""
    if not asks_saw_off(state) or state.saw_off_at is None:
        return None
    return state.saw_off_at + state.the_job.run_down_s


def due_of(state: State, name: str) -> int | None:
    """The index of the check with this name if it is due, or None."""
    index = _index(state, name)
    return None if index is None or not is_due(state, index) else index


def first_due(state: State) -> int | None:
    """The index of the first check that is due, in the shop's order, or None."""
    return next((i for i in range(len(state.the_job.checks)) if is_due(state, i)), None)
