"""What a paired page is allowed to do, from its request to the session's event.

Everything else is refused here, and again by the session itself (`session.from_page`).
"""

from __future__ import annotations

from typing import Any

from assistant.plans.intents import FromPage, Intent, Mode
from assistant.plans.mishaps import Mishap
from assistant.runner.contracts import Clock
from assistant.screens.page.hub import SessionStanding
from assistant.session.events import Heard
from assistant.session.from_page import MOST_NOTE
from assistant.session.kinds import By

PRESS_MS = 800  # a button that does something is held down for so long: no brush of a sleeve is
LONGEST_PRESS_MS = 5000
# The page's names for them. A note marks a problem.
INTENTS = {
    "note" if intent == Intent.MARK else str(intent): intent
    for intent in Intent
    if intent.row.from_page is not FromPage.NEVER
}
FIELDS = {"note": {"text"}, "cut": {"asked_id", "seq", "held_ms"}, "mishap": {"mishap"}}


class RequestRefused(Exception):
    """A request that is refused. status: of HTTP. The page shows the text."""

    def __init__(self, status: int, text: str):
        super().__init__(text)
        self.status = status


def event_of(body: Any, standing: SessionStanding, clock: Clock) -> Heard:
    """The event that a request's JSON body asks for. Raises RequestRefused."""
    do = body.get("do") if isinstance(body, dict) else None
    if not isinstance(do, str) or do not in INTENTS:
        raise RequestRefused(403, "The page can't do that.")
    if set(body) - {"do"} != FIELDS.get(do, set()):
        raise RequestRefused(400, "The request is incomplete.")
    if not standing.mode:
        raise RequestRefused(409, "No session is open here.")
    at, utc = clock.at(), clock.utc()
    if INTENTS[do] == Intent.CUT:
        return _cut(body, standing, at, utc)
    text = None
    if INTENTS[do] == Intent.MARK:
        text = body["text"]
        if not isinstance(text, str) or not text.strip() or len(text) > MOST_NOTE:
            raise RequestRefused(400, f"A note must be 1 to {MOST_NOTE} characters.")
        text = text.strip()
    if INTENTS[do] == Intent.MISHAP:
        text = body["mishap"]
        if text not in tuple(Mishap):
            raise RequestRefused(400, "Nothing of that name can be reported.")
        if standing.mode != Mode.STANDING_BY:
            raise RequestRefused(409, "Stand by first, and answer what is asked. Nothing was reported.")
    return Heard(at, utc, INTENTS[do], text, "", at, standing.asked_id, By.PAGE)


def _cut(body: dict[str, Any], standing: SessionStanding, at: float, utc: str) -> Heard:
    """A long press that names what it answers: what was asked when it began, and is still asked."""
    if not standing.may_record_cuts:
        raise RequestRefused(403, "Record cuts by pedal, key or voice: the shop file does not allow it from a page.")
    asked_id, seq, held_ms = (body[key] for key in ("asked_id", "seq", "held_ms"))
    # A bool is an int in Python.
    if not all(isinstance(each, int) and not isinstance(each, bool) for each in (asked_id, seq, held_ms)):
        raise RequestRefused(400, "The request is incomplete.")
    if not PRESS_MS <= held_ms <= LONGEST_PRESS_MS:
        raise RequestRefused(400, "Keep the button pressed until it is full.")
    if standing.mode != Mode.CUTTING or asked_id != standing.asked_id or not standing.asked_seq <= seq <= standing.seq:
        raise RequestRefused(409, "Something else is asked now. Nothing was recorded.")
    return Heard(at, utc, Intent.CUT, None, "", at - held_ms / 1000, asked_id, By.PAGE)
