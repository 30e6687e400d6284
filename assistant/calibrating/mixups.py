"""Whether something else was measured than what a calibration asks for.

That is the cut in place of the wood beside it, or the far wall of a cut in place of the near one.
Readings are held against the board's layout under both hypotheses: wood between two cuts is their spacing less a kerf,
so it grows with the spacing; a cut is as wide as the kerf wherever it lies. A wrong kerf or zero made of such readings
would look sound, so they are refused by name.

Lengths: mm, exact.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from statistics import median

from assistant.calibrating.agreement import spread
from assistant.calibrating.blunders import Reading
from assistant.errors import Fault
from assistant.joinery.units import plain_length

# A kerf this near to the one in the shop file, as a share of it, is the same blade's; within the second share it may
# be another blade's.
SAME_KERF, ANY_KERF = Fraction(1, 4), Fraction(1, 2)
# Readings of the same thing lie within this of their median, mm, slips apart.
ALIKE = Fraction(3, 10)


def cuts_measured(readings: Sequence[Reading], kerf: Fraction, unit: str) -> Iterator[Fault]:
    """A fault where the readings are the cuts rather than the wood between them; else nothing.

    readings: of wood between two cuts; x: how far apart the cuts were set. kerf: the shop file's.
    """
    if not readings:
        return
    as_cuts, as_wood = [r.value for r in readings], [r.x - r.value for r in readings]
    cut_off, wood_off = (abs(median(found) - kerf) for found in (as_cuts, as_wood))
    if cut_off > ANY_KERF * kerf:
        return
    # Over different spacings the wood grows and cuts stay alike; with one spacing only what is nearer can tell.
    nearer = cut_off < wood_off and wood_off > SAME_KERF * kerf
    if _alike(as_cuts) > _alike(as_wood) if spread(readings) else nearer:
        middle = plain_length(median(as_cuts), unit)
        yield _fault("it looks as if the cuts were measured, not the wood between them", f"about {middle} each")


def cuts_among(readings: Sequence[Reading], kerf: Fraction) -> Iterator[Fault]:
    """A fault that names the places where a cut seems to have been measured, for readings that disagree."""
    odd = [
        r.label
        for r in readings
        if abs(r.value - kerf) <= SAME_KERF * kerf and abs(r.x - r.value - kerf) > SAME_KERF * kerf
    ]
    if odd:
        what = "some readings look as if the cut was measured, not the wood beside it"
        yield _fault(what, ", ".join(dict.fromkeys(odd)))


def _alike(values: Sequence[Fraction]) -> int:
    middle = median(values)
    return sum(abs(value - middle) <= ALIKE for value in values)


def _fault(what: str, value: str) -> Fault:
    mend = "measure the wood left between two cuts with the outside jaws of the caliper, and give those readings"
    return Fault(what, value, "readings", mend)


def other_side(offset: Fraction, kerf: Fraction, zero: str, unit: str) -> Iterator[Fault]:
    """A fault where a zero is off by nearly a kerf. offset: as `calibration.zero` finds it. zero: the carriage's."""
    if abs(abs(offset) - kerf) > SAME_KERF * kerf:
        return
    mend = "measure from the reference edge to the near wall of each cut; if you did, "
    should = {("outside", True): "inside", ("inside", False): "outside"}.get((zero, offset > 0))
    if should is None:
        mend += "check which side of the blade stood at the reference edge when you zeroed the carriage"
    else:
        mend += f'check carriage.zero in the shop file: it says "{zero}", and these cuts lie as with "{should}"'
    found, width = plain_length(offset, unit, 2 if unit == "mm" else 4), plain_length(kerf, unit)
    yield Fault("the zero is off by nearly a kerf: the other side of the kerf?", f"{found}, kerf {width}", "zero", mend)


def some_on_the_other_side(readings: Sequence[Reading], kerf: Fraction) -> list[str]:
    """Labels of the fewer, where all readings lie at two levels a kerf apart; [] where they don't.

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
