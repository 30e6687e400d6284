"""What has a meaning now, taken from the rows of `plans.intents`."""

from __future__ import annotations

from assistant.plans.intents import NAMED, PHRASED, Intent, Mode
from assistant.plans.mishaps import Mishap
from assistant.session.concerned import most
from assistant.session.detours import back_target
from assistant.session.driven import waits_to_call
from assistant.session.events import Heard
from assistant.session.kinds import QuestionName
from assistant.session.state import State

WantedIntents = tuple[tuple[Intent, str | int | None], ...]

MISHAPS = tuple(map(str, Mishap))
MOST_SAID = 99_999
"""A figure that can't be is said back, to be asked for again; nobody means one beyond this."""

# These answer nothing in particular: they can't come too early, and a false one does no harm.
ALWAYS_TIMELY = frozenset(intent for intent in Intent if intent.row.timely)
# The recogniser first gets the phrases that answer what is open; the others follow in the order of their rows.
_FIRST = (
    Intent.CUT,
    Intent.CHECK,
    Intent.GO_TO,
    Intent.CARRY_ON,
    Intent.YES,
    Intent.NO,
    Intent.STAND_BY,
    Intent.BACK,
    Intent.AGAIN,
    Intent.WHERE,
    Intent.HOW_MANY,
)
CAN_BE_SAID = frozenset({*PHRASED, *NAMED})
_IN_ORDER = (*_FIRST, *(intent for intent in Intent if intent not in _FIRST))
_OF_MODE = {mode: tuple(intent for intent in _IN_ORDER if mode in intent.row.when) for mode in Mode}


def wanted(state: State) -> WantedIntents:
    """The (intent, argument) pairs that have a meaning now."""
    return tuple(
        (intent, argument)
        for intent in _OF_MODE[state.effective_mode]
        if intent in CAN_BE_SAID and not _means_nothing(state, intent)
        for argument in (MISHAPS if intent == Intent.MISHAP else (_argument(state, intent),))
    )


def _argument(state: State, intent: Intent) -> str | int | None:
    match intent:
        case Intent.CHECK:
            return state.the_job.checks[state.open_check or 0].name
        case Intent.GO_TO:
            return state.passes
        case Intent.FIGURE:
            return most(state, state.question) if state.question else None
    return None


def _means_nothing(state: State, intent: Intent) -> bool:
    """Whether it has no meaning just now, though it can have one in this mode."""
    match intent:
        case Intent.BACK:
            waits = state.mode in (Mode.MOVE_ASKED, Mode.HALTED)
            return back_target(state) is None or (waits and not waits_to_call(state))
        case Intent.BOARD | Intent.REDO | Intent.SPOILT | Intent.COPY | Intent.SOCKET:
            waits = state.mode in (Mode.MOVE_ASKED, Mode.HALTED)
            return bool(state.chosen) or (waits and not waits_to_call(state))
        case Intent.MISHAP:
            return state.leaves
        case Intent.FIGURE:
            return state.question is None or state.question.name != QuestionName.FIGURE
        case Intent.STAND_BY:
            return state.mode not in (Mode.CHECKS, Mode.CUTTING) and not waits_to_call(state)
    return False


def _number(event: Heard) -> int:
    return int(event.argument or 0)


def means_something(state: State, event: Heard) -> bool:
    """Going back, or to a pass, where there is none gets an answer in words instead of none."""
    if event.intent not in _OF_MODE[state.effective_mode]:
        return False
    if event.intent == Intent.CHECK:
        return event.argument == _argument(state, Intent.CHECK)
    if event.intent == Intent.MISHAP and event.argument not in (None, *MISHAPS):
        return False
    if event.intent == Intent.FIGURE and not 0 <= _number(event) <= MOST_SAID:
        return False
    at_work = state.mode in (Mode.CHECKS, Mode.CUTTING, Mode.FINISHED)
    return (event.intent == Intent.BACK and at_work) or not _means_nothing(state, event.intent)
