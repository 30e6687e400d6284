"""Works out the passes that clear a part's sockets. Lengths: Fraction, mm; x = 0 at the reference edge."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

from assistant.errors import BadInput, Fault
from assistant.joinery.model import Blade, Pass, Segment
from assistant.joinery.units import Unit, at_least, at_most, plain_length
from assistant.joinery.walls import number_list

# For one board end here, and for a whole job in `plans.job`.
MOST_PASSES = 20_000


class Cut(NamedTuple):
    """The wood one pass removes. socket: from 1 along x."""

    socket: int
    kerf_from: Fraction
    kerf_to: Fraction


def cuts(
    segments: Sequence[Segment],
    width: Fraction,
    blade: Blade,
    *,
    where: str = "joint",
    unit: Unit = Unit.MM,
) -> tuple[Cut, ...]:
    """The passes that clear every socket, ascending along x.

    segments: one part's, clearance included. width: the board's.
    An inner socket of width w takes one pass if w equals the kerf k, else
    ceil((w - k) / (k - overlap)) + 1, evenly spread: the first against one wall, the last
    against the other. A socket at an edge keeps its inner wall exact and runs `overrun` past the
    edge. If w + overrun <= k it is a single pass that overhangs the edge.
    where: the key that faults name, e.g. "joint.finger". unit: for messages only.

    Raises: BadInput, all faults at once: an overlap of the kerf or more, inner sockets narrower
    than the kerf (naming what would fit), more than 20,000 passes.
    """
    spans = [span(s, width, blade) for s in segments if not s.is_finger]
    faults = []
    if blade.overlap >= blade.kerf:
        what = f"passes must overlap by less than the kerf of {plain_length(blade.kerf, unit)}"
        faults.append(Fault(what, plain_length(blade.overlap, unit), "blade.overlap", "0.2 mm is usual"))
    faults += _narrow_faults(spans, blade.kerf, where, unit)
    if faults:
        raise BadInput(faults)
    # Only now, since `_count` divides by kerf - overlap.
    count = sum(_count(end - start, blade) for start, end in spans)
    if count > MOST_PASSES:
        mend = "use a wider blade, less overlap or a narrower board"
        raise BadInput([Fault(f"a board may take at most {MOST_PASSES:,} passes", f"{count:,}", where, mend)])
    return tuple(cut for socket, (start, end) in enumerate(spans, 1) for cut in spread(socket, start, end, blade))


def passes_for(socket: Segment, width: Fraction, blade: Blade) -> int:
    """How many passes clear one socket (clearance included) of a board this wide; 0 for one narrower than the kerf."""
    start, end = span(socket, width, blade)
    return _count(end - start, blade) if end - start >= blade.kerf else 0


def span(socket: Segment, width: Fraction, blade: Blade) -> tuple[Fraction, Fraction]:
    """What must be cleared: the socket, plus at an edge the overrun, or as much as one kerf overhangs."""
    start, end = socket.start, socket.end
    at_reference, at_far = start == 0, end == width
    if at_reference:
        start -= blade.overrun
    if at_far:
        end += blade.overrun
    if end - start < blade.kerf:
        # A single pass overhangs the edge, so that the inner wall stays where it is.
        if at_reference:
            start = end - blade.kerf
        elif at_far:
            end = start + blade.kerf
    return start, end


def _count(span: Fraction, blade: Blade) -> int:
    """How many passes clear a span of the kerf or more: ceil((span - kerf) / (kerf - overlap)) + 1."""
    return -((blade.kerf - span) // (blade.kerf - blade.overlap)) + 1


def spread(socket: int, start: Fraction, end: Fraction, blade: Blade) -> Iterable[Cut]:
    """The fewest passes that clear this stretch of a socket, evenly spread: the first begins it, the last ends it.

    start, end: mm, at least a kerf apart.
    """
    kerf, count = blade.kerf, _count(end - start, blade)
    if count == 1:
        yield Cut(socket, start, end)
        return
    step = (end - kerf - start) / (count - 1)
    # With one denominator for the whole socket, integers do the steps: faster than fractions, and as exact.
    bottom = step.denominator * start.denominator * kerf.denominator
    left = start.numerator * (bottom // start.denominator)
    advance = step.numerator * (bottom // step.denominator)
    wide = kerf.numerator * (bottom // kerf.denominator)
    for _ in range(count):
        yield Cut(socket, Fraction(left, bottom), Fraction(left + wide, bottom))
        left += advance


def _narrow_faults(spans: Sequence[tuple[Fraction, Fraction]], kerf: Fraction, where: str, unit: Unit) -> list[Fault]:
    narrow: dict[Fraction, list[int]] = {}
    for number, (start, end) in enumerate(spans, 1):
        if end - start < kerf:
            narrow.setdefault(end - start, []).append(number)
    faults = []
    for size, numbers in narrow.items():
        what = f"{number_list('socket', numbers)} would be narrower than the kerf of {plain_length(kerf, unit)}"
        mend = (
            f"a blade with a kerf of {at_most(size, unit)} or less would fit, "
            f"or widen the socket by {at_least(kerf - size, unit)} or more"
        )
        faults.append(Fault(what, f"{plain_length(size, unit)} wide with its clearance", where, mend))
    return faults


def outside(one: Pass | Cut, width: Fraction) -> Fraction:
    """How far this pass cuts into the stop or past the board's far edge, in mm; 0 if it stays on the board."""
    return max(-one.kerf_from, one.kerf_to - width, Fraction(0))
