"""Checks whether readings agree well enough to work out a kerf or a backlash from them.

If the readings of a kerf disagree, all are refused: none is picked out as the right one.

A kerf comes from a line through remainders. Its near end fixes the level, its far end the slope. Leaving out a reading
at an end with few others moves the line, and nothing shows whether the right reading was left out. So
- among the readings of one spacing, only as many may be left out as the others clearly outvote: one of four or five,
  two of eight, none of two or three, never all;
- a line is drawn only if neither end depends on a single place;
- if the slope puts the carriage's travel far off, no kerf is worked out: the screw must be calibrated first.

Backlash moves one cut of three: the wood before it gains what the wood after it loses. Their sum is the
distance between the outer cuts less two kerfs, however large the play is. So a pair with a different sum was misread.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from statistics import median

from assistant.calibrating.blunders import GREATEST_SLOPE, Caliper, LeftOut, Reading, impossible
from assistant.errors import Fault
from assistant.joinery.units import PLACES, Unit, plain_length

# With this spread of x or more, a line is drawn instead of taking a mean. Spacings closer than this count as one.
SPREAD_FOR_LINE = Fraction(5)
# The greatest share of the readings of one spacing that may be left out.
MOST_OF_A_SPACING = Fraction(3, 10)
# How far off the carriage's travel may be for a kerf, as a share. Screws that drive carriages are off by less
# (common practice, no source). If readings show more, one is wrong, or the pitch in the shop file is.
GREATEST_TRAVEL_ERROR = 0.005
# How far the sum of a pair may be from the pairs' median, mm, and in steps of the instrument. By simulation
# (`python -m tests.calibrating.backlash_trials 2000`) a reading misread by 0.5 mm is always further off, and good
# pairs never are, even if cuts vary by 0.03 mm.
SUMS_APART, STEPS_APART = Fraction(1, 5), 5
# How far the kerf may be from the shop file's, as a share, for all sums together.
KERF_OFF = Fraction(1, 4)

# (label, the reading after the cut that was approached from above, the reading before it)
Pair = tuple[str, Reading, Reading]


def spread(readings: Sequence[Reading]) -> bool:
    """Whether their x lie far enough apart for a line."""
    places = {r.x for r in readings}
    return max(places) - min(places) >= SPREAD_FOR_LINE


def reasons(out: Sequence[LeftOut], unit: Unit) -> Iterator[Fault]:
    """A fault for each reading left out, with why."""
    for each in out:
        yield Fault(
            f"left out: {each.why}",
            plain_length(each.reading.value, unit, 5),
            f"reading {each.reading.label}",
            "measure it again, or describe your caliper with --caliper and --caliper-range",
        )


def disagreements(given: Sequence[Reading], out: Sequence[LeftOut], caliper: Caliper) -> Iterator[Fault]:
    """Faults for each spacing of which too many readings would be left out, with all its readings and the reasons.

    If the readings of a spacing disagree, only those that the instrument can't show are called wrong. Among the others,
    the odd reading may be the right one. given: all readings of remainders. out: those that don't fit the rest.
    """
    gone = {id(each.reading): each for each in out}
    never = {id(each.reading) for each in impossible(given, caliper)}
    # Group x into classes, from the least, as wide as the spacings that count as one.
    least = min((r.x for r in given), default=Fraction(0))
    spacings: dict[int, list[Reading]] = {}
    for one in sorted(given, key=lambda r: (r.x, r.label)):
        spacings.setdefault(int((one.x - least) // SPREAD_FOR_LINE), []).append(one)
    for group in spacings.values():
        odd = [gone[id(r)] for r in group if id(r) in gone]
        if len(odd) <= MOST_OF_A_SPACING * len(group):
            continue
        apart = plain_length(group[0].x, caliper.unit)
        if len(odd) == len(group):
            yield from reasons(odd, caliper.unit)
            what = f"all readings with a spacing of {apart} would be left out"
        else:
            yield from reasons([each for each in odd if id(each.reading) in never], caliper.unit)
            what = f"the readings with a spacing of {apart} disagree, and too few agree to show which are right"
        labels = ", ".join(dict.fromkeys(r.label for r in group))
        shown = ", ".join(f"{r.label} {plain_length(r.value, caliper.unit, 5)}" for r in group)
        yield Fault(what, shown, "readings", f"zero the caliper, measure {labels} again, and give all readings again")


def lone_places(kept: Sequence[Reading], caliper: Caliper) -> Iterator[Fault]:
    """A fault for each place without which no line could be drawn: a mistake there would tilt it unnoticed.

    kept: one reading for each place.
    """
    if not kept or not spread(kept):
        return
    for one in kept:
        rest = [r for r in kept if r is not one]
        if rest and not spread(rest):
            apart = plain_length(one.x, caliper.unit)
            yield Fault(
                f"there is no other place with a spacing of about {apart}, so a mistake in it would not show",
                f"{one.label} {plain_length(one.value, caliper.unit, 5)}",
                "readings",
                "measure another place with that spacing too, or give only readings with the other spacing",
            )


def travel_off(scale: float, u_scale: float) -> Iterator[Fault]:
    """A fault if the carriage's travel is too far off to work out a kerf.

    scale: real travel over set travel, as the readings show it. u_scale: its standard uncertainty.
    """
    off = abs(scale - 1)
    if off <= GREATEST_TRAVEL_ERROR:
        return
    way = "further" if scale > 1 else "less far"
    what = f"by these readings the carriage moves {100 * off:.2f} % {way} than it is set"
    if off > GREATEST_SLOPE:
        what += ", which no screw does"
        mend = "check that the readings are from this board, with the right letters and unit, and measure again"
    else:
        what += f", and no kerf is written if it is over {100 * GREATEST_TRAVEL_ERROR:g} % off"
        mend = (
            "calibrate the screw first (kerfcall calibrate screw), then the kerf again; if the screw is right, "
            "measure again"
        )
    yield Fault(what, f"{scale:.4f} mm for each mm set, +- {2 * u_scale:.4f}", "readings", mend)


def agreeing_sums(pairs: Sequence[Pair], caliper: Caliper) -> tuple[list[Pair], list[LeftOut]]:
    """(the pairs whose sums agree, the readings that make the sums of the others differ)."""
    sums = [up.value + down.value - up.x - down.x for _, up, down in pairs]
    middle = median(sums)
    limit = max(SUMS_APART, STEPS_APART * caliper.step)
    # The median on either side. In a pair whose sum is off, the reading further from its median is the misread one.
    behind, before = (median(r.value - r.x for r in side) for side in zip(*((u, d) for _, u, d in pairs), strict=True))
    kept, out = [], []
    for (label, up, down), total in zip(pairs, sums, strict=True):
        off = total - middle
        if abs(off) <= limit:
            kept.append((label, up, down))
            continue
        odd, other = replace(up, label=f"{label}2"), replace(down, label=f"{label}1")
        if abs(down.value - down.x - before) > abs(up.value - up.x - behind):
            odd, other = other, odd
        by = plain_length(abs(off), caliper.unit, PLACES[caliper.unit])
        why = (
            f"together with {other.label} it is {by} {'over' if off > 0 else 'under'} the other pairs' sum, which play "
            "doesn't change: it was misread, or a cut beside it was set wrong"
        )
        out.append(LeftOut(odd, why))
    return kept, out


def sums_far_off(pairs: Sequence[Pair], kerf: Fraction, caliper: Caliper) -> Iterator[Fault]:
    """A fault if the sums of all pairs are far from what the layout and this kerf give."""
    label, up, down = pairs[0]
    middle = median(one.value + other.value - one.x - other.x for _, one, other in pairs)
    if abs(middle + 2 * kerf) <= 2 * KERF_OFF * kerf:
        return
    found, right = (plain_length(up.x + down.x + each, caliper.unit, 3) for each in (middle, -2 * kerf))
    yield Fault(
        f"the wood on both sides of a cut should add up to about {right}, however large the play is",
        f"{found} beside cut {label}",
        "readings",
        "check that the readings are from this board, that each is only the wood between two cuts, and that the shop "
        "file has this blade's kerf",
    )
