"""Events, facts and effects as JSON Lines: {"at","session","type","kind",...}."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import fields
from fractions import Fraction
from typing import Any, TextIO

from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.events import Event, Resume, Start
from assistant.wording.phrases import Phrase
from assistant.wording.prompts import Words

_LENGTHS: dict[type[f.Fact], tuple[str, ...]] = {
    f.SettingCalled: ("setting",),
    f.MoveAsked: ("to",),
    f.Moved: ("asked", "reported"),
    f.CarriageHalted: ("reported",),
    f.CarriageHomed: ("off_by",),
    f.SetupReopened: ("cut_off",),
    f.KerfMisplaced: ("off_by",),
    f.DepthSet: ("depth",),
}
"""Exact lengths in facts, mm, which a line of JSON has as numbers."""
# Of the view. A bit for each pass makes a number too long for a reader; the facts say which are cut.
_OF_NO_LINE = ("cut", "standing")
_OF_A_DRIVE = ("move", "stands", "reported")  # of the view; nothing without a drive


def _plain(value: Any) -> Any:
    if isinstance(value, Fraction):
        return round(float(value), 6)
    if isinstance(value, f.Move):
        return _fields(value)
    return list(value) if isinstance(value, tuple) else value


def _fields(thing: Any, leave_out: frozenset[str] = frozenset()) -> dict[str, Any]:
    # A field such as `pass_` only avoids a word of Python.
    found = {field.name.rstrip("_"): getattr(thing, field.name) for field in fields(thing)}
    return {name: _plain(value) for name, value in found.items() if name not in leave_out}


def event_body(event: Event) -> dict[str, Any]:
    if isinstance(event, Start):
        return {"title": event.job.title, "setups": len(event.job.setups), "passes": event.job.total_passes}
    if isinstance(event, Resume):
        return {"notes": list(event.notes)}
    return _fields(event, frozenset({"at", "utc"}))


def fact_body(fact: f.Fact) -> dict[str, Any]:
    if isinstance(fact, f.Started):
        return {"title": fact.job.title, "setups": len(fact.job.setups), "passes": fact.job.total_passes}
    if isinstance(fact, f.JobExtended):
        # What is cut where is in the settings called; a whole pattern would fill screens.
        kerf = _plain(Fraction(fact.kerf)) if fact.kerf else None
        setups = [one.number for one in fact.setups]
        return {"setups": setups, "order": list(fact.order), "why": fact.why, "kerf": kerf}
    body = _fields(fact)
    for name in _LENGTHS.get(type(fact), ()):
        body[name] = _plain(Fraction(body[name])) if body[name] else None
    return body


def effect_body(effect: e.Effect, words: Words, phrases: tuple[Phrase, ...]) -> dict[str, Any]:
    match effect:
        case e.Say(id, prompts, klass, replaces):
            return {"id": id, "text": words.say(prompts), "class": klass, "replaces": replaces}
        case e.Prepare(announcements):
            return {"texts": [words.say(prompts) for prompts in announcements]}
        case e.Listen(_, generation):
            return {"phrases": [phrase.text for phrase in phrases], "generation": generation}
        case e.Show(view, line):
            worded = {"way": view.way, "asked": view.asked, "card": view.card}
            without = _OF_NO_LINE if words.carriage.drive else (*_OF_NO_LINE, *_OF_A_DRIVE)
            shown = _fields(view, frozenset(without)) | {
                name: words.one(prompt) if prompt else None for name, prompt in worded.items()
            }
            shown["question"] = view.question or ""
            return {"view": shown, "line": words.one(line) if line else None}
    # WakeAt carries its own time, but "at" is the line's.
    return {"until" if name == "at" else name: value for name, value in _fields(effect).items()}


class Trace:
    """Writes one JSON object per line and flushes it, so that a killed process leaves whole lines."""

    def __init__(self, out: TextIO, session: str, at: Callable[[], float]):
        self._out = out
        self._session = session
        self._at = at

    def event(self, event: Event) -> None:
        self._line("event", type(event).__name__, event_body(event))

    def fact(self, fact: f.Fact) -> None:
        if not fact.passing:
            self._write("fact", fact.kind, fact_body(fact))

    def effect(self, effect: e.Effect, words: Words, phrases: tuple[Phrase, ...]) -> None:
        self._line("effect", type(effect).__name__, effect_body(effect, words, phrases))

    def _line(self, type_: str, name: str, body: dict[str, Any]) -> None:
        self._write(type_, re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower(), body)  # PassCut -> pass_cut

    def _write(self, type_: str, kind: str, body: dict[str, Any]) -> None:
        head = {"at": round(self._at(), 4), "session": self._session, "type": type_, "kind": kind}
        self._out.write(json.dumps(head | body, ensure_ascii=False) + "\n")
        self._out.flush()
