"""Whether what is open has been announced, and how long it waits. All these times count from when it went out."""

from __future__ import annotations

from assistant.session.kinds import QuestionName
from assistant.session.state import CHECKS, CUTTING, FINISHED, HALTED, MOVE_ASKED, QUESTION, State

FIRST_WORDS_S = 1.2
"""A check or question counts as announced this long after it began to sound: by then its first words are clear."""
READING_S = 1.2
"""An announcement that could not be spoken counts as announced this long after a screen has shown it."""
READ_BACK_S = 15.0
"""An unanswered read-back becomes a no this long after it went out."""
LINGER_S = 20.0
"""How long a finished session keeps listening, so that the last answer can be taken back."""
DETOURS = frozenset(
    {
        QuestionName.BACK,
        QuestionName.GO_TO,
        QuestionName.END,
        QuestionName.MOVE,
        QuestionName.BOARD,
        QuestionName.CUT_OFF,
        QuestionName.SOCKET,
        QuestionName.SPOILT,
        QuestionName.COPY,
    }
)
"""The questions that are read-backs: they change what counts as cut, end the session, or move the carriage."""
WHOLLY_HEARD = frozenset({CUTTING, MOVE_ASKED, HALTED})
"""What must be heard to its last word, which is a number or a direction."""


def is_out(state: State, since: float) -> bool:
    """Whether the voice and the screens had been given what is open when this answer began (s)."""
    out_at = state.opening.out_at
    return out_at is not None and since >= out_at


def is_announced(state: State, since: float) -> bool:
    """Whether what is open had been spoken or shown when this answer began (s).

    Nobody has made a check that was confirmed unheard, and nobody knows where a pass was cut that was recorded unheard.
    """
    if not is_out(state, since):
        return False
    if not state.hear_out or state.opening.kind not in (CHECKS, QUESTION, *WHOLLY_HEARD):
        return True
    announced_at = state.opening.announced_at
    return announced_at is not None and since >= announced_at


def deadline(state: State) -> float | None:
    """When what is open ends by itself (s): a read-back becomes a no, a finished session closes. None: never."""
    out_at = state.opening.out_at
    if out_at is None:
        return None
    if state.question:
        # What follows from a mishap isn't settled by whoever has gone to look at the wood.
        reads_back = state.question.name in DETOURS and state.question.mishap is None
        return out_at + READ_BACK_S if reads_back else None
    return out_at + LINGER_S if state.mode == FINISHED else None
