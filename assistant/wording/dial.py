"""How a handwheel setting is said and shown: the move, then the mark that proves it.

A dial shows marks but no turns, so a mark alone could be a whole turn off. The move gives both as cardinals. The mark
where it ends follows digit by digit and comes last. A count of turns that could be misheard is said in digits too.
"Up" means towards greater settings, "down" towards smaller ones. Places are counted from zero: "turn nine, mark two
one". Below zero they are "twenty-nine marks below zero, mark seven one".
"""

from __future__ import annotations

from fractions import Fraction

from assistant.joinery.model import Carriage, CarriageKind
from assistant.joinery.settings import Turning, mark_text, marks, reading, turning
from assistant.wording.numbers import safe_count, spoken_digits, spoken_number

ZERO = Fraction(0)


def has_dial(carriage: Carriage) -> bool:
    """Whether the carriage has a dial, so that its settings are called as moves."""
    return carriage.kind == CarriageKind.HANDWHEEL and carriage.pitch is not None and carriage.divisions is not None


def ways(previous: Fraction | None, approach: Fraction, setting: Fraction) -> tuple[str, str]:
    """The two directions, "up" or "down": to the approach point, and from there to the setting.

    Both are the same where the approach point isn't past the setting. previous: where the carriage stands, mm; None
    for zero.
    """
    first = "up" if approach > (previous or ZERO) else "down"
    return first, "up" if setting > approach else "down"


def spoken_call(
    carriage: Carriage, setting: Fraction, previous: Fraction | None, approach: Fraction | None, full: bool
) -> str:
    """What to dial to get from `previous` to `setting` by way of `approach`, mm.

    previous: None where nothing has been dialled since zero. full: give both ends with their turns, for when nobody
    knows whether the wheel has been turned already.
    """
    full = full or previous is None
    start = previous or ZERO
    begin = f"from {spoken_place(carriage, start) if marks(carriage, start) else 'zero'}: " if full else ""
    if approach is None or not _turned(carriage, start, approach):
        return begin + _spoken_leg(carriage, start, setting, full)
    first, last = ways(start, approach, setting)
    past, onward = (", past it", "") if first != last else ("", "on ")
    # The mark where the first move ends is not said, since it could be taken for the setting.
    amount = _spoken_amount(turning(carriage, start, approach), full)
    return f"{begin}{first} {amount}{past}; then {onward}{_spoken_leg(carriage, approach, setting, full)}"


def spoken_place(carriage: Carriage, setting: Fraction) -> str:
    """A place by turn and mark: "turn nine, mark two one"; "one turn and two marks below zero, mark nine eight"."""
    away = turning(carriage, ZERO, setting)
    if away.up:
        return f"turn {safe_count(away.turns)}, {_spoken_mark(carriage, setting)}"
    return f"{_spoken_amount(away, False)} below zero, {_spoken_mark(carriage, setting)}"


def spoken_reading(carriage: Carriage, setting: Fraction) -> str:
    """The dial's mark at a setting, and how far up it is: "mark four three, ten turns up"."""
    return f"{_spoken_mark(carriage, setting)}, {far_up(carriage, setting, figures=False)}"


def shown_reading(carriage: Carriage, setting: Fraction) -> str:
    """`spoken_reading` in figures: "mark 43, 10 turns up"."""
    return f"mark {_mark(carriage, setting)}, {far_up(carriage, setting, figures=True)}"


def shown_call(carriage: Carriage, setting: Fraction, previous: Fraction | None, approach: Fraction | None) -> str:
    """The move and where it ends, in figures: "up 1 turn + 22 marks to 9 turns + 21".

    With an approach point: "down 2 turns to 7 turns + 21, past it, then up 1 turn to ...".
    """
    start = previous or ZERO
    if approach is None or not _turned(carriage, start, approach):
        return _shown_leg(carriage, start, setting)
    first, last = ways(start, approach, setting)
    past, onward = (", past it", "") if first != last else ("", "on ")
    begin = _shown_leg(carriage, start, approach)
    return f"{begin}{past}, then {onward}{_shown_leg(carriage, approach, setting)}"


def shown_move(carriage: Carriage, start: Fraction, end: Fraction) -> str:
    """The move alone, in figures: "up 1 turn + 22 marks"; "stay" where there is none."""
    move = turning(carriage, start, end)
    return f"{_way(move)} {_shown_amount(move)}" if not move.none else "stay"


def big_move(carriage: Carriage, start: Fraction, end: Fraction) -> str:
    """The move in turns and marks for block letters: "UP 1+22"; "STAY" where there is none."""
    move = turning(carriage, start, end)
    return f"{_way(move).upper()} {_in_short(move)}" if not move.none else "STAY"


def big_place(carriage: Carriage, setting: Fraction) -> str:
    """A place for block letters: turns from zero and mark, "9+21"; below zero, turns and marks down: "-1-29", "-29"."""
    away = turning(carriage, ZERO, setting)
    if away.up:
        return _in_short(away)
    return (f"-{away.turns}" if away.turns else "") + (f"-{mark_text(away.marks)}" if away.marks else "")


def _turned(carriage: Carriage, start: Fraction, end: Fraction) -> bool:
    return not turning(carriage, start, end).none


def _way(move: Turning) -> str:
    return "up" if move.up else "down"


def _spoken_leg(carriage: Carriage, start: Fraction, end: Fraction, full: bool) -> str:
    move, to = turning(carriage, start, end), _spoken_end(carriage, end, full)
    return f"stay at {to}" if move.none else f"{_way(move)} {_spoken_amount(move, full)}, to {to}"


def _spoken_end(carriage: Carriage, setting: Fraction, full: bool) -> str:
    """Where a move ends. Above zero a short call gives the mark alone, since the move has counted the turns."""
    short = not full and marks(carriage, setting) >= 0
    return _spoken_mark(carriage, setting) if short else spoken_place(carriage, setting)


def _spoken_amount(move: Turning, full: bool) -> str:
    """Turns and marks in words. full: without the word "marks" after turns, since the sentence is long enough."""
    count = spoken_number(mark_text(move.marks))
    noun = " mark" if move.marks == 1 else "" if full and move.turns else " marks"
    parts = [f"{safe_count(move.turns)} turn{_plural(move.turns)}"] if move.turns else []
    return " and ".join([*parts, *([f"{count}{noun}"] if move.marks else [])])


def _spoken_mark(carriage: Carriage, setting: Fraction) -> str:
    return f"mark {spoken_digits(_mark(carriage, setting))}"


def _mark(carriage: Carriage, setting: Fraction) -> str:
    return mark_text(marks(carriage, setting) % (carriage.divisions or 1))


def other_place_of_mark(carriage: Carriage, setting: Fraction, previous: Fraction | None) -> Fraction | None:
    """`previous` (None for zero), mm, where the dial reads there as it does at `setting`, whole turns away: else None.

    Whoever reads the mark can't tell then whether the wheel has been turned.
    """
    before = previous or ZERO
    move = turning(carriage, before, setting)
    return before if move.turns and not move.marks else None


def far_up(carriage: Carriage, setting: Fraction, figures: bool) -> str:
    """How far a place is from zero, in turns: "ten turns up", "at zero"; the marks below one turn are left out."""
    away = turning(carriage, ZERO, setting)
    if not away.up:
        return f"{_shown_amount(away) if figures else _spoken_amount(away, False)} below zero"
    if not away.turns:
        return "less than a turn up" if away.marks else "at zero"
    return f"{away.turns if figures else safe_count(away.turns)} turn{_plural(away.turns)} up"


def _shown_leg(carriage: Carriage, start: Fraction, end: Fraction) -> str:
    move = turning(carriage, start, end)
    way = "stay at" if move.none else f"{_way(move)} {_shown_amount(move)} to"
    return f"{way} {reading(carriage, end)}"


def _shown_amount(move: Turning) -> str:
    parts = [f"{move.turns} turn{_plural(move.turns)}"] if move.turns else []
    rest = f"{mark_text(move.marks)} mark{_plural(move.marks)}"
    return " + ".join([*parts, *([rest] if move.marks or not parts else [])])


def _in_short(move: Turning) -> str:
    return f"{move.turns}+{mark_text(move.marks)}"


def _plural(count: int | Fraction) -> str:
    return "" if count == 1 else "s"
