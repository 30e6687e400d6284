"""What the bench page may do. The session refuses the rest itself, whatever a page or its server sends.

A page is touched by whoever stands near it, and not with the hand that is on the work: it asks for
words, stands by and takes notes. It records a cut only where the shop file allows that, and it never
answers a check or a question.
"""

from __future__ import annotations

from assistant.plans.intents import FromPage, Intent
from assistant.session.events import Answer, Event, Heard
from assistant.session.kinds import By
from assistant.session.state import State

MAY_DO = frozenset(intent for intent in Intent if intent.row.from_page is FromPage.ALWAYS)
MAY_DO_WHERE_ALLOWED = frozenset(intent for intent in Intent if intent.row.from_page is FromPage.IF_SHOP_ALLOWS)
MOST_NOTE = 200
"""Characters of a note that are kept."""


def refused(state: State, event: Event) -> bool:
    """Whether this comes from the page and is nothing that a page may do in this session; no gesture is."""
    if not isinstance(event, Answer) or event.source != By.PAGE:
        return False
    if not isinstance(event, Heard):
        return True
    allowed = event.intent in MAY_DO_WHERE_ALLOWED and state.the_job.page.may_record_cuts
    return not (allowed or event.intent in MAY_DO)


def answers_what_it_shows(event: Heard) -> bool:
    """Whether a page must have shown what this answers: what records, and nothing else that it may do."""
    return event.source == By.PAGE and event.intent not in MAY_DO


def only_shown(state: State, answer: Answer) -> bool:
    """Whether what comes of this makes no sound: a page is not touched by the one who may be in mid-push."""
    return answer.source == By.PAGE and state.quiet


def note_of(event: Heard) -> str:
    """The text that came with "mark": one line, without control characters, at most MOST_NOTE characters."""
    text = event.argument if isinstance(event.argument, str) else ""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:MOST_NOTE]
