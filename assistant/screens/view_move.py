"""A driven carriage on the screens: what it is to do, does or has done, and where it is within its travel.

While it moves nothing here may look like a number to cut at. A number is shown as where it stands only when it does.
"""

from __future__ import annotations

from fractions import Fraction

from assistant.joinery.model import Home
from assistant.joinery.units import plain_length, round_to_step
from assistant.plans.intents import Mode
from assistant.screens.view_cells import width
from assistant.session.effects import View
from assistant.session.kinds import MoveKind
from assistant.session.state import CUTTING, HALTED, HOMING, MOVE_ASKED, MOVING
from assistant.wording import dial
from assistant.wording.prompts import Words

MOVES = (HOMING, MOVING)
WAITS = (MOVE_ASKED, HALTED)
OF_THE_DRIVE: tuple[Mode, ...] = (*WAITS, *MOVES)
"""The modes that only a driven carriage has."""
CARRIAGE_LOST = "CARRIAGE LOST"
NOW = "now"
UP_ARROW, DOWN_ARROW = "↑", "↓"
CARRIAGE, TARGET, TRACK, ENDS = "█", "┼", "─", "├┤"
LEAST_TRACK = 10  # columns of a travel that says anything


def is_driven(words: Words) -> bool:
    return words.carriage.drive is not None


def is_lost(view: View, words: Words) -> bool:
    """Whether a pass is called, but the carriage isn't known to stand at its setting."""
    return is_driven(words) and view.mode == CUTTING and bool(view.pass_) and view.stands != view.setting


def calls_a_pass(view: View, words: Words) -> bool:
    """Whether a pass is called, and may be cut where the carriage stands or is to be set."""
    return view.mode == CUTTING and bool(view.pass_) and not is_lost(view, words)


def stands_for_a_cut(view: View, words: Words) -> bool:
    """Whether a driven carriage stands at the setting of the pass that is called."""
    return is_driven(words) and view.mode == CUTTING and bool(view.pass_) and view.stands == view.setting


def lets_by_tap(view: View, words: Words) -> bool:
    """Whether a tap lets what is proposed move, as `session.driven.by_tap` decides it."""
    drive, move = words.carriage.drive, view.move
    return drive is not None and drive.clear_input and view.mode == MOVE_ASKED and move is not None and move.step


def by_hand(view: View, words: Words) -> bool:
    """Whether this is zeroing by hand: nothing moves then."""
    drive, move = words.carriage.drive, view.move
    homes = move is not None and move.what == MoveKind.HOME
    return drive is not None and drive.home == Home.BY_HAND and homes and view.mode in OF_THE_DRIVE


def is_moving(view: View, words: Words) -> bool:
    """Whether a driven carriage moves, or is about to."""
    return view.mode in MOVES and not by_hand(view, words)


def goes_up(view: View) -> bool:
    """The direction in which it sets out."""
    move = view.move
    if move is None or move.to is None:
        return False
    return view.reported is None or move.to >= view.reported


def rounded(words: Words, at: Fraction) -> Fraction:
    """A reported place to the nearest that the carriage can show."""
    return round_to_step(at, words.carriage.resolution)


def place(words: Words, at: Fraction) -> str:
    """A place as the carriage shows it, in figures, to the nearest that it can show."""
    return Words(words.job, figures=True).position(rounded(words, at))


def way(view: View, words: Words) -> str:
    """Which way and where to, in lower case: "up to 15.44", "down to home"; "" if nothing is to move."""
    move = view.move
    if move is None or by_hand(view, words):
        return ""
    to = "home" if move.to is None else place(words, move.to)
    return f"{'up' if goes_up(view) else 'down'} to {to}"


def where_it_is(view: View, live: Fraction | None) -> Fraction | None:
    """Where the carriage is, mm; None if nobody knows. live: what it reports while it moves."""
    if view.mode in MOVES:
        return live
    return view.reported if view.stands is None else view.stands


def has_a_track(view: View, words: Words) -> bool:
    """Whether the carriage is shown in its travel: while it matters where it is."""
    shown = view.mode in OF_THE_DRIVE or (view.mode == CUTTING and bool(view.pass_))
    return is_driven(words) and words.carriage.travel is not None and shown


def place_text(words: Words, at: Fraction | None, moves: bool) -> str:
    """Where it is, in words: "now 5.12" while it moves, so that nobody takes it for where it stands."""
    if at is None:
        return "place not known"
    short = dial.big_place(words.carriage, rounded(words, at)) if dial.has_dial(words.carriage) else place(words, at)
    return f"{NOW if moves else 'at'} {short}"


def track(view: View, words: Words, live: Fraction | None, columns: int) -> str:
    """The carriage and its target in its travel: "0 ├──█────┼──┤ 300   now 14.20"; "" without a drive.

    live: as in `where_it_is`.
    """
    travel = words.carriage.travel
    if travel is None or not has_a_track(view, words):
        return ""
    at = where_it_is(view, live)
    low, high = ends_of(words)
    text = place_text(words, at, is_moving(view, words))
    room = columns - width(f"{low} {ENDS} {high}   {text}")
    if room < LEAST_TRACK:
        return cut_short(text, columns)
    cells = [TRACK] * room
    for sign, here in ((TARGET, target_of(view)), (CARRIAGE, at)):
        if here is not None:
            share = along(here, travel)
            cells[min(room - 1, int(share * room))] = sign
    return f"{low} {ENDS[0]}{''.join(cells)}{ENDS[1]} {high}   {text}"


def cut_short(text: str, columns: int) -> str:
    return text if width(text) <= columns else ""


def ends_of(words: Words) -> tuple[str, str]:
    """The ends of the travel, roughly, in the carriage's unit; "" without."""
    travel = words.carriage.travel
    if travel is None:
        return "", ""
    unit = words.carriage.unit
    low, high = (plain_length(end, unit, 2).removesuffix(unit).rstrip() for end in travel)
    return low, high


def target_of(view: View) -> Fraction | None:
    """Where it is to go, or the setting of the pass that is called; None on the way home."""
    return view.setting if view.mode == CUTTING else None if view.move is None else view.move.to


def along(at: Fraction, travel: tuple[Fraction, Fraction]) -> float:
    """Where a place is in the travel, from 0 to 1."""
    low, high = travel
    return min(1.0, max(0.0, float((at - low) / (high - low)))) if high > low else 0.0


def what_halts(view: View) -> str:
    """What to do to halt it, while it moves."""
    if view.move is not None and view.move.held:
        return "It moves. Let go of the pedal to halt it; any key halts it too. Hands off."
    return "It moves. Any press of the pedal and any key halt it. Hands off."
