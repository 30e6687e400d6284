"""The words that every screen shares: the state, what to set, what is asked, what a gesture means, what comes next."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from assistant.joinery.model import CarriageKind
from assistant.joinery.settings import reading
from assistant.plans.checks import BOARD_OUT, CARRYING_ON, CLAMPS, CLAMPS_AND_GUARD, SAW_OFF
from assistant.plans.intents import Mode
from assistant.plans.mishaps import Mishap
from assistant.screens.view_cells import BOLD, wrapped
from assistant.screens.view_move import (
    CARRIAGE_LOST,
    MOVES,
    OF_THE_DRIVE,
    WAITS,
    by_hand,
    is_lost,
    is_moving,
    lets_by_tap,
    stands_for_a_cut,
    what_halts,
)
from assistant.screens.view_pace import time_lines
from assistant.screens.view_sight import LogEntry, Sight, clock_of
from assistant.session.effects import View
from assistant.session.kinds import DeviceName, QuestionName
from assistant.session.state import CHECKS, CUTTING, ENDED_EARLY, FINISHED, HALTED, MOVE_ASKED, QUESTION, STANDING_BY
from assistant.session.table import numbered
from assistant.wording import dial, drive
from assistant.wording.prompts import HOW_TO_CUT, Words

StyledLine = tuple[str, int]  # text and style
NOBODY_KNOWS = (
    "Nobody knows where the carriage stands. If this pass is through, draw right back and tap; otherwise double tap. "
    "It goes home next."
)
AFTER_A_PAUSE = "saw, clamps and guard"  # what the check after standing by is about; its own name would say nothing
UNITS = {CarriageKind.STEPS: "steps"}
"""What a setting is counted in, for this carriage kind; otherwise its unit."""


@dataclass(frozen=True, slots=True)
class WordLines:
    """The words to show.

    required: lines that are shown whole before anything else gets more than it needs. optional: as room allows; each
    text of the log with its lines, the most important first.
    """

    required: tuple[StyledLine, ...] = ()
    optional: tuple[tuple[str, tuple[StyledLine, ...]], ...] = ()

    @property
    def lines(self) -> tuple[StyledLine, ...]:
        return (*self.required, *(line for _, lines in self.optional for line in lines))


class StatusTone(StrEnum):
    """What a screen has a colour of its own for."""

    CUTTING = "cutting"
    CHECK = "check"
    QUESTION = "question"
    STANDING_BY = "standing by"
    SAW_OFF = "saw off"
    OVER = "over"
    MOVING = "moving"
    LOST = "lost"
    """It goes with `Status.lost` and with faults, too."""


@dataclass(frozen=True, slots=True)
class Status:
    """What the session is doing, for the head of a screen.

    word: in capitals, such as "CUTTING" or "CHECK 2 OF 5". tone: its colour. lost: "CARRIAGE LOST" while nobody
    knows where a driven one stands, "VOICE LOST" while the voice can't hear or speak, else "". Where nothing but homing
    is left to do, "CARRIAGE LOST" is the word itself.
    """

    word: str
    tone: StatusTone
    lost: str = ""


VOICE_LOST = "VOICE LOST"
OF_THE_VOICE = (DeviceName.MICROPHONE, DeviceName.LOUDSPEAKER, DeviceName.RECOGNISER)


def status_of(sight: Sight) -> Status:
    """The words and the tone of the state that this sight shows. It must have a view."""
    view = sight.view
    assert view is not None
    lost = VOICE_LOST if any(device in OF_THE_VOICE for device, _ in sight.faults) else ""
    if any(device == DeviceName.CARRIAGE for device, _ in sight.faults):
        if view.mode == MOVE_ASKED or (sight.words is not None and is_lost(view, sight.words)):
            return Status(CARRIAGE_LOST, StatusTone.LOST, lost)
        lost = CARRIAGE_LOST
    match view.mode:
        case Mode.MOVE_ASKED:
            return Status(_before_a_move(view, sight.words), StatusTone.QUESTION, lost)
        case Mode.HOMING | Mode.MOVING:
            moves = sight.words is None or is_moving(view, sight.words)
            return Status(str(view.mode).upper(), StatusTone.MOVING if moves else StatusTone.QUESTION, lost)
        case Mode.CHECKS:
            count = check_count(view)
            if view.check in (SAW_OFF, BOARD_OUT):
                return Status("SAW OFF", StatusTone.SAW_OFF, lost)
            return Status(count.upper() if count else "CHECK", StatusTone.CHECK, lost)
        case Mode.CUTTING:
            return Status("CUTTING", StatusTone.CUTTING, lost)
        case Mode.STANDING_BY:
            return Status("STANDING BY", StatusTone.STANDING_BY, lost)
        case Mode.FINISHED:
            return Status("ALL CUT", StatusTone.OVER, lost)
        case Mode.ENDED_EARLY:
            return Status("ENDED EARLY", StatusTone.OVER, lost)
    return Status(str(view.mode).upper(), StatusTone.QUESTION, lost)


def _before_a_move(view: View, words: Words | None) -> str:
    """What must hold before it may move."""
    if words is not None and by_hand(view, words):
        return "ZERO BY HAND"
    return "DRAW BACK" if words is not None and lets_by_tap(view, words) else "HANDS OFF"


def done_here(view: View) -> str:
    """How much of this end is cut. While a carriage waits to move or moves, no screen has the word "cut" to obey."""
    return f"{view.cut_here} of {view.passes} {'done' if view.mode in OF_THE_DRIVE else 'cut'}"


def check_count(view: View) -> str:
    """The open check among those that are asked in a row: "check 2 of 5"; "" for a single one, or for none."""
    return f"check {view.check_number} of {view.checks}" if view.checks > 1 else ""


def next_of(view: View, words: Words) -> str:
    """What comes once the pass called is cut: "then 12.02", "then saw off", "then check: dust bag"; else ""."""
    if view.mode != CUTTING or not view.pass_ or is_lost(view, words):
        return ""
    if view.next_check:
        # A check can be called "zero", which must not look like a setting.
        return f"then {view.next_check}" if view.next_check == SAW_OFF else f"then check: {view.next_check}"
    if view.next_setting is None:
        return ""
    shown = dial.big_place if dial.has_dial(words.carriage) else reading
    return f"then {shown(words.carriage, view.next_setting)}"


def unit_of(words: Words) -> str:
    """What settings are counted in: "mm", "in", "steps", or "turns + marks" of a handwheel."""
    carriage = words.carriage
    if dial.has_dial(carriage):
        return "turns + marks"
    return UNITS.get(carriage.kind, carriage.unit)


def card_of(view: View, words: Words) -> str:
    """While standing by: what to do after the mishap that was reported, "" for none."""
    return words.shown((view.card,)) if view.card and view.mode == STANDING_BY else ""


def pending_of(view: View) -> tuple[str, ...]:
    """While standing by: what waits, and what is asked before it goes on."""
    if view.mode != STANDING_BY:
        return ()
    waits = f"Pending: pass {view.pass_} of {view.passes}." if view.pass_ else "Pending: the checks of this setup."
    if view.leaves:
        waits = "Pending: this board comes out."
    elif view.cut_here == view.passes:
        waits = "Pending: the count at the end of this setup."
    first = asked_first(view)
    return (waits, *([f"Will ask first: {', '.join(first)}."] if first else []))


def asked_first(view: View) -> tuple[str, ...]:
    """What is asked before a session that stands by goes on, by name."""
    return tuple(AFTER_A_PAUSE if name == CARRYING_ON else name for name in view.asked_again)


def done_of(sight: Sight, now: datetime) -> str:
    """When it will be done, or was: "done about 15:20" while standing by, "done at 15:12" at the end; else "".

    Never while a pass may be under way: a clock beside a blade hurries.
    """
    view = sight.view
    if view is None or sight.times is None:
        return ""
    if view.mode == STANDING_BY and sight.left_s is not None:
        return f"done about {now + timedelta(seconds=sight.left_s):%H:%M} if it goes on now"
    if view.mode in (FINISHED, ENDED_EARLY) and sight.ended_utc:
        return f"{'done' if view.mode == FINISHED else 'ended'} at {clock_of(sight.ended_utc)}"
    return ""


@dataclass(frozen=True, slots=True)
class Gestures:
    """What a tap, a double tap and a long press mean now; `NOTHING` for one that does nothing."""

    tap: str
    double: str
    long: str


NOTHING = "nothing"
WHILE_HELD = "moves while held"
HALTS = "halts it"
GOES_HOME = "record, then home"
"""What a tap means while a pass is called, but the carriage is lost: the pass may have been cut before that."""
WENT_WRONG = "what went wrong"
NEXT = "next"
OLD_BLADE = "old blade on"
_MEANINGS = {
    CUTTING: Gestures("pass cut, call next", "say again", "stand by"),
    CHECKS: Gestures("say again", "say again", "confirmed"),
    QUESTION: Gestures(NOTHING, "no", "yes"),
    STANDING_BY: Gestures(WENT_WRONG, "where we are", "carry on"),
    FINISHED: Gestures(NOTHING, "say again", NOTHING),
    MOVE_ASKED: Gestures(NOTHING, "say again", WHILE_HELD),
    HALTED: Gestures(NOTHING, "say again", WHILE_HELD),
    **dict.fromkeys(MOVES, Gestures(HALTS, HALTS, HALTS)),
}
_OF_QUESTIONS: dict[QuestionName | None, Gestures] = {
    QuestionName.WHAT: Gestures(NEXT, "never mind", "say again"),
    QuestionName.SAFE: Gestures(NEXT, "no", "yes"),
    QuestionName.FIGURE: Gestures("one more", "no", "yes"),
}
"""Those to which a tap is an answer too."""
GAP = "   "  # between two hints; screens with less room split the hints there


def gestures_of(view: View, wait_s: int = 0, words: Words | None = None) -> Gestures:
    """What each gesture means now. wait_s: whole seconds until the open check can be confirmed.

    words: a driven carriage needs them.
    """
    meant = _MEANINGS.get(view.mode, Gestures(NOTHING, NOTHING, NOTHING))
    if view.mode == QUESTION:
        meant = _OF_QUESTIONS.get(view.question, meant)
        figures = dict(view.asked.figures) if view.asked else {}
        if figures.get("mishap") == Mishap.BLADE and view.question == QuestionName.FIGURE:
            return replace(meant, double=OLD_BLADE)
        if figures.get("mishap") == Mishap.BLADE and view.question == QuestionName.SAFE and figures["recalled"]:
            return replace(meant, tap="say again")
        return meant
    if view.mode == STANDING_BY and view.leaves:
        return replace(meant, tap=NOTHING)
    if words is not None:
        if is_lost(view, words):
            return Gestures(GOES_HOME, "home it", "stand by")
        if lets_by_tap(view, words):
            return replace(meant, tap="moves it")
        if by_hand(view, words):
            waits = Gestures(NOTHING, "say again", "zeroed")
            return waits if view.mode in WAITS else Gestures(NOTHING, NOTHING, NOTHING)
    return replace(meant, long=f"not for {wait_s} s yet") if wait_s and view.mode == CHECKS else meant


def hint_of(view: View, words: Words, keys: bool) -> str:
    """What the gestures do in this mode, between gaps, without those that do nothing. keys: the terminal's are read."""
    if is_moving(view, words):
        return f"any press{' or key' if keys else ''}: {HALTS}"
    meant = gestures_of(view, words=words)
    named = [("tap", meant.tap), ("double tap", meant.double), ("long press", meant.long)]
    if meant.tap == meant.double:
        named.pop(1)
    if view.mode != CUTTING:
        named.reverse()
    by_key = key_hint(view) if keys else ""
    hints = [f"{name}: {meaning}" for name, meaning in named if meaning != NOTHING]
    over = view.mode in (FINISHED, ENDED_EARLY)
    return GAP.join(filter(None, [by_key, *hints] if over else [*hints, by_key]))


def key_hint(view: View) -> str:
    """The key for what the pedal can't do now, or only tap by tap; "" for none."""
    if view.mode in (FINISHED, ENDED_EARLY):
        return "q: leave"
    return "#: type it" if view.mode == QUESTION and view.question == QuestionName.FIGURE else ""


def zone_of(view: View, words: Words) -> tuple[str, ...]:
    """What the open check wants kept clear of the blade, in capitals, a line each; () if it is about something else.

    A range alone looks like where the clamps go, so it is never shown without these words and its height.
    """
    if view.mode != CHECKS or view.asked is None:
        return ()
    figures = dict(view.asked.figures)
    asks_for_it = all(name in figures["say"] for name in ("{lowest}", "{highest}"))
    if not asks_for_it and view.check not in (CLAMPS, CLAMPS_AND_GUARD):
        return ()
    reach, above = (unbroken(text.upper()) for text in Words(words.job, figures=True).keep_clear(figures))
    return "KEEP CLEAR", reach, f"BELOW {above}"


def unbroken(figure: str) -> str:
    """Joins a whole number and its fraction: without a hyphen, "3 3/16" in big letters would read 33/16."""
    return re.sub(r"(?<=\d) (?=\d+/\d)", "-", figure)


def setup_of(view: View) -> str:
    """The setup among those that count, as `numbered` has it."""
    return numbered(view.setup, view.place, view.setups)


def word_lines(sight: Sight, room: int, now: datetime | None = None) -> WordLines:
    """The words for a sight that has a view. room: columns, 1 or more. now: the time here, None if not known."""
    view, words = sight.view, sight.words
    assert view is not None and words is not None
    optional: list[tuple[str, tuple[StyledLine, ...]]] = []
    if view.mode == CHECKS and sight.clamp:
        optional.append((sight.clamp, _plain(sight.clamp, room)))
    if sight.times is not None:
        done = done_of(sight, now) if now else ""
        times = [f"{done[:1].upper()}{done[1:]}." if done else "", *time_lines(sight.times)]
        optional += [(text, _plain(text, room)) for text in times if text]
    optional += [(entry.text, entry_lines(entry, room)) for entry in sight.opening]
    return WordLines(tuple(_required(sight, view, words, room)), tuple(optional))


def entry_lines(entry: LogEntry, room: int) -> tuple[StyledLine, ...]:
    """An entry behind its mark."""
    broken = wrapped(entry.text, room - 3)  # beside the two characters of its mark and a space
    return tuple((f"{entry.mark if n == 0 else '  '} {line}", 0) for n, line in enumerate(broken))


def asked_with(sight: Sight) -> tuple[str, str]:
    """What is asked, and what was said before it: how a resumed session begins, or a notice that was kept back."""
    view, words = sight.view, sight.words
    if view is None or words is None or not view.asked:
        return "", ""
    asked = words.shown((view.asked,))
    return (sight.asking.removesuffix(asked).strip() if sight.asking.endswith(asked) else ""), asked


def words_of_the_drive(sight: Sight) -> str:
    """What a driven carriage will do and how to let it, or how to halt it, or what to do where it is lost; else ""."""
    view, words = sight.view, sight.words
    assert view is not None and words is not None
    if is_moving(view, words):
        return what_halts(view)
    if view.mode in WAITS:
        return sight.will_move
    return NOBODY_KNOWS if is_lost(view, words) else ""


def _required(sight: Sight, view: View, words: Words, room: int) -> list[StyledLine]:
    if of_the_drive := words_of_the_drive(sight):
        return [(line, BOLD) for line in wrapped(of_the_drive, room)]
    if view.mode == CUTTING and view.pass_:
        # The number is in block letters; said once more in words, it would be there twice.
        how = drive.HOW_TO_CUT if stands_for_a_cut(view, words) else HOW_TO_CUT
        return list(_plain(how, room)) if how in sight.setting else []
    if view.mode in (FINISHED, ENDED_EARLY):
        return list(_plain(sight.closing, room))
    if view.mode == STANDING_BY:
        card = [(line, BOLD) for line in wrapped(card_of(view, words), room)]
        return [*card, *(line for text in pending_of(view) for line in _plain(text, room))]
    if not view.asked:
        return []
    before, asked = asked_with(sight)
    return [*_plain(before, room), *((line, BOLD) for line in wrapped(asked, room))]


def _plain(text: str, room: int) -> tuple[StyledLine, ...]:
    return tuple((line, 0) for line in wrapped(text, room)) if text else ()


def setting_text(view: View, words: Words) -> str:
    """What to set in one sentence, for a terminal without room for block letters."""
    carriage, approach = words.carriage, view.approach
    if is_lost(view, words):
        return CARRIAGE_LOST
    if stands_for_a_cut(view, words):
        return f"STANDS AT {reading(carriage, view.setting)} {unit_of(words)}"
    direct = approach is None or approach == view.previous
    if dial.has_dial(carriage):
        call = words.shown_call(view.setting, view.previous, approach)
        return call if direct else f"FIRST {call}"
    target = f"{reading(carriage, view.setting)} {unit_of(words)}"
    if direct:
        return f"set {target}"
    first, last = dial.ways(view.previous, approach, view.setting)
    onward = "on " if first == last else ""
    return f"FIRST {first.upper()} TO {reading(carriage, approach)}, then {onward}{last} to {target}"
