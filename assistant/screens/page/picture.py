"""Makes what a page gets: the newest sight of the session as JSON-ready data. Pure.

Lengths are JSON numbers in mm, to a ten-thousandth. Everything else is worded here, so that the page says what the
terminal says. Quantities in texts have no-break spaces.
"""

from __future__ import annotations

import re
from datetime import datetime
from fractions import Fraction
from typing import Any

from assistant.drawings import dialling_picture, holding_picture
from assistant.drawings.dialling import dials_of
from assistant.drawings.holding import Holding
from assistant.drawings.svg import figure
from assistant.joinery.model import Pattern
from assistant.joinery.settings import reading
from assistant.joinery.units import plain_length
from assistant.plans.checks import BOARD_OUT, SAW_OFF
from assistant.plans.model import Job
from assistant.screens.view_heading import heading_of
from assistant.screens.view_move import (
    OF_THE_DRIVE,
    along,
    calls_a_pass,
    ends_of,
    has_a_track,
    is_driven,
    is_lost,
    is_moving,
    place_text,
    target_of,
    where_it_is,
)
from assistant.screens.view_pace import shown_left, time_lines
from assistant.screens.view_sight import LastInput, LogEntry, Sight
from assistant.screens.view_words import (
    NOTHING,
    asked_with,
    card_of,
    done_here,
    done_of,
    gestures_of,
    pending_of,
    setup_of,
    status_of,
    unbroken,
    words_of_the_drive,
)
from assistant.session.effects import View
from assistant.session.state import CHECKS, CUTTING, ENDED_EARLY, FINISHED, STANDING_BY
from assistant.session.table import JobStanding, as_json, rows_of, which_of
from assistant.wording.halves import HALVES
from assistant.wording.numbers import drawn_depth
from assistant.wording.prompts import Words
from assistant.wording.quantities import bound

Json = dict[str, Any]
_WAY = re.compile(r"((?:\d )?(?:UP|DOWN|STAY)(?: TO)?|TO|HALTED) (.+)")
"""The direction in a line of what to set, and the figure."""


def state_of(sight: Sight) -> Json:
    """The whole state in brief, as every message carries it. {} before the session has begun."""
    view, words = sight.view, sight.words
    if view is None or words is None or not view.setup:
        return {}
    job = words.job
    setup = job.setups[view.setup - 1]
    before, asked = asked_with(sight)
    status, meant = status_of(sight), gestures_of(view, words=words)
    over = view.mode in (FINISHED, ENDED_EARLY)
    return {
        "mode": view.mode,
        "tone": status.tone,
        "state": status.word,
        "beside": _beside(view),
        "lost": status.lost,
        "asked_id": view.generation,
        "title": job.title,
        "setup": view.setup,
        "setups": view.setups,
        "setup_of": setup_of(view),
        "pass": view.pass_,
        "passes": view.passes,
        "cut_here": view.cut_here,
        "cut_in_all": view.cut_in_all,
        "passes_in_all": view.passes_in_all,
        "cut": f"{view.cut:x}",
        "board": setup.board,
        "which": which_of(job, view.setup),
        "part": setup.part,
        "end": 0 if job.slotted else setup.end,
        "half": HALVES.get(setup.half, ""),
        "way": bound(words.one(view.way)) if view.way else "",
        "pattern": setup.pattern,
        **_times(sight),
        "speaking": sight.speaking,
        "warnings": [bound(text) for text in job.warnings],
        "opening": [bound(entry.text) for entry in sight.opening],
        "faults": [bound(text) for _, text in sight.faults],
        "heard": _input(sight.heard),
        "hands": _input(sight.hands),
        **_called(view, words),
        "card": bound(card_of(view, words)),
        "before": bound(before),
        "asked": bound(
            words_of_the_drive(sight) or " ".join(pending_of(view)) or asked or (sight.closing if over else "")
        ),
        "carriage": carriage_of(view, words),
        "big": _big(sight, view, words),
        "gestures": {"tap": meant.tap, "double tap": meant.double, "long press": meant.long},
        "nothing": NOTHING,
        "clamp": sight.clamp if view.mode == CHECKS else "",
        "check": view.check,
        "wait_s": sight.wait_s,
    }


def _beside(view: View) -> str:
    """What stands beside the state's word: which pass, which check, or how much of this end is cut."""
    if view.mode == CUTTING and view.pass_:
        return f"Pass {view.pass_} of {view.passes}"
    if view.mode == CHECKS and view.check not in (SAW_OFF, BOARD_OUT):
        return view.check
    return done_here(view) if view.passes and view.mode != FINISHED else ""


def carriage_of(view: View, words: Words) -> Json | None:
    """A driven carriage; None for one that is set by hand.

    moves: the page has to offer a halt. way: which way, while it does. free: hands may be at the clamps. lost: a pass
    is called, but nobody knows where it stands. low, high: the ends of its travel, "" where it isn't shown. target:
    where it is to go; the rest as in `place_in_travel`.
    """
    if not is_driven(words):
        return None
    low, high = ends_of(words) if has_a_track(view, words) else ("", "")
    return {
        "moves": is_moving(view, words),
        "free": view.mode not in OF_THE_DRIVE,
        "lost": is_lost(view, words),
        "way": heading_of(view, words).left if is_moving(view, words) else (),
        "low": low,
        "high": high,
        "target": _share(target_of(view), words),
        **place_in_travel(where_it_is(view, None), words, is_moving(view, words)),
    }


def place_in_travel(at: Fraction | None, words: Words, moves: bool) -> Json:
    """Where a driven carriage is. at: from 0 to 1 in its travel, None if nobody knows. place: the same in words."""
    return {"at": _share(at, words), "place": "" if moves and at is None else bound(place_text(words, at, moves))}


def _share(at: Fraction | None, words: Words) -> float | None:
    travel = words.carriage.travel
    return None if at is None or travel is None else round(along(at, travel), 4)


def _times(sight: Sight) -> Json:
    """How long it takes and took: only while standing by or at the end, because a clock beside a blade hurries.

    left_s: seconds left, None if not known or over. The page makes "done about 15:20" of it, which moves on meanwhile.
    """
    if sight.times is None or sight.view is None:
        return {"left_s": None, "left": "", "times": []}
    left_s = sight.left_s if sight.view.mode == STANDING_BY else None
    done = "" if left_s is not None else done_of(sight, datetime.now())
    lines = [bound(text) for text in (done, *time_lines(sight.times)) if text]
    return {"left_s": left_s, "left": bound(shown_left(left_s)), "times": lines}


def _big(sight: Sight, view: View, words: Words) -> list[list[str]]:
    """What to do, in big letters, line by line, like the terminal's: [direction, figure or words]."""
    heading = heading_of(view, words)
    lines = heading.left
    if heading.above:
        return [[heading.above, lines[0]], *(["", line] for line in lines[1:])]
    if view.mode == CUTTING or view.mode in OF_THE_DRIVE:
        found = [_WAY.fullmatch(line) for line in lines]
        return [[match[1], match[2]] if match else ["", line] for match, line in zip(found, lines, strict=True)]
    # The header has the state's own word already; "saw off" is what to do as well.
    word = status_of(sight).word if view.mode != CHECKS else ""
    return [["", line] for line in lines if line != word]


def _called(view: View, words: Words) -> Json:
    """The setting in figures, its unit, and what comes after it. Each is "" if no pass is called."""
    if not calls_a_pass(view, words):
        return {"reading": "", "unit": "", "then": ""}
    heading = heading_of(view, words)
    return {
        "reading": unbroken(reading(words.carriage, view.setting)),
        "unit": heading.unit,
        "then": bound(heading.then),
    }


def _input(last: LastInput) -> Json:
    return {"given": bound(last.given), "made": bound(last.made)}


def table_of(job: Job, standing: JobStanding) -> Json:
    """The table of the job. slots: whether it is slotted. stages: how many. rows: as `session.table` has them."""
    rows = as_json(rows_of(job, standing))
    return {"slots": job.slotted, "stages": len(job.stages), "rows": rows}


def board_of(job: Job, setup: int) -> Json:
    """The board of this setup: what is cut out of it, and where."""
    return pattern_of(job.pattern_of(setup), job)


def held_of(holding: Holding) -> Json:
    """How a board is held, as a figure. setup: which it belongs to, for the page to compare."""
    return {"setup": holding.setup, "svg": figure(holding_picture.picture(holding), holding.words)}


def dials_shown(view: View, words: Words) -> Json:
    """A figure for each move of the handwheel to what is called. asked_id: the call, for the page to compare."""
    called = calls_a_pass(view, words) and not is_driven(words)
    dials = dials_of(words.carriage, view.previous, view.approach, view.setting) if called else ()
    drawn = [figure(dialling_picture.picture(dial), dial.heading) for dial in dials]
    return {"asked_id": view.generation, "svgs": drawn}


def pattern_of(pattern: Pattern, job: Job) -> Json:
    return {
        "part": pattern.part,
        "width": _mm(pattern.width),
        "width_text": plain_length(pattern.width, job.carriage.unit),
        "depth_text": drawn_depth(pattern.depth, job),
        "stop_side": job.carriage.stop_side,
        "sockets": [[_mm(each.start), _mm(each.end)] for each in pattern.sockets],
        "passes": [[_mm(each.kerf_from), _mm(each.kerf_to), each.socket] for each in pattern.passes],
        "gone": [[_mm(each.kerf_from), _mm(each.kerf_to)] for each in pattern.before],
    }


def entry_of(entry: LogEntry, clock: str) -> Json:
    return {"n": entry.n, "at": clock, "mark": entry.mark, "klass": entry.klass, "text": bound(entry.counted_text)}


def _mm(length: Fraction) -> float:
    return round(float(length), 4)
