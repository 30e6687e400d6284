"""Which checks are due, and when.

Sources: which checks there are and when is the agreed design's; that a guard, clamps and
hold-downs are looked at before each cut is common practice, no source.
"""

from __future__ import annotations

from assistant.plans.model import Check
from assistant.session.state import Confirmation, State

FIRST_WORDS_S = 1.2
"""A question counts as told this long after it began to sound: who knows it knows it by then."""
UNANSWERED_S = 20.0
"""A question whose speaking was never reported counts as told this long after it was opened."""
CLAMPS, GUARD, BLADE_HEIGHT, SETTING_BAR_OUT = "clamps", "guard", "blade height", "setting bar out"


def bits_of(checks: tuple[Check, ...], *names: str) -> int:
    """The `redo` bits of the checks with these names."""
    return sum(1 << i for i, check in enumerate(checks) if check.name in names)


def setup_bits(checks: tuple[Check, ...]) -> int:
    """The `redo` bits of every check that belongs to a clamping, and of clamps and guard whatever their rule."""
    return sum(1 << i for i, check in enumerate(checks) if check.when == "setup" or check.name in (CLAMPS, GUARD))


def here(state: State) -> Confirmation:
    """Where the session is now, as a confirmation would record it."""
    setup = state.the_setup
    return Confirmation(setup.number, setup.stage, setup.part, state.pattern.depth, state.cut_in_all)


def _due(check: Check, last: Confirmation | None, now: Confirmation) -> bool:
    if check.when == "stage" and now.stage < 2:
        return False
    if last is None:
        return True
    match check.when:
        case "session":
            return False
        case "setup":
            return last.setup != now.setup
        case "depth":
            return last.depth != now.depth
        case "part":
            return (last.part, last.depth, last.stage) != (now.part, now.depth, now.stage)
        case "stage":
            return last.stage != now.stage
        case "every":
            return now.passes - last.passes >= check.every
    raise ValueError(f"check {check.name!r} has no rule {check.when!r}")


def is_due(state: State, index: int) -> bool:
    """Whether check `index` must be confirmed before the next setting is called."""
    if state.redo >> index & 1:
        return True
    return _due(state.the_job.checks[index], state.confirmed[index], here(state))


def first_due(state: State) -> int | None:
    """The index of the first check that is due, in the shop's order, or None."""
    return next((i for i in range(len(state.the_job.checks)) if is_due(state, i)), None)


def is_told(state: State, since: float) -> bool:
    """Whether the open check or question had been told by `since` (s); a check confirmed unheard is no check."""
    if not state.hear_out:
        return True
    told_from = state.open_since + UNANSWERED_S if state.told_from is None else state.told_from
    return since >= told_from
