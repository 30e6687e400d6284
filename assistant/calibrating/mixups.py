"""Detects readings of the wrong thing: the cut instead of the wood beside it, or its far wall instead of the near one.

Readings are compared with the board's layout under both hypotheses. The wood between two cuts is their spacing less a
kerf, so it grows with the spacing. A cut is as wide as the kerf wherever it lies. A wrong kerf or zero worked out from
such readings would look right, so they are refused with the mistake named.

Lengths: mm, exact.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from statistics import median

from assistant.calibrating.agreement import spread
from assistant.calibrating.blunders import Reading
from assistant.errors import Fault
from assistant.joinery.model import Zero
from assistant.joinery.units import Unit, plain_length

# Within the first share of the shop file's kerf, a kerf is the same blade's; within the second, it may be another
# blade's.
SAME_KERF, ANY_KERF = Fraction(1, 4), Fraction(1, 2)
# Readings of the same thing lie within this of their median, mm, apart from mistakes.
ALIKE = Fraction(3, 10)


def cuts_measured(readings: Sequence[Reading], kerf: Fraction, unit: Unit) -> Iterator[Fault]:
    """A fault if the readings are of the cuts rather than the wood between them; else nothing.

    readings: of wood between two cuts. x: how far apart the cuts were set. kerf: the shop file's.
    """
    if not readings:
        return
    as_cuts, as_wood = [r.value for r in readings], [r.x - r.value for r in readings]
    cut_off, wood_off = (abs(median(found) - kerf) for found in (as_cuts, as_wood))
    if cut_off > ANY_KERF * kerf:
        return
    # With different spacings, the wood varies and the cuts are alike. With a single spacing, the nearer one decides.
    nearer = cut_off < wood_off and wood_off > SAME_KERF * kerf
    if _alike(as_cuts) > _alike(as_wood) if spread(readings) else nearer:
        middle = plain_length(median(as_cuts), unit)
        yield _fault("the cuts seem to have been measured, not the wood between them", f"about {middle} each")


def cuts_among(readings: Sequence[Reading], kerf: Fraction) -> Iterator[Fault]:
    """A fault that lists the places where a cut seems to have been measured, for readings that disagree."""
    odd = [
        r.label
        for r in readings
        if abs(r.value - kerf) <= SAME_KERF * kerf and abs(r.x - r.value - kerf) > SAME_KERF * kerf
    ]
    if odd:
        what = "at some places the cut seems to have been measured, not the wood beside it"
        yield _fault(what, ", ".join(dict.fromkeys(odd)))


def _alike(values: Sequence[Fraction]) -> int:
    middle = median(values)
    return sum(abs(value - middle) <= ALIKE for value in values)


def _fault(what: str, value: str) -> Fault:
    mend = "measure the wood between two cuts with the outside jaws of the caliper, and give those readings"
    return Fault(what, value, "readings", mend)


def other_side(offset: Fraction, kerf: Fraction, zero: Zero, unit: Unit) -> Iterator[Fault]:
    """A fault if a zero is off by nearly a kerf. offset: as `values.zero` finds it. zero: the carriage's."""
    if abs(abs(offset) - kerf) > SAME_KERF * kerf:
        return
    mend = "measure from the reference edge to the near wall of each cut; if you did, "
    should = {(Zero.OUTSIDE, True): Zero.INSIDE, (Zero.INSIDE, False): Zero.OUTSIDE}.get((zero, offset > 0))
    if should is None:
        mend += "check which side of the blade was at the reference edge when you zeroed the carriage"
    else:
        mend += f'check carriage.zero in the shop file: it says "{zero}", but these cuts suggest "{should}"'
    found, width = plain_length(offset, unit, 2 if unit == Unit.MM else 4), plain_length(kerf, unit)
    what = "the zero is off by nearly a kerf: did you measure to the other side of the kerf?"
    yield Fault(what, f"{found}, kerf {width}", "zero", mend)


def some_on_the_other_side(readings: Sequence[Reading], kerf: Fraction) -> list[str]:
    """If all readings lie at two levels a kerf apart, the labels at the level with fewer; else [].

    readings: x the setting, value the distance from the reference edge.
    """
    level = [r.value - r.x for r in readings]
    if not level:
        return []
    low, high = min(level), max(level)
    near = [abs(each - low) <= abs(high - each) for each in level]
    apart = all(min(abs(each - low), abs(each - high)) <= SAME_KERF * kerf for each in level)
    if not apart or abs(high - low - kerf) > SAME_KERF * kerf:
        return []
    fewer = sum(near) < len(near) / 2
    return list(dict.fromkeys(r.label for r, is_near in zip(readings, near, strict=True) if is_near == fewer))
