"""Lays out the fingers and sockets: nominal walls of part A, before any clearance.

Part B has fingers where A has sockets (`mate`). Each layout is one function from its own
figures to a tuple of segments that alternate and cover the board from x = 0 to its width, so
walls, passes and settings don't depend on the layout.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum
from fractions import Fraction
from typing import Protocol

from assistant.errors import BadInput, Fault
from assistant.joinery.model import Segment
from assistant.joinery.units import Unit, plain_length

MOST_SEGMENTS = 1_000  # far more than any board has: a slip of the decimal point would fill the memory


class StartsWith(StrEnum):
    """What is at the reference edge."""

    FINGER = "finger"
    SOCKET = "socket"


class Remainder(StrEnum):
    """What becomes of a width that is no multiple of the finger."""

    FAR_EDGE = "far edge"
    """Full widths from x = 0; the last segment is what is left."""
    BOTH_EDGES = "both edges"
    """What is left and one full width are shared equally between the first and the last segment.

    So each is at least half a finger.
    """
    STRETCH = "stretch"
    """All are equal, their count the whole number (2 or more) nearest to width / finger.

    It is rounded up at a half, which comes nearer to the width asked for.
    """


class Group(Protocol):
    """A repeated group of listed widths: entries first..last (from 1, inclusive), `times` in all."""

    @property
    def first(self) -> int: ...
    @property
    def last(self) -> int: ...
    @property
    def times(self) -> int: ...


def even(
    width: Fraction,
    finger: Fraction,
    starts_with: StartsWith = StartsWith.FINGER,
    remainder: Remainder = Remainder.FAR_EDGE,
    *,
    unit: Unit = Unit.MM,
) -> tuple[Segment, ...]:
    """Fingers and sockets all `finger` wide, alternating from the reference edge.

    width, finger: mm, 0 < finger < width. unit: for messages only.

    Raises: BadInput, all faults at once.
    """
    faults = _starts_faults(starts_with)
    if remainder not in tuple(Remainder):
        faults.append(_not_one_of("joint.remainder", remainder, tuple(Remainder)))
    if not 0 < finger < width:
        what = f"a finger must be over 0 and under the board's width of {plain_length(width, unit)}"
        faults.append(Fault(what, plain_length(finger, unit), "joint.finger", "make it narrower than the board"))
    elif width / finger > MOST_SEGMENTS:
        faults.append(_too_many(-(-width // finger), "joint.finger", "use wider fingers"))
    if faults:
        raise BadInput(faults)
    return _alternate(_even_widths(width, finger, remainder), starts_with)


def _even_widths(width: Fraction, finger: Fraction, remainder: Remainder) -> list[Fraction]:
    full, left = divmod(width, finger)
    if left == 0:
        return [finger] * full
    if remainder == Remainder.STRETCH:
        # A joint has at least one finger and one socket.
        count = max(2, int(width / finger + Fraction(1, 2)))
        return [width / count] * count
    if remainder == Remainder.BOTH_EDGES:
        edge = (finger + left) / 2
        return [edge, *[finger] * (full - 1), edge]
    return [*[finger] * full, left]


def listed(
    width: Fraction,
    widths: Sequence[Fraction],
    repeat: Group | None = None,
    mirror: bool = False,
    starts_with: StartsWith = StartsWith.FINGER,
    *,
    unit: Unit = Unit.MM,
) -> tuple[Segment, ...]:
    """Segments of the listed widths, alternating from the reference edge; they must add up to `width`.

    width, widths: mm, each over 0. repeat: its group is used `times` in all, in its place, before
    any mirroring. mirror: the half up to the middle is listed and the other half is added in
    reverse. The last width listed is the middle segment: it is given whole and used once, so
    n widths make 2n - 1 segments and both edges are alike. (Used twice, it would put finger
    against finger, or socket against socket.) unit: for messages only.

    Raises: BadInput, all faults at once; if the sum is wrong, with the difference.
    """
    faults = _starts_faults(starts_with)
    for n, size in enumerate(widths, 1):
        if size <= 0:
            shown = plain_length(size, unit)
            faults.append(Fault(f"width {n} must be over 0", shown, "joint.widths", "give its real size"))
    if repeat is not None:
        faults += _repeat_faults(repeat, len(widths))
    if not faults:
        # Counted before they are laid out, since 1,000 widths could be repeated 1,000 times.
        count = len(widths)
        if repeat is not None:
            count += (repeat.last - repeat.first + 1) * (repeat.times - 1)
        if mirror:
            count = 2 * count - 1
        if count > MOST_SEGMENTS:
            faults.append(_too_many(count, "joint.widths", "list or repeat fewer"))
        elif count < 2:
            shown = "1 segment" if count == 1 else "none"
            what = "a joint needs at least one finger and one socket"
            faults.append(Fault(what, shown, "joint.widths", "list more widths"))
    if faults:
        raise BadInput(faults)
    whole = list(widths)
    if repeat is not None:
        whole[repeat.first - 1 : repeat.last] *= repeat.times
    if mirror:
        whole += whole[-2::-1]
    if sum(whole) != width:
        raise BadInput([_sum_fault(whole, width, mirror, unit)])
    return _alternate(whole, starts_with)


def mate(segments: Iterable[Segment]) -> tuple[Segment, ...]:
    """The other part's nominal segments: the same walls, fingers and sockets exchanged."""
    return tuple(Segment(s.start, s.end, not s.is_finger) for s in segments)


def _alternate(widths: Iterable[Fraction], starts_with: StartsWith) -> tuple[Segment, ...]:
    segments = []
    start, is_finger = Fraction(0), starts_with == StartsWith.FINGER
    for size in widths:
        end = start + size
        segments.append(Segment(start, end, is_finger))
        start, is_finger = end, not is_finger
    return tuple(segments)


def _starts_faults(starts_with: StartsWith) -> list[Fault]:
    return (
        [] if starts_with in tuple(StartsWith) else [_not_one_of("joint.starts_with", starts_with, tuple(StartsWith))]
    )


def _not_one_of(where: str, value: str, known: Sequence[str]) -> Fault:
    return Fault("is not one of the known words", f'"{value}"', where, "use one of: " + ", ".join(known))


def _too_many(count: int, where: str, mend: str) -> Fault:
    what = f"a board may have at most {MOST_SEGMENTS:,} fingers and sockets"
    return Fault(what, f"{count:,}", where, mend)


def _repeat_faults(repeat: Group, count: int) -> list[Fault]:
    faults = []
    if not 1 <= repeat.first <= repeat.last <= count:
        what = f"the group must lie within widths 1 to {count}, first to last"
        value = f"from {repeat.first} to {repeat.last}"
        faults.append(Fault(what, value, "joint.repeat", "count the widths from 1"))
    if repeat.times < 1:
        mend = "give how many times the group is used in all"
        faults.append(Fault("times must be 1 or more", str(repeat.times), "joint.repeat", mend))
    return faults


def _sum_fault(whole: list[Fraction], width: Fraction, mirror: bool, unit: Unit) -> Fault:
    total = sum(whole, Fraction(0))
    short = width - total
    difference = f"{plain_length(abs(short), unit)} {'short of' if short > 0 else 'over'}"
    which, at = ("middle", len(whole) // 2) if mirror else ("last", -1)
    needed = whole[at] + short
    by = plain_length(abs(short), unit)
    mend = f"add {by} to the widths" if short > 0 else f"take {by} off the widths"
    if needed > 0:
        mend += f", or make the {which} width {plain_length(needed, unit)}"
    what = f"the widths together are {difference} the board's width of {plain_length(width, unit)}"
    return Fault(what, f"{plain_length(total, unit)} in all", "joint.widths", mend)
