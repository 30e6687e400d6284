"""Makes what a page gets: the newest sight of the session as JSON-ready data. Pure.

Lengths are JSON numbers in mm, to a ten-thousandth. Everything else is worded here, so that the page says what the
terminal says. Quantities in texts have no-break spaces.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

from assistant.joinery.model import Pattern
from assistant.joinery.settings import reading
from assistant.joinery.units import plain_length
from assistant.plans.checks import SAW_OFF
from assistant.plans.intents import Mode
from assistant.plans.model import Job
from assistant.screens.view_pace import shown_left
from assistant.screens.view_page import big_place, heading_of
from assistant.screens.view_sight import LastInput, LogEntry, Sight
from assistant.screens.view_words import asked_with, hint_of, unbroken, which_of
from assistant.session.effects import View
from assistant.session.kinds import DeviceName
from assistant.session.state import CHECKS, CUTTING, ENDED_EARLY, FINISHED, QUESTION, RESUMING, STANDING_BY
from assistant.wording import dial
from assistant.wording.numbers import drawn_depth
from assistant.wording.prompts import Words
from assistant.wording.quantities import bound

Json = dict[str, Any]
STATES = {
    Mode.CHECKS: "CHECK",
    Mode.CUTTING: "CUTTING",
    Mode.QUESTION: "QUESTION",
    Mode.STANDING_BY: "STANDING BY",
    Mode.RESUMING: "RESUMING",
    Mode.FINISHED: "ALL CUT",
    Mode.ENDED_EARLY: "ENDED EARLY",
}
KINDS = {CHECKS: "check", CUTTING: "cutting", QUESTION: "question", RESUMING: "question", STANDING_BY: "standing by"}
"""Which colour the page's header has; any other mode: that of what is over."""
LOST: dict[str, str] = {
    DeviceName.MICROPHONE: "VOICE",
    DeviceName.RECOGNISER: "VOICE",
    DeviceName.LOUDSPEAKER: "SPEECH",
    DeviceName.PEDAL: "PEDAL",
    DeviceName.KEYS: "KEYS",
}
_WAY = re.compile(r"((?:\d )?(?:UP|DOWN|STAY)(?: TO)?|TO) (.+)")
"""The direction in a line of what to set, and the figure."""


def state_of(sight: Sight) -> Json:
    """The whole state in brief, as every message carries it. {} before the session has begun."""
    view, words = sight.view, sight.words
    if view is None or words is None or not view.setup:
        return {}
    job = words.job
    setup = job.setups[view.setup - 1]
    before, asked = asked_with(sight)
    over = view.mode in (FINISHED, ENDED_EARLY)
    saw_off = view.mode == CHECKS and view.check == SAW_OFF
    return {
        "mode": view.mode,
        "kind": SAW_OFF if saw_off else KINDS.get(view.mode, "over"),
        "state_word": _state_word(view),
        "state_more": _state_more(view),
        "lost": _lost(sight),
        "asked_id": view.generation,
        "title": job.title,
        "setup": view.setup,
        "setups": view.setups,
        "pass": view.pass_,
        "passes": view.passes,
        "cut_here": view.cut_here,
        "cut_in_all": view.cut_in_all,
        "passes_in_all": view.passes_in_all,
        "cut": f"{view.cut:x}",
        "board": setup.board,
        "which": which_of(job, view.setup),
        "part": setup.part,
        "end": 0 if job.layout == "slots" else setup.end,
        "way": bound(words.one(view.way)) if view.way else "",
        "pattern": setup.pattern,
        # A clock beside a blade hurries, so how long it will take is there only while standing by.
        "left": bound(shown_left(sight.left_s)) if view.mode == STANDING_BY else "",
        "left_s": sight.left_s if view.mode == STANDING_BY else None,
        "speaking": sight.speaking,
        "warnings": [bound(text) for text in job.warnings],
        "opening": [bound(entry.text) for entry in sight.opening],
        "faults": [bound(text) for _, text in sight.faults],
        "heard": _input(sight.heard),
        "hands": _input(sight.hands),
        **_called(view, words),
        "before": bound(before),
        "asked": bound(_pending(view, words) or asked or (sight.closing if over else "")),
        # What to do, in big letters, line by line, like the terminal's: [direction, figure or words].
        "big": _big(view, words),
        "hint": hint_of(view, keys=False),
        "clamp": sight.clamp if view.mode == CHECKS else "",
        "check": view.check,
        "wait_s": sight.wait_s,
    }


def _state_word(view: View) -> str:
    """The state in capitals, as the page's header has it."""
    if view.mode == CHECKS and view.check == SAW_OFF:
        return "SAW OFF"
    return STATES.get(view.mode, view.mode.upper())


def _state_more(view: View) -> str:
    """What stands beside it: which pass, which check, or how much of this end is cut."""
    if view.mode == CUTTING:
        return f"Pass {view.pass_} of {view.passes}"
    if view.mode == CHECKS and view.check != SAW_OFF:
        return view.check
    return f"{view.cut_here} of {view.passes} cut" if view.passes and view.mode != FINISHED else ""


def _lost(sight: Sight) -> str:
    """What is lost, in a word each; the faults say it in full."""
    names = dict.fromkeys(LOST[name] for name, _ in sight.faults if name in LOST)
    return f"{', '.join(names)} LOST" if names else ""


def _pending(view: View, words: Words) -> str:
    """While standing by: which pass is called but not cut."""
    if view.mode != STANDING_BY or not view.pass_:
        return ""
    return f"Pass {view.pass_} of {view.passes} at {big_place(words, view.setting)} is called, not cut."


def _big(view: View, words: Words) -> list[list[str]]:
    lines = heading_of(view, words).left
    if view.mode == STANDING_BY and view.pass_:
        return [["", f"PASS {view.pass_}"], ["", "NOT CUT"]]
    if view.mode in (STANDING_BY, FINISHED, ENDED_EARLY):  # the header says it
        return []
    if view.mode != CUTTING:
        return [["", line] for line in lines]
    found = [_WAY.fullmatch(line) for line in lines]
    steps = [[match[1], match[2]] if match else ["", line] for match, line in zip(found, lines, strict=True)]
    both = len(steps) == 2 and all(way.endswith(" TO") and not way[0].isdigit() for way, _ in steps)
    return [[f"{n} {way}", figure] for n, (way, figure) in enumerate(steps, 1)] if both else steps


def _called(view: View, words: Words) -> Json:
    """The setting in figures, its unit, and the setting after it. Each is "" if no pass is called."""
    if view.mode != CUTTING or not view.pass_:
        return {"reading": "", "unit": "", "then": ""}
    carriage = words.carriage
    unit = {"steps": "steps", "handwheel": "turns + marks"}.get(carriage.kind, carriage.unit)
    return {"reading": unbroken(reading(carriage, view.setting)), "unit": unit, "then": _then(view, words)}


def _then(view: View, words: Words) -> str:
    uncut = [
        (number < view.pass_, number)
        for number in range(1, view.passes + 1)
        if number != view.pass_ and not view.cut >> (number - 1) & 1
    ]
    if not uncut:
        return "last pass of this end"
    setting = words.job.pattern_of(view.setup).passes[min(uncut)[1] - 1].setting
    return f"then {big_place(words, setting)}"


def _input(last: LastInput) -> Json:
    return {"given": bound(last.given), "made": bound(last.made)}


def board_of(job: Job, setup: int) -> Json:
    """The board of this setup: what is cut out of it, and where."""
    return pattern_of(job.pattern_of(setup), job)


def pattern_of(pattern: Pattern, job: Job) -> Json:
    return {
        "part": pattern.part,
        "width": _mm(pattern.width),
        "width_text": plain_length(pattern.width, job.carriage.unit),
        "depth_text": drawn_depth(pattern.depth, job),
        "stop_side": job.carriage.stop_side,
        "sockets": [[_mm(each.start), _mm(each.end)] for each in pattern.sockets],
        "passes": [[_mm(each.kerf_from), _mm(each.kerf_to), each.socket] for each in pattern.passes],
    }


def entry_of(entry: LogEntry, clock: str) -> Json:
    return {"n": entry.n, "at": clock, "mark": entry.mark, "klass": entry.klass, "text": bound(entry.counted_text)}


def _mm(length: Fraction) -> float:
    return round(float(length), 4)
