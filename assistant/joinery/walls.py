"""Moves the walls to give a joint its clearance, and warns of fingers that this leaves too thin.

With clearance c each inner wall moves c/4 into its own part's wood, on both parts. So every
glue gap is c/2. An inner socket widens by c/2, a socket at an edge by c/4, and edges stay.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from assistant.errors import BadInput, Fault
from assistant.joinery.model import Segment
from assistant.joinery.units import Unit, plain_length

# Thinner wood may break (common practice, no source).
SLIVER_MM = Fraction(3)


def open_walls(segments: Sequence[Segment], clearance: Fraction, *, unit: Unit = Unit.MM) -> tuple[Segment, ...]:
    """One part's segments with the clearance in them.

    segments: nominal, alternating, from edge to edge. clearance: mm; 0 or over opens the joint. A
    negative clearance would press it and is accepted here. Open each part's own nominal walls: the
    mate of opened walls is not the opened mate.

    Raises: BadInput if the clearance leaves nothing of a finger (or, if negative, of a socket).
    """
    shift = clearance / 4
    walls = [segments[0].start]
    for left in segments[:-1]:
        walls.append(left.end - shift if left.is_finger else left.end + shift)
    walls.append(segments[-1].end)
    opened = tuple(Segment(walls[i], walls[i + 1], s.is_finger) for i, s in enumerate(segments))
    eaten = [s for s, after in zip(segments, opened, strict=True) if after.width <= 0]
    if eaten:
        kind = "finger" if eaten[0].is_finger else "socket"
        which = f"a {kind}" if len(eaten) == 1 else f"{len(eaten)} {kind}s, the narrowest"
        narrowest = plain_length(min(s.width for s in eaten), unit)
        what = f"the clearance leaves nothing of {which} {narrowest} wide"
        mend = f"use less clearance, or a layout without such narrow {kind}s"
        raise BadInput([Fault(what, plain_length(clearance, unit), "joint.clearance", mend)])
    return opened


def assumed_kerf(kerf: Fraction, clearance: Fraction) -> Fraction:
    """The kerf, in mm, that a layout without clearance would have to assume to cut the same joint.

    It is c/2 less than the real kerf, so that each socket comes out c/2 too wide. A wider
    assumed kerf makes a tighter joint (common practice, no source).
    """
    return kerf - clearance / 2


def slivers(
    segments: Sequence[Segment],
    kerf: Fraction,
    clearance: Fraction = Fraction(0),
    step: Fraction = Fraction(0),
    *,
    unit: Unit = Unit.MM,
) -> list[str]:
    """Warnings of fingers that are too thin to trust, one line for each width.

    They are under 3 mm after the clearance is taken off, or laid out thinner than the kerf.
    segments: one part's nominal ones, which `open_walls` accepts with this clearance. Call it for each part: a socket
    in one is a finger in the other. A finger laid out as wide as the kerf is what one pass leaves, so it is not too
    thin for losing its clearance. step: the smallest step of the carriage, mm; chance decides whether a thinner finger
    stands.
    """
    opened = open_walls(segments, clearance, unit=unit)
    places: dict[Fraction, list[int]] = {}
    fingers = ((laid_out, left) for laid_out, left in zip(segments, opened, strict=True) if laid_out.is_finger)
    for number, (laid_out, left) in enumerate(fingers, 1):
        if left.width < SLIVER_MM or laid_out.width < kerf:
            places.setdefault(left.width, []).append(number)
    warnings = []
    for size, numbers in places.items():
        than = f"under {plain_length(SLIVER_MM, unit)}"
        if size >= SLIVER_MM:
            than = f"thinner than the kerf of {plain_length(kerf, unit)}"
        why = unsettable_warning(size, step, unit=unit) or f"{than}, and may break"
        warnings.append(f"{number_list('finger', numbers)}: only {plain_length(size, unit)} wide, {why}")
    return warnings


def unsettable_warning(size: Fraction, step: Fraction, *, unit: Unit = Unit.MM) -> str:
    """A warning of wood thinner than the carriage's smallest step; "" if it isn't. size, step: mm."""
    if size >= step:
        return ""
    smallest = f"the carriage's smallest step, {plain_length(step, unit)}"
    return f"less than {smallest}: chance decides whether any of it stands"


def number_list(noun: str, numbers: Sequence[int]) -> str:
    """("socket", [1, 2, 3, 4, 5, 6]) -> "sockets 1, 2, 3, 4 and 2 more"."""
    if len(numbers) == 1:
        return f"{noun} {numbers[0]}"
    shown = ", ".join(map(str, numbers[:4]))
    more = f" and {len(numbers) - 4} more" if len(numbers) > 4 else ""
    return f"{noun}s {shown}{more}"
