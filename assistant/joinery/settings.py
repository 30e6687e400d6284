"""Works out the carriage's setting for each pass, how the carriage shows it, and what rounding does to the joint.

With zero = "outside" the kerf lies just outside the reference edge at setting 0, so the setting of
a pass is its kerf_to. With "inside" the kerf's outer wall is flush with the edge at 0, so the
setting is its kerf_from. A greater setting moves the kerf to greater x.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from assistant.errors import Fault
from assistant.joinery.model import Carriage, CarriageKind, Pass, Zero
from assistant.joinery.passes import Cut
from assistant.joinery.units import (
    MM_PER_UNIT,
    Unit,
    at_least,
    at_most,
    format_number,
    mixed,
    plain_length,
    round_to_step,
    to_64ths,
)

# How far below a setting the carriage goes in addition to its backlash: half a turn, or this if no pitch is known.
BELOW_WITHOUT_PITCH_MM = Fraction(1, 2)
LEAST_ABOVE_MM = Fraction(1)
MOST_DECIMALS = 6


class Reads(StrEnum):
    """How a setting is read out."""

    DIGITS = "digits"
    WORDS = "words"
    FRACTIONS = "fractions"
    """Inches and 64ths."""
    TURNS = "turns"
    """Turns and marks of a handwheel."""


def exact_setting(kerf_from: Fraction, kerf_to: Fraction, carriage: Carriage) -> Fraction:
    """The setting in mm before it is rounded."""
    return kerf_from if carriage.zero == Zero.INSIDE else kerf_to


def as_passes(cuts: Iterable[Cut], carriage: Carriage) -> tuple[Pass, ...]:
    """The cuts as passes, ascending by setting and numbered from 1.

    Each setting is rounded to the resolution by itself, half to even, never relative to the one before, so that
    errors don't add up.
    """
    inside = carriage.zero == Zero.INSIDE
    ordered = sorted(cuts, key=lambda cut: cut.kerf_from if inside else cut.kerf_to)
    step = carriage.resolution
    return tuple(
        Pass(n, socket, left, right, round_to_step(left if inside else right, step))
        for n, (socket, left, right) in enumerate(ordered, 1)
    )


def travel_faults(passes: Sequence[Pass], carriage: Carriage) -> list[Fault]:
    """A fault for the settings below the travel, and another for those above. Without a limit there is none.

    With a distance piece, only what the carriage doesn't reach without it either lies above.
    """
    if carriage.travel is None:
        return []

    def shown(setting: Fraction) -> str:
        if carriage.fractions:
            return f"{reading(carriage, setting)} in"
        return plain_length(setting, carriage.unit)

    low, high = carriage.travel
    piece = carriage.distance_piece
    below = [p.setting for p in passes if p.setting < low]
    above = [p.setting for p in passes if (without_piece(p, carriage) if piece else p.setting) > high]
    mend_below = "correct carriage.travel if the carriage goes further, or zero it further from the reference edge"
    if carriage.zero == Zero.INSIDE and min(below, default=low) < 0:
        mend_below = 'use carriage.zero = "outside", which keeps the setting of a pass at the edge above zero'
    mend_above = (
        "use a narrower board, a distance piece (carriage.distance_piece), "
        "or correct carriage.travel if the carriage goes further"
    )
    faults = []
    for beyond, furthest, mend in ((below, min, mend_below), (above, max, mend_above)):
        if beyond:
            which = "a setting lies" if len(beyond) == 1 else f"{len(beyond)} settings lie"
            what = f"{which} outside the carriage's travel of {shown(low)} to {shown(high)}"
            where = "carriage.travel"
            if piece and beyond is above:
                what, where = f"{which} beyond what travel and distance piece reach together", "carriage.distance_piece"
                mend = _mend_reach(max(above), carriage)
            faults.append(Fault(what, shown(furthest(beyond)), where, mend))
    return faults


def _mend_reach(furthest: Fraction, carriage: Carriage) -> str:
    """What helps where even without the distance piece the carriage doesn't reach a setting. furthest: that setting."""
    low, high = carriage.travel or (Fraction(0), Fraction(0))
    piece, unit = carriage.distance_piece or Fraction(0), carriage.unit
    needed = furthest - high
    short = f"it is {at_least(furthest - high - piece, unit)} too far"
    largest = f"use a board that needs no setting beyond {at_most(high + piece, unit)}"
    if needed >= high - low:  # such a piece would leave a gap between the two halves
        return f"{short}, and a piece is shorter than the travel: {largest}"
    return f"{short}: use a piece of {at_least(needed, unit)} or more, or {largest.removeprefix('use ')}"


def without_piece(one: Pass, carriage: Carriage) -> Fraction:
    """The setting of this pass, mm, with the distance piece out: less by its length, rounded by itself."""
    exact = exact_setting(one.kerf_from, one.kerf_to, carriage)
    return round_to_step(exact - (carriage.distance_piece or 0), carriage.resolution)


def _room_to_come_up(carriage: Carriage) -> Fraction:
    """How far below a setting the carriage goes first, so that turning back up takes out all the screw's play."""
    turn = carriage.pitch / 2 if carriage.pitch is not None else BELOW_WITHOUT_PITCH_MM
    return carriage.backlash + turn


def _room_to_come_down(carriage: Carriage) -> Fraction:
    """How far above a setting it goes to measure the play, for which the backlash given may be too small."""
    return carriage.backlash + max(carriage.pitch or Fraction(0), LEAST_ABOVE_MM)


def approach(carriage: Carriage, previous: Fraction | None, setting: Fraction, down: bool = False) -> Fraction | None:
    """The point below `setting` to go down to before coming up to it, in mm, so that the screw's play is taken up.

    previous: the carriage's position; None at a session's first setting, when the carriage has just been zeroed.
    Returns None for an upward move, for no move, and if the travel leaves no room below the setting. Otherwise the
    point is backlash + half a turn below the setting (half a millimetre without a pitch), rounded down to the
    resolution, and never beyond the travel. down: return instead a point above to come down from, whatever the
    position: backlash + a whole turn, but at least 1 mm, since the play isn't known yet.
    """
    step = carriage.resolution
    if down:
        # -(-a // b) rounds up, so that the point is never nearer to the setting than asked.
        above = -(-(setting + _room_to_come_down(carriage)) // step) * step
        if carriage.travel is not None:
            above = min(above, carriage.travel[1] // step * step)
        return above if above > setting else None
    # Moving up, the screw already bears on the side that it will bear on at the setting.
    if setting >= (previous or 0):
        return None
    below = (setting - _room_to_come_up(carriage)) // step * step
    if carriage.travel is not None:
        # The lowest setting that lies within the travel and can be set.
        below = max(below, -(-carriage.travel[0] // step) * step)
    return below if below < setting else None


def descent_is_short(carriage: Carriage, setting: Fraction) -> bool:
    """Whether the travel leaves less room above the setting than `approach` needs, which deserves a warning."""
    above = approach(carriage, None, setting, down=True)
    return above is None or above - setting < _room_to_come_down(carriage)


def approach_is_short(carriage: Carriage, previous: Fraction | None, setting: Fraction) -> bool:
    """Whether the travel leaves less than backlash + half a turn below the setting, which deserves a warning."""
    if setting >= (previous or 0):
        return False
    point = approach(carriage, previous, setting)
    return point is None or setting - point < _room_to_come_up(carriage)


def dial(carriage: Carriage, setting: Fraction) -> tuple[int, Fraction]:
    """(full turns from zero, dial mark) of a handwheel; 0 <= mark < divisions, also below zero.

    Raises: ValueError if the carriage has no pitch or no divisions.
    """
    if carriage.pitch is None or carriage.divisions is None:
        raise ValueError("only a handwheel with a pitch and divisions has a dial")
    turns, rest = divmod(setting, carriage.pitch)
    return turns, rest / carriage.pitch * carriage.divisions


def marks(carriage: Carriage, setting: Fraction) -> Fraction:
    """Marks of a handwheel's dial from zero, to the hundredth of a mark; negative below zero. Raises as `dial` does."""
    turns, mark = dial(carriage, setting)
    return round_to_step(turns * (carriage.divisions or 1) + mark, Fraction(1, 100))


@dataclass(frozen=True, slots=True)
class Turning:
    """How far to turn a handwheel. up: towards greater settings. turns: whole turns. marks: 0 to less than a turn."""

    up: bool
    turns: int
    marks: Fraction

    @property
    def none(self) -> bool:
        return not self.turns and not self.marks


def turning(carriage: Carriage, start: Fraction, end: Fraction) -> Turning:
    """How to turn a handwheel from one setting (mm) to another, to the hundredth of a mark."""
    # From the readings as they are shown, so that start and move always add up to the end that is read out.
    moved = marks(carriage, end) - marks(carriage, start)
    turns, rest = divmod(abs(moved), carriage.divisions or 1)
    return Turning(moved >= 0, turns, rest)


def places(carriage: Carriage) -> int:
    """The decimals that a readout needs to show its resolution in its own unit.

    As many as make the resolution exact. If no number of decimals up to 6 does, the fewest
    that distinguish neighbouring settings.
    """
    step = carriage.resolution / MM_PER_UNIT[carriage.unit]
    scaled = [step * 10**count for count in range(MOST_DECIMALS + 1)]
    exact = (count for count, value in enumerate(scaled) if value.denominator == 1)
    enough = (count for count, value in enumerate(scaled) if value >= 1)
    return next(exact, next(enough, MOST_DECIMALS))


def on_64ths(carriage: Carriage) -> bool:
    """Whether it is set on a scale of whole 64ths of an inch, where every setting is a fraction."""
    return _in_inches(carriage) and (carriage.resolution / MM_PER_UNIT[Unit.INCH] * 64).denominator == 1


def _in_inches(carriage: Carriage) -> bool:
    return carriage.kind == CarriageKind.READOUT and carriage.unit == Unit.INCH


def read_as(carriage: Carriage, reads: Reads) -> Carriage:
    """The carriage, marked as read in fractions or not. reads: how the shop reads numbers (`voice.reads`).

    All that shows or says its settings follows this mark, so that it always reads the same.
    """
    return replace(carriage, fractions=_in_inches(carriage) and reads == Reads.FRACTIONS)


def in_64ths(carriage: Carriage, setting: Fraction) -> tuple[Fraction, Fraction]:
    """(the nearest 64th, what is left) in inches, the rest to the decimals of the resolution, three at least."""
    whole, parts, rest = to_64ths(setting)
    # The rest is called in thousandths of an inch unless the carriage shows finer ones.
    decimals = max(places(carriage), 3)
    return whole + Fraction(parts, 64), round(rest / MM_PER_UNIT[Unit.INCH], decimals)


def reading(carriage: Carriage, setting: Fraction) -> str:
    """The setting as this carriage shows it, without a unit.

    readout: fixed decimals in its unit, "12.35"; read in fractions "1 3/8", between two 64ths "1 3/8 + 0.002".
    handwheel: turns and mark from zero, "6 turns + 43"; below zero also what the dial reads there, "25 marks below
    zero, mark 75". steps: the whole number of steps from zero, "4940".
    """
    if carriage.kind == CarriageKind.STEPS:
        return str(round(setting / carriage.resolution))
    if carriage.kind == CarriageKind.HANDWHEEL:
        return _dial_reading(carriage, setting)
    if carriage.fractions:
        nearest, rest = in_64ths(carriage, setting)
        if not rest:
            return mixed(nearest)
        return f"{mixed(nearest)} {'-' if rest < 0 else '+'} {format_number(abs(rest), MOST_DECIMALS).rstrip('0')}"
    return format_number(setting / MM_PER_UNIT[carriage.unit], places(carriage))


def mark_text(marks: Fraction) -> str:
    """Marks in figures, to the hundredth: "43", "43.5"."""
    text = format_number(marks, 2)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _dial_reading(carriage: Carriage, setting: Fraction) -> str:
    away = turning(carriage, Fraction(0), setting)
    turns = f"{away.turns} turn{'' if away.turns == 1 else 's'}"
    if away.up:
        return f"{turns} + {mark_text(away.marks)}"
    rest = f"{mark_text(away.marks)} mark{'' if away.marks == 1 else 's'}"
    amount = " + ".join([*([turns] if away.turns else []), *([rest] if away.marks else [])])
    return f"{amount} below zero, mark {mark_text(marks(carriage, setting) % (carriage.divisions or 1))}"


def rounding_report(
    passes: Sequence[Pass], carriage: Carriage, clearance: Fraction, *, width: Fraction | None = None
) -> tuple[Fraction, Fraction]:
    """(greatest |rounded - exact| setting, clearance left at worst), both mm.

    passes: those of part A followed by those of part B (each numbered from 1), or of one part,
    whose mate is then taken as exact. A part given twice counts once. width: the board's, which
    distinguishes the far edge from a wall. Without it the report may be worse than the joint.

    A setting rounded by e moves the whole kerf by e. A socket's first pass makes its left wall,
    its last pass its right wall. At the nominal wall x one part's socket ends (right wall, moved
    by r) and the other's begins (left wall, moved by l), so the glue gap there is
        gap(x) = c/2 + r - l.
    Along the board the gaps face left and right in turn. Sliding a part sideways opens all gaps
    of one kind by as much as it closes those of the other, so the tightest place is left with
        min(gaps facing left) + min(gaps facing right),
    never less than c - 4 times the greatest error. Below zero the joint doesn't go together by
    hand. With a single wall it is twice that gap.
    """
    greatest = max((abs(rounding_error(p, carriage)) for p in passes), default=Fraction(0))
    gaps = _gaps_at_walls(passes, carriage, clearance, width)
    if not gaps:
        return greatest, clearance
    ordered = [gap for _, gap in sorted(gaps.items())]
    one_way = min(ordered[::2])
    other_way = min(ordered[1::2], default=one_way)
    return greatest, one_way + other_way


def rounding_error(one: Pass, carriage: Carriage) -> Fraction:
    """How far the kerf lies from where it was laid out, mm, because the setting is rounded."""
    return one.setting + one.shift - exact_setting(one.kerf_from, one.kerf_to, carriage)


def _gaps_at_walls(
    passes: Sequence[Pass], carriage: Carriage, clearance: Fraction, width: Fraction | None
) -> dict[Fraction, Fraction]:
    """Nominal inner wall -> the gap left there, mm."""
    left: dict[Fraction, Fraction] = {}
    right: dict[Fraction, Fraction] = {}
    # A pass lies at its part's opened wall. The nominal wall, which both parts share, is c/4 away.
    for first, last in _outermost_passes(passes):
        # A socket at the board's edge has one wall only: its pass there reaches the edge or runs past it.
        if first.kerf_from > 0:
            left[first.kerf_from + clearance / 4] = rounding_error(first, carriage)
        if width is None or last.kerf_to < width:
            right[last.kerf_to - clearance / 4] = rounding_error(last, carriage)
    nothing = Fraction(0)
    return {x: clearance / 2 + right.get(x, nothing) - left.get(x, nothing) for x in left.keys() | right.keys()}


def _outermost_passes(passes: Iterable[Pass]) -> Iterator[tuple[Pass, Pass]]:
    """(first pass, last pass) of every socket. Where the numbering starts over, another part begins."""
    first: Pass | None = None
    last: Pass | None = None
    for one in passes:
        if first is None or last is None or not _in_same_socket(last, one):
            if first is not None and last is not None:
                yield first, last
            first = one
        last = one
    if first is not None and last is not None:
        yield first, last


def widest_fin(passes: Iterable[Pass], carriage: Carriage) -> Fraction:
    """The widest fin, in mm, that rounding leaves standing between two passes of a socket; 0 if they clear it all.

    It can be over 0 only if the resolution is coarser than the overlap. In an overrun it may
    lie beyond the board's edge, where there is no wood.
    """
    widest = Fraction(0)
    before: Pass | None = None
    for one in passes:
        if before is not None and _in_same_socket(before, one):
            widest = max(widest, _really_cut(one, carriage)[0] - _really_cut(before, carriage)[1])
        before = one
    return widest


def widest_edge_fin(passes: Iterable[Pass], carriage: Carriage, width: Fraction) -> Fraction:
    """The widest fin, in mm, that rounding leaves in a socket at either edge of the board; 0 if there is none.

    It is at most half a resolution, and an overrun of that much leaves none.
    """
    widest = Fraction(0)
    for one in passes:
        left, right = _really_cut(one, carriage)
        if one.kerf_from <= 0:
            widest = max(widest, left)
        if one.kerf_to >= width:
            widest = max(widest, width - right)
    return widest


def _really_cut(one: Pass, carriage: Carriage) -> tuple[Fraction, Fraction]:
    moved = rounding_error(one, carriage)
    return one.kerf_from + moved, one.kerf_to + moved


def _in_same_socket(before: Pass, one: Pass) -> bool:
    """Whether `one` follows `before` in the same socket of the same part."""
    return one.socket == before.socket and one.number == before.number + 1
