"""What the thing to do is, for block letters: the setting, the check or question with its figure, or the mode."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from assistant.joinery.halves import Half
from assistant.joinery.settings import reading
from assistant.plans.mishaps import Mishap
from assistant.screens import view_letters as letters
from assistant.screens.view_move import (
    DOWN_ARROW,
    MOVES,
    NOW,
    UP_ARROW,
    WAITS,
    by_hand,
    goes_up,
    is_lost,
    lets_by_tap,
    rounded,
    stands_for_a_cut,
)
from assistant.screens.view_words import next_of, unbroken, unit_of, zone_of
from assistant.session.effects import View
from assistant.session.kinds import MoveKind, QuestionName
from assistant.session.state import CHECKS, CUTTING, ENDED_EARLY, FINISHED, HALTED, STANDING_BY
from assistant.wording import dial
from assistant.wording.prompts import Words

# Standing by begins with what must be done at once.
HEADINGS = {STANDING_BY: ("STANDING BY", "SAW OFF"), FINISHED: ("ALL CUT",), ENDED_EARLY: ("ENDED EARLY",)}
STANDS = "STANDS AT"
"""Above where a driven carriage has arrived."""
QUESTIONS = {
    QuestionName.BACK: "BACK TO {pass_}?",
    QuestionName.GO_TO: "GO TO {pass_}?",
    QuestionName.END: "END IT?",
    QuestionName.CARRIAGE: "UNTOUCHED?",
    QuestionName.ZEROED: "ZEROED?",
    QuestionName.CLAMPED: "STILL CLAMPED?",
    QuestionName.REGISTERED: "CLAMPED AGAIN?",
    QuestionName.MOVE: "START IT?",
    QuestionName.OFF: "GO ON?",
    QuestionName.BOARD: "NEXT BOARD?",
    QuestionName.CUT_OFF: "CUT IT AGAIN?",
    QuestionName.SOCKET: "CUT {pass_} AGAIN?",
    QuestionName.SPOILT: "SPOILT?",
    QuestionName.COPY: "ONE MORE?",
    QuestionName.WHAT: "WHAT WENT",
    QuestionName.SURE: "PASS {pass_} GOOD?",
    QuestionName.WHICH: "PASS {pass_}?",
    QuestionName.OLD_BLADE: "OLD BLADE",
    QuestionName.SIDE: "TOO NEAR",
    QuestionName.VERDICT: "CARRY ON?",
    QuestionName.LOWERED: "HEIGHT CHANGED?",
    QuestionName.TOUCHED: "TOUCHED?",
}
_MISHAPS = {Mishap.SHALLOW: "too shallow", Mishap.TRIPPED: "tripped", Mishap.KERF: "new kerf", Mishap.BREAK: "a break"}
"""What is read from afar where it isn't the mishap's own word, which would be too long or look like another."""
_VERDICTS = {
    Mishap.SHALLOW: "CUT AGAIN?",
    Mishap.DEEP: "CUT TO",
    Mishap.MISSED: "GO TO {figure}?",
    Mishap.KERF: "NEW KERF?",
    Mishap.BLADE: "NEW KERF?",
    Mishap.CUPPED: "CLAMPS FLAT?",
    Mishap.CHIPPED: "MENDED?",
    Mishap.SWAPPED: "SAME SIZE?",
}
_FIGURES = {Mishap.MISPLACED: "OFF BY", Mishap.DEEP: "TOO DEEP BY", Mishap.MISSED: "MISSED PASS"}
"""What a figure is of; else of a kerf."""


@dataclass(frozen=True, slots=True)
class Heading:
    """What the block letters say.

    left: lines in capitals, all of one size. right: beside them, smaller. unit: of the figures, beside them. then: what
    comes next, small. alone: which of the left lines stays if there is room for only one. whole: the lines are shown
    together or not at all. shorter: what may be shown in their place where they are too wide. above: a line over them,
    in letters half as large, without which they are not shown.
    """

    left: tuple[str, ...]
    right: str = ""
    unit: str = ""
    then: str = ""
    alone: int = 0
    whole: bool = False
    shorter: tuple[str, ...] = ()
    above: str = ""


def heading_of(view: View, words: Words, wait_s: int = 0) -> Heading:
    """The called setting with its unit; else the open check or question with its figure; else the mode.

    wait_s: until the open check can be confirmed.
    """
    if view.move is not None and view.mode in (*MOVES, *WAITS):
        return _of_a_move(view, words)
    if is_lost(view, words):
        return Heading(("CARRIAGE", "LOST"), whole=True)
    if stands_for_a_cut(view, words):
        lines = _place_lines(words, view.setting)
        return Heading(lines, "", unit_of(words), next_of(view, words), whole=True, above=STANDS)
    if view.mode == CUTTING and view.pass_:
        lines = big_setting(view, words)
        # The second of two moves without the first is wrong, and so is what is left beyond a 64th without the rest.
        # Where a plain move ends means something alone.
        plain_move = dial.has_dial(words.carriage) and not _in_two_moves(view)
        whole = len(lines) > 1 and not plain_move
        # On a scale, unlike on a dial, two places in their order are enough.
        shorter = (
            () if dial.has_dial(words.carriage) else tuple(re.sub(r" (UP|DOWN) TO ", " TO ", one) for one in lines)
        )
        return Heading(lines, "", unit_of(words), next_of(view, words), alone=-1, whole=whole, shorter=shorter)
    asked = dict(view.asked.figures) if view.asked else {}
    if view.question is not None:
        mishap: Any = asked.get("mishap")
        name = QUESTIONS.get(view.question, view.question.upper() + "?").format(pass_=asked.get("pass_", ""))
        if view.question == QuestionName.SAFE:
            name = f"{letters.plain_capitals(_MISHAPS.get(mishap, mishap))}?"
        elif view.question == QuestionName.REGISTERED and asked["moved"]:
            name = "TRIED?"  # it is clamped still, or the carriage is what moved
        elif view.question == QuestionName.WHICH and mishap == Mishap.SWAPPED:
            name = "THAT BOARD?"
        elif view.question == QuestionName.VERDICT:
            name = _VERDICTS.get(mishap, name).format(figure=asked["figure"])
        elif view.question == QuestionName.FIGURE:
            name = f"{_FIGURES.get(mishap, 'KERF')}{'' if asked['figure'] or 'kerf' in asked else '?'}"
        figure = _question_figure(view, words, asked)
        return Heading((name, figure) if figure else (name,))
    if view.mode == CHECKS and view.check:
        zone = zone_of(view, words)
        if zone:
            # The unit stands with the height as well.
            name, reach, below = zone
            return Heading(zone, whole=True, shorter=(name, reach.rpartition(" ")[0], below))
        figure = check_figure(words, asked)
        name = letters.plain_capitals(view.check)
        return Heading((name, figure) if figure else (name,), f"WAIT {wait_s}" if wait_s else "")
    if view.card and view.mode == STANDING_BY:
        return Heading(HEADINGS[STANDING_BY][-1:])  # its state is in the head, and what to do needs the room
    return Heading(HEADINGS.get(view.mode, (letters.plain_capitals(view.mode),)), alone=-1)


def _of_a_move(view: View, words: Words) -> Heading:
    """What a driven carriage does, or what lets it: the gesture or where it was halted, then which way and where to."""
    move = view.move
    assert move is not None
    if by_hand(view, words):
        return Heading(("SAW OFF", "ZERO IT", "BY HAND") if view.mode in WAITS else ("ZEROING",), whole=True)
    way, to = ("UP", UP_ARROW) if goes_up(view) else ("DOWN", DOWN_ARROW)
    target = "HOME" if move.to is None else big_place(words, move.to)
    if view.mode in MOVES:
        return Heading((f"{to} MOVES {way}", f"TO {target}"), whole=True)
    if view.mode == HALTED and view.reported is not None:
        lines = (f"HALTED {big_place(words, rounded(words, view.reported))}", "HOLD PEDAL", f"{way} TO {target}")
        return Heading(lines, "" if move.step else "SAW OFF", whole=True)
    what = "TAP" if lets_by_tap(view, words) else "HOLD PEDAL"
    return Heading((*(() if move.step else ("SAW OFF",)), what, f"{way} TO {target}"), whole=True)


def with_position(heading: Heading, words: Words, at: Fraction) -> Heading:
    """With where the carriage is while it moves: smaller, beside where it goes."""
    return replace(heading, right=f"{NOW.upper()} {big_place(words, rounded(words, at))}")


def _question_figure(view: View, words: Words, asked: dict[str, Any]) -> str:
    """What the open question is about, as a second line; "" for none."""
    if view.question == QuestionName.CARRIAGE:
        return big_place(words, asked["carriage_at"])
    if view.question == QuestionName.MOVE:
        if asked["what"] != MoveKind.SETTING:
            return "DOWN TO HOME"
        return f"{'DOWN' if asked['down'] else 'UP'} TO {big_place(words, asked['to'])}"
    if view.question == QuestionName.OFF and asked["off_by"] is not None:
        amount = Words(words.job, figures=True).length(abs(asked["off_by"]))
        return letters.plain_capitals(f"{'over ' if asked['beyond'] else ''}{amount} off")
    if view.question == QuestionName.OFF:
        return "HOME IS OFF"
    return _figure_of_a_mishap(view.question, words, asked) if "mishap" in asked else ""


def _figure_of_a_mishap(question: QuestionName | None, words: Words, asked: dict[str, Any]) -> str:
    mishap, figures = asked["mishap"], Words(words.job, figures=True)
    match question:
        case QuestionName.WHAT:
            return "WRONG?"
        case QuestionName.SAFE:
            return {Mishap.OVERSHOT: "STILL UNCUT?", Mishap.KERF: ""}.get(mishap, "PLUG OUT?")
        case QuestionName.OLD_BLADE:
            return "BACK ON?"
        case QuestionName.SIDE:
            return "THE EDGE?"
        case QuestionName.FIGURE if mishap == Mishap.MISSED and asked["figure"]:
            return f"{asked['figure']}?"
        case QuestionName.FIGURE if "kerf" in asked:
            return letters.plain_capitals(f"{figures.exactly(asked['kerf'])}?")
        case QuestionName.FIGURE if asked["figure"]:
            length = next(asked[name] for name in ("off_by", "proud") if name in asked)
            return letters.plain_capitals(f"{figures.length(length)}?")
        case QuestionName.VERDICT if mishap in (Mishap.SHALLOW, Mishap.DEEP):
            asks = "?" if mishap == Mishap.DEEP else ""
            return letters.plain_capitals(f"{figures.depth(asked['depth'])}{asks}")
        case QuestionName.VERDICT if "kerf" in asked:
            return letters.plain_capitals(figures.exactly(asked["kerf"]))
    return ""


def _place_lines(words: Words, setting: Fraction) -> tuple[str, ...]:
    """A place, with what is left beyond a 64th below it."""
    return tuple(re.sub(r" (?=[+-] )", "\n", big_place(words, setting)).split("\n"))


def big_setting(view: View, words: Words) -> tuple[str, ...]:
    """What to set, a line each.

    Two moves in their order: "1 DOWN TO 11.68", "2 UP TO 12.18". For a handwheel's plain move the move and where it
    ends, in turns and marks: "UP 1+22", "TO 9+21"; else the setting as the carriage shows it, with what is left beyond
    a 64th below it: "1-3/8", "+ 0.002".
    """
    carriage, start = words.carriage, view.previous or Fraction(0)
    if _in_two_moves(view):
        first, last = dial.ways(view.previous, view.approach, view.setting)
        moves = ((first, view.approach), (last, view.setting))
        return tuple(f"{n} {way.upper()} TO {big_place(words, place)}" for n, (way, place) in enumerate(moves, 1))
    if not dial.has_dial(carriage):
        return _place_lines(words, view.setting)
    return dial.big_move(carriage, start, view.setting), f"TO {big_place(words, view.setting)}"


def _in_two_moves(view: View) -> bool:
    return view.approach is not None and view.approach != (view.previous or Fraction(0))


def big_place(words: Words, setting: Any) -> str:
    """As the carriage shows it; for a handwheel without words: full turns, then the mark."""
    if dial.has_dial(words.carriage):
        return dial.big_place(words.carriage, setting)
    return unbroken(reading(words.carriage, setting))


def check_figure(words: Words, asked: dict[str, Any]) -> str:
    """The figure that a check asks for, in capitals; "" if it asks for none."""
    figures = Words(words.job, figures=True)
    if "{depth}" in asked.get("say", ""):
        return letters.plain_capitals(figures.depth(asked["depth"]))
    if "{sockets}" in asked.get("say", ""):
        return f"COUNT {asked['sockets']}" + " + 1 BEGUN" * asked["begun"]
    if "{piece}" in asked.get("say", ""):
        if asked.get("half") == Half.PIECE_OUT:
            return "OUT"
        return letters.plain_capitals(figures.length(words.carriage.distance_piece or Fraction(0)))
    return ""
