"""Lays out lined joints: contrasting wood along every socket wall and under the socket, in two stages.

Stage 1 opens the sockets of the lined part and cuts a blank that mates with them. Once the glue is dry
and the blank is cut off at the board's end, stage 2 cuts the final sockets into the lining.
Lengths: Fraction, mm; x = 0 at the reference edge, y = 0 at the board's end.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, StrEnum, auto
from fractions import Fraction
from typing import NamedTuple

from assistant.errors import BadInput, Fault
from assistant.joinery.layout import mate
from assistant.joinery.model import Segment
from assistant.joinery.units import Unit, at_least, at_most, plain_length
from assistant.joinery.walls import number_list

# The least of the board's own wood that an edge finger must keep, so that it doesn't break off: common practice.
EDGE_FINGER_MM = Fraction(3)
# The blank's fingers are longer than the opened sockets are deep, so that their tips seat.
TIP_MM = Fraction(1, 2)
BLANK_LENGTH_MM = Fraction(200)  # for clamping
PARTS = ("A", "B")


@dataclass(frozen=True, slots=True)
class Lining:
    """The lining of a joint. thickness: t, of the finished lines and bottoms, mm, over 0. parts: those lined.

    glue_clearance: c1, socket minus finger when the blank is glued in, mm, >= 0.
    """

    thickness: Fraction
    parts: tuple[str, ...] = ("A",)
    glue_clearance: Fraction = Fraction(6, 100)

    @property
    def wall(self) -> Fraction:
        """The lining on each wall, mm: t, or t/2 if both parts are lined and two linings make one line."""
        return self.thickness / 2 if len(set(self.parts)) == 2 else self.thickness


@dataclass(frozen=True, slots=True)
class Stages:
    """What is cut for one lined part. Stage 1: `opened` in the board, `blank` in the blank. Stage 2: `final`.

    Segments include every clearance, ready for `pattern.pattern`. Depths are measured from the end.
    A blank has the board's width and thickness, the grain lengthwise and a length of at least `BLANK_LENGTH_MM`. Each
    lined board end needs one.
    """

    part: str
    opened: tuple[Segment, ...]
    opened_depth: Fraction
    blank: tuple[Segment, ...]
    blank_depth: Fraction
    final: tuple[Segment, ...]
    final_depth: Fraction


class Material(StrEnum):
    BOARD = "board"
    LINING = "lining"
    GLUE = "glue"
    REMOVED = "removed"


@dataclass(frozen=True, slots=True)
class EndRegion:
    """A rectangle of the finished end."""

    material: Material
    x_from: Fraction
    x_to: Fraction
    y_from: Fraction
    y_to: Fraction


def stages(
    final: Mapping[str, Sequence[Segment]],
    depths: Mapping[str, Fraction],
    lining: Lining,
    kerf: Fraction,
    *,
    unit: Unit = Unit.MM,
) -> tuple[Stages, ...]:
    """The stages of each lined part, A before B; the other part is cut in stage 2 as usual.

    final: segments by part after `walls.open_walls`. depths: final depth by part. kerf: mm.
    Final sockets narrower than the kerf are reported by `passes.cuts`, with those of the other part.
    unit: for messages only.

    Raises: BadInput, all faults at once, each with a way to make it possible.
    """
    faults = _lining_faults(lining, unit)
    if not faults:
        for part in sorted(set(lining.parts)):
            faults += _narrow_faults(part, final[part], lining, kerf, unit)
    if faults:
        raise BadInput(faults)
    found = []
    for part in sorted(set(lining.parts)):
        opened_depth = depths[part] + lining.thickness
        found.append(
            Stages(
                part=part,
                # The board takes the whole glue gap, so the blank's walls lie exactly at the lining's thickness.
                opened=_widened(final[part], lining.wall + lining.glue_clearance / 2),
                opened_depth=opened_depth,
                blank=mate(_widened(final[part], lining.wall)),
                blank_depth=opened_depth + TIP_MM,
                final=tuple(final[part]),
                final_depth=depths[part],
            )
        )
    return tuple(found)


def regions(one: Stages) -> Iterator[EndRegion]:
    """Rectangles that cover the board's end after stage 2 down to the lining's bottom, ascending along x."""
    deep, low = one.final_depth, one.opened_depth
    zero = Fraction(0)
    for opened, blank, final in zip(one.opened, one.blank, one.final, strict=True):
        if final.is_finger:
            pieces = ((Material.LINING, final.start, blank.start), (Material.GLUE, blank.start, opened.start))
            yield from (EndRegion(name, a, b, zero, low) for name, a, b in pieces if a < b)
            yield EndRegion(Material.BOARD, opened.start, opened.end, zero, low)
            pieces = ((Material.GLUE, opened.end, blank.end), (Material.LINING, blank.end, final.end))
            yield from (EndRegion(name, a, b, zero, low) for name, a, b in pieces if a < b)
        else:
            yield EndRegion(Material.REMOVED, final.start, final.end, zero, deep)
            yield EndRegion(Material.LINING, final.start, final.end, deep, low)


def _widened(segments: Sequence[Segment], by: Fraction) -> tuple[Segment, ...]:
    """The segments with every inner wall moved `by` into the part's wood. Edges stay."""
    walls = [segments[0].start]
    walls += [s.end - by if s.is_finger else s.end + by for s in segments[:-1]]
    walls.append(segments[-1].end)
    return tuple(Segment(walls[i], walls[i + 1], s.is_finger) for i, s in enumerate(segments))


def _lining_faults(lining: Lining, unit: Unit) -> list[Fault]:
    faults = []
    if lining.thickness <= 0:
        thick = plain_length(lining.thickness, unit)
        faults.append(Fault("a lining must be over 0 thick", thick, "lining.thickness", "give its real thickness"))
    if lining.glue_clearance < 0:
        clearance = plain_length(lining.glue_clearance, unit)
        what = "the blank's fingers would be wider than the sockets"
        faults.append(Fault(what, clearance, "lining.glue_clearance", "use 0 or more; 0.06 mm is usual"))
    if not lining.parts or set(lining.parts) - set(PARTS):
        named = ", ".join(lining.parts) or "none"
        mend = 'write ["A"], ["B"] or ["A", "B"]'
        faults.append(Fault("the lined parts must be A, B or both", named, "lining.parts", mend))
    return faults


class _TooNarrow(Enum):
    BLANK = auto()
    """The blank's socket over it is narrower than the kerf."""
    GONE = auto()
    """Stage 1 leaves nothing of it."""
    EDGE = auto()
    """Stage 1 leaves too little at the board's edge."""


class _Narrow(NamedTuple):
    """Why a finger is too narrow. short: by how much, mm. sides: how many of its sides are lined, 0 to 2."""

    kind: _TooNarrow
    width: Fraction
    sides: int
    short: Fraction


def _narrow_faults(part: str, final: Sequence[Segment], lining: Lining, kerf: Fraction, unit: Unit) -> list[Fault]:
    """Faults of fingers too narrow for the blank's sockets or for stage 1, one for each kind and width."""
    fingers_of: dict[_Narrow, list[int]] = {}
    last = len(final) - 1
    fingers = [(index, s) for index, s in enumerate(final) if s.is_finger]
    for number, (index, finger) in enumerate(fingers, 1):
        sides = (index > 0) + (index < last)
        blank = finger.width - sides * lining.wall
        left = blank - sides * lining.glue_clearance / 2
        # At an edge the blade may overhang the blank's socket, so the kerf sets no limit there.
        if sides < 2 and left < EDGE_FINGER_MM:
            why = _Narrow(_TooNarrow.EDGE, finger.width, sides, EDGE_FINGER_MM - left)
            fingers_of.setdefault(why, []).append(number)
        if sides == 2 and blank < kerf:
            fingers_of.setdefault(_Narrow(_TooNarrow.BLANK, finger.width, sides, kerf - blank), []).append(number)
        if sides == 2 and left <= 0:
            fingers_of.setdefault(_Narrow(_TooNarrow.GONE, finger.width, sides, -left), []).append(number)
    return [_narrow_fault(part, why, numbers, lining, kerf, unit) for why, numbers in fingers_of.items()]


def _narrow_fault(part: str, why: _Narrow, numbers: list[int], lining: Lining, kerf: Fraction, unit: Unit) -> Fault:
    which = f"part {part}, {number_list('finger', numbers)}"
    if why.kind == _TooNarrow.BLANK:
        what = f"{which}: the blank's socket over it would be narrower than the kerf of {plain_length(kerf, unit)}"
    elif why.kind == _TooNarrow.EDGE:
        what = f"{which}: stage 1 would leave less than {plain_length(EDGE_FINGER_MM, unit)} at the board's edge"
    else:
        what = f"{which}: stage 1 would leave nothing of it"
    gone = why.kind == _TooNarrow.GONE
    # Widened by exactly what is missing, the finger would still have no wood left.
    mend = f"widen the finger by {'more than ' if gone else ''}{at_least(why.short, unit)}"
    # Each lined side takes `per_wall` of the thickness off the finger: so much thinner, and nothing is missing.
    per_wall = lining.wall / lining.thickness
    thinner = lining.thickness - why.short / (why.sides * per_wall) if why.sides else Fraction(0)
    if thinner > 0:
        mend += f", or use a lining {'under ' if gone else ''}{at_most(thinner, unit)} thick"
    if why.kind == _TooNarrow.BLANK and kerf > why.short:
        mend += f", or a blade with a kerf of {at_most(kerf - why.short, unit)} or less"
    return Fault(what, f"{plain_length(why.width, unit)} wide with its clearance", "lining.thickness", mend)
