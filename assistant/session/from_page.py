"""What the bench page may do. The session refuses the rest itself, whatever a page or its server sends.

A page is touched by whoever stands near it, and not with the hand that is on the work: it asks for
words, stands by and takes notes. It records a cut only where the shop file allows that, and it never
answers a check or a question.
"""

from __future__ import annotations

from assistant.session.events import Heard
from assistant.session.state import State

PAGE = "page"
MAY_DO = frozenset({"again", "stand by", "mark"})
MOST_NOTE = 200
"""Characters of a note that are kept."""


def refused(state: State, event: Heard) -> bool:
    """Whether this comes from the page and is nothing that a page may do in this session."""
    if event.source != PAGE or event.intent in MAY_DO:
        return False
    return not (event.intent == "cut" and state.the_job.page.may_record_cuts)


def note_of(event: Heard) -> str:
    """The text that came with "mark": one line, without control characters, at most MOST_NOTE characters."""
    text = event.argument if isinstance(event.argument, str) else ""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:MOST_NOTE]
