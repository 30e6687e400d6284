"""Makes what a page gets: the newest sight of the session as JSON-ready data. Pure.

Lengths are JSON numbers in mm, to a ten-thousandth. Everything else is worded here, so that the page says what the
terminal says. Quantities in texts have no-break spaces.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from assistant.joinery.model import Pattern
from assistant.joinery.settings import reading
from assistant.joinery.units import plain_length
from assistant.plans.intents import Mode
from assistant.plans.model import Job
from assistant.screens.view_pace import shown_left
from assistant.screens.view_page import heading_of
from assistant.screens.view_sight import LastInput, LogEntry, Sight
from assistant.screens.view_words import asked_with, hint_of, unbroken, which_of
from assistant.session.effects import View
from assistant.session.state import CHECKS, ENDED_EARLY, FINISHED
from assistant.wording import dial
from assistant.wording.numbers import drawn_depth
from assistant.wording.prompts import Words
from assistant.wording.quantities import bound

Json = dict[str, Any]
MODES = {
    Mode.CHECKS: "Check",
    Mode.CUTTING: "Cut",
    Mode.QUESTION: "Question",
    Mode.STANDING_BY: "Standing by",
    Mode.RESUMING: "Resuming",
    Mode.FINISHED: "Finished",
    Mode.ENDED_EARLY: "Ended early",
}


def state_of(sight: Sight) -> Json:
    """The whole state in brief, as every message carries it. {} before the session has begun."""
    view, words = sight.view, sight.words
    if view is None or words is None or not view.setup:
        return {}
    job = words.job
    setup = job.setups[view.setup - 1]
    before, asked = asked_with(sight)
    big = heading_of(view, words).left if view.mode == CHECKS and view.check else ()
    return {
        "mode": view.mode,
        "mode_word": MODES.get(view.mode, view.mode),
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
        "left": bound(shown_left(sight.left_s)),
        "speaking": sight.speaking,
        "faults": [bound(text) for _, text in sight.faults],
        "heard": _input(sight.heard),
        "hands": _input(sight.hands),
        **_called(view, words),
        "before": bound(before),
        "asked": bound(asked or (sight.closing if view.mode in (FINISHED, ENDED_EARLY) else "")),
        # If the open check has figures: what it is about, in capitals, line by line, like the terminal's big letters.
        "zone": list(big) if len(big) > 1 else [],
        "hint": hint_of(view, keys=False),
        "clamp": sight.clamp if view.mode == CHECKS else "",
        "check": view.check,
        "wait_s": sight.wait_s,
    }


def _called(view: View, words: Words) -> Json:
    """The setting in figures, their unit, the handwheel's move to it, and the point to go past first.

    Each is "" if no pass is called.
    """
    if not view.pass_:
        return {"reading": "", "unit": "", "move": "", "approach": ""}
    carriage, previous, approach = words.carriage, view.previous, view.approach
    move = by_way = ""
    if approach is None or approach == previous:
        if dial.has_dial(carriage):
            move = f"{dial.shown_move(carriage, previous or Fraction(0), view.setting)}, to"
    elif dial.has_dial(carriage):
        by_way = f"first {words.shown_call(view.setting, previous, approach)}"
    else:
        first, last = dial.ways(previous, approach, view.setting)
        by_way = f"first {first} to {reading(carriage, approach)}, then {'on ' if first == last else ''}{last}"
    unit = {"steps": "steps", "handwheel": "on the handwheel"}.get(carriage.kind, carriage.unit)
    shown = unbroken(reading(carriage, view.setting))
    return {"reading": shown, "unit": unit, "move": bound(move), "approach": bound(by_way)}


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
