"""What the bench page is allowed to do. The session itself refuses everything else that a page or its server sends.

Anyone who stands near a page can touch it, and not with the hand that is on the work. So it asks to hear words again,
stands by, takes notes, halts the carriage and reports what went wrong. It records a cut only where the shop file allows
that, and it never answers a check or a question.
"""

from __future__ import annotations

from assistant.plans.intents import FromPage, Intent
from assistant.session.events import Answer, Event, Heard
from assistant.session.kinds import By
from assistant.session.state import State

MAY_DO = frozenset(intent for intent in Intent if intent.row.from_page is FromPage.ALWAYS)
MAY_DO_WHERE_ALLOWED = frozenset(intent for intent in Intent if intent.row.from_page is FromPage.IF_SHOP_ALLOWS)
MOST_NOTE = 200
"""The most characters of a note that are kept."""


def refused(state: State, event: Event) -> bool:
    """Whether this comes from the page, and a page must not do it in this session; no gesture is allowed."""
    if not isinstance(event, Answer) or event.source != By.PAGE:
        return False
    if not isinstance(event, Heard):
        return True
    allowed = event.intent in MAY_DO_WHERE_ALLOWED and state.the_job.page.may_record_cuts
    return not (allowed or event.intent in MAY_DO)


def answers_what_it_shows(event: Heard) -> bool:
    """Whether a page must have shown what this answers: only for what records."""
    return event.source == By.PAGE and event.intent not in MAY_DO


def only_shown(state: State, answer: Answer) -> bool:
    """Whether the result makes no sound: the person at the page isn't the one who may be pushing a board."""
    return answer.source == By.PAGE and state.quiet


def note_of(event: Heard) -> str:
    """The text that came with "mark": one line, without control characters, at most MOST_NOTE characters."""
    # Notes are printed at the terminal, where a control character could move the cursor.
    text = event.argument if isinstance(event.argument, str) else ""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:MOST_NOTE]
