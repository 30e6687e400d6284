"""Kerf, screw, zero and backlash from readings: worked examples, blunders, and coverage on simulated saws."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction

import pytest

from assistant.calibrating.blunders import Caliper, Reading, screen
from assistant.calibrating.uncertainty import Component
from assistant.calibrating.values import Value, backlash, kerf, screw, zero
from assistant.errors import BadInput
from assistant.joinery.units import MM_PER_UNIT
from tests.sampling import every

EXACT = Caliper(error=Fraction(0))


def readings(*pairs: tuple[str, str], side: str = "up") -> list[Reading]:
    return [Reading(chr(65 + n), Fraction(x), Fraction(value), side) for n, (x, value) in enumerate(pairs)]


def same(*values: str, x: str = "12") -> list[Reading]:
    return readings(*((x, value) for value in values))


# Kerf


def test_the_kerf_is_the_spacing_less_the_wood_left() -> None:
    found = kerf(same("8.82", "8.82", "8.82"), EXACT)
    assert found.value == pytest.approx(3.18)


def test_the_uncertainty_of_a_kerf_by_hand() -> None:
    """Five readings 8.81 .. 8.83: mean 8.82, s = 0.0070711, s/sqrt 5 = 0.0031623.

    Student's factor at 95.45 % with 4 degrees of freedom 2.869 / 2; resolution 0.01/sqrt 12 = 0.0028868; travel
    0.001 x 12 = 0.012; own error 0.0115470.
    """
    found = kerf(same("8.81", "8.82", "8.82", "8.82", "8.83"), Caliper(error=Fraction(2, 100)))
    assert [c.u for c in found.components] == pytest.approx([0.004537, 0.0028868, 0.012, 0.0115470], abs=2e-6)
    assert found.u == pytest.approx(math.sqrt(0.004537**2 + 0.0028868**2 + 0.012**2 + 0.011547**2), abs=2e-6)
    assert found.expanded == 2 * found.u


def test_reading_the_same_place_again_doesnt_wear_the_resolution_down() -> None:
    """Fifty times 8.82 is still 8.82 within half a hundredth."""
    found = kerf([Reading(str(n), Fraction(12), Fraction("8.82")) for n in range(50)], EXACT, Component("travel", 0.0))
    assert found.u == pytest.approx(0.01 / math.sqrt(12))


def test_readings_of_one_place_count_as_one() -> None:
    """Three fingers read twice over are three remainders: two degrees of freedom, not five."""
    found = kerf(same("8.82", "8.83", "8.81") + same("8.83", "8.83", "8.82"), EXACT)
    assert found.components[0].dof == 2
    assert found.value == pytest.approx(12 - (8.825 + 8.83 + 8.815) / 3)


def test_two_spacings_take_the_screws_error_out_of_the_kerf() -> None:
    """With a screw 0.4 % long: 12.048 - 3.18 = 8.868 and 36.144 - 3.18 = 32.964; each alone misses by 0.05 and more."""
    rows = [("12", "8.868"), ("12", "8.868"), ("36", "32.964"), ("36", "32.964")]
    found = kerf(readings(*rows), Caliper(step=Fraction(1, 1000), error=Fraction(0)))
    assert found.value == pytest.approx(3.18)
    assert found.scale == pytest.approx(1.004)


def test_a_calibrated_screw_makes_the_kerf_surer() -> None:
    rows = [("12", "8.82"), ("12", "8.83"), ("12", "8.82"), ("36", "32.83"), ("36", "32.82")]
    alone, helped = kerf(readings(*rows), EXACT), kerf(readings(*rows), EXACT, Component("travel", 0.0002))
    assert helped.u < alone.u
    assert helped.value == pytest.approx(alone.value, abs=alone.u)


def test_a_calibrated_screw_that_these_readings_doubt_widens_the_uncertainty() -> None:
    """They show 0.13 % more, within their uncertainty: the mean of all counts, and U reaches the line's kerf."""
    short = [("12", value) for value in ("8.79", "8.85", "8.80", "8.84", "8.82")]
    long = [("36", value) for value in ("32.82", "32.88", "32.83", "32.87", "32.85")]
    known = Component("carriage's travel (calibrated)", 0.0002)
    alone, helped = kerf(readings(*short, *long), EXACT), kerf(readings(*short, *long), EXACT, known)
    assert helped.scale is None and helped.u < alone.u
    assert 0.02 < abs(helped.value - alone.value) <= helped.expanded
    travel = next(part.u for part in helped.components if part.name == known.name)
    assert travel == pytest.approx(24 * math.hypot(0.0002, 0.03 / 24 / 2), rel=1e-6)


def test_a_calibrated_screw_is_not_believed_against_the_readings() -> None:
    rows = [("12", "8.868"), ("12", "8.868"), ("36", "32.964"), ("36", "32.965")]
    found = kerf(readings(*rows), Caliper(step=Fraction(1, 1000), error=Fraction(0)), Component("travel", 0.0002))
    assert found.value == pytest.approx(3.18, abs=0.002)


# Screw, zero, backlash


def test_a_screw_is_the_slope() -> None:
    rows = [(str(x), str(Fraction(x) * Fraction("1.004") + 5)) for x in (10, 40, 70, 100)]
    found = screw(readings(*rows), Caliper(step=Fraction(1, 1000), error=Fraction(0)))
    assert found.value == pytest.approx(1.004, rel=1e-12)


def test_a_screw_needs_a_distance() -> None:
    with pytest.raises(BadInput, match="error shows only over a distance"):
        screw(same("8.82", "8.83", "8.82", "8.81"), EXACT)


@pytest.mark.parametrize(("width", "expected"), [(Fraction("3.18"), 0.05), (None, 0.05)])
def test_the_zero_is_the_level(width: Fraction | None, expected: float) -> None:
    """Outside: the near wall lies at the setting, less the kerf, more the offset; inside: without the kerf."""
    rows = [(str(x), str(Fraction(x) + Fraction("0.05") - (width or 0))) for x in (10, 20, 30, 40)]
    assert zero(readings(*rows), EXACT, outside_kerf=width).value == pytest.approx(expected)


def test_the_kerfs_uncertainty_goes_into_an_outside_zero() -> None:
    rows = [(str(x), str(Fraction(x) - 3)) for x in (10, 20, 30, 40)]
    sure, unsure = (zero(readings(*rows), EXACT, outside_kerf=Fraction(3), u_kerf=u) for u in (0.0, 0.03))
    assert unsure.u == pytest.approx(math.hypot(sure.u, 0.03))


def test_backlash_is_the_difference_of_the_two_sides() -> None:
    ups = readings(("10", "10.00"), ("20", "20.01"), ("30", "29.99"))
    downs = readings(("10", "10.08"), ("20", "20.10"), ("30", "30.06"), side="down")
    found = backlash(ups + downs, EXACT)
    assert found.value == pytest.approx(0.08)
    assert found.components[0].dof == 2


def test_backlash_by_cuts_is_half_the_difference() -> None:
    """Before a cut that was come down to, the wood is longer by the play; behind it, shorter."""
    before = readings(*[("12", "8.90")] * 3, side="down")
    behind = readings(*[("12", "8.74")] * 3, side="up")
    assert backlash(before + behind, EXACT, by_cuts=True).value == pytest.approx(0.08)


def test_the_calipers_resolution_counts_for_both_readings_and_halved_where_half_the_difference_counts() -> None:
    """Each of the two rounds by a hundredth, rectangular (GUM 4.3.7); their errors add as squares (GUM 5.1.2)."""
    both = math.sqrt(2) * 0.01 / math.sqrt(12)
    ups, downs = readings(*[("12", "12.00")] * 3), readings(*[("12", "12.16")] * 3, side="down")
    assert backlash(ups + downs, EXACT).components[1].u == pytest.approx(both)
    assert backlash(ups + downs, EXACT, by_cuts=True).components[1].u == pytest.approx(both / 2)


PAIRS = {"A": ("9.59", "9.43"), "B": ("9.60", "9.43"), "C": ("9.59", "9.42"), "D": ("9.58", "9.43")}


def beside(pairs: dict[str, tuple[str, str]]) -> list[Reading]:
    """The wood before and behind each cut that was come down to, of a board with cuts 12.7 mm apart."""
    return [
        Reading(label, Fraction("12.7"), Fraction(value), side)
        for label, values in pairs.items()
        for value, side in zip(values, ("down", "up"), strict=True)
    ]


@pytest.mark.parametrize(
    ("misread", "label", "by"), [(("9.59", "9.93"), "A2", "0.5 mm over"), (("9.09", "9.43"), "A1", "0.49 mm under")]
)
def test_a_misread_side_is_seen_by_the_sum_of_both_and_left_out(misread: tuple[str, str], label: str, by: str) -> None:
    """Play moves wood from one side to the other, and never adds any."""
    found = backlash(beside({**PAIRS, "A": misread}), EXACT, by_cuts=True, kerf=Fraction("3.18"))
    assert found.value == pytest.approx(0.0825, abs=0.001)
    (gone,) = found.left_out
    assert gone.reading.label == label and by in gone.why


def test_of_three_pairs_a_misread_one_leaves_too_few() -> None:
    with pytest.raises(BadInput, match="left out: together with A1 it is 0.49 mm over"):
        backlash(beside({"A": ("9.59", "9.93"), "B": PAIRS["B"], "C": PAIRS["C"]}), EXACT, by_cuts=True)


def test_pairs_with_a_side_that_the_caliper_cannot_show_count_among_those_given() -> None:
    """Two of seven can't be right, so the other five still give the play; of four, they are too many."""
    seven = dict(zip("ABCDEFG", [*PAIRS.values(), *PAIRS.values()], strict=False))
    odd = {"A": ("9.595", "9.43"), "B": ("9.60", "9.435")}
    found = backlash(beside(seven | odd), EXACT, by_cuts=True)
    assert len(found.left_out) == 2 and found.value == pytest.approx(0.0825, abs=0.002)
    with pytest.raises(BadInput, match="2 of 4 can't be right"):
        backlash(beside(PAIRS | odd), EXACT, by_cuts=True)


def test_two_pairs_that_disagree_are_both_left_out() -> None:
    with pytest.raises(BadInput) as caught:
        backlash(beside({"A": ("9.59", "10.43"), "B": PAIRS["B"]}), EXACT, by_cuts=True)
    assert len(caught.value.faults) == 3


def test_sums_that_all_differ_from_the_layout_belong_to_another_board() -> None:
    """Two spacings less two kerfs are 19.04 mm; from wall to wall it is two spacings."""
    walls = {label: (str(Fraction(a) + 3), str(Fraction(b) + 3)) for label, (a, b) in PAIRS.items()}
    with pytest.raises(
        BadInput, match=r"add up to about 19.04 mm, however large the play is \(got 25.015 mm beside cut A\)"
    ):
        backlash(beside(walls), EXACT, by_cuts=True, kerf=Fraction("3.18"))
    assert backlash(beside(walls), EXACT, by_cuts=True).value == pytest.approx(0.0825, abs=0.002)


def test_readings_of_a_gauge_have_no_such_sum() -> None:
    """The instrument may be set to zero again between settings."""
    rows = [
        Reading(str(x), Fraction(x), Fraction(x) + shift + play, side)
        for x, shift in ((10, 0), (20, 3), (30, -4))
        for side, play in (("up", Fraction(0)), ("down", Fraction("0.08")))
    ]
    assert backlash(rows, EXACT).value == pytest.approx(0.08)


def test_a_side_alone_makes_no_pair() -> None:
    with pytest.raises(BadInput, match="too few pairs"):
        backlash(readings(("10", "10.00"), ("20", "20.01"), ("30", "29.99")), EXACT)


def test_no_play_is_said_to_be_none() -> None:
    ups = readings(("10", "10.00"), ("20", "20.01"), ("30", "29.99"))
    downs = readings(("10", "10.01"), ("20", "20.00"), ("30", "30.00"), side="down")
    assert backlash(ups + downs, EXACT).notes == ("The play is smaller than its uncertainty: there may be none.",)


# Blunders

GOOD = ("8.82", "8.83", "8.81", "8.82", "8.83")


@pytest.mark.parametrize(
    ("value", "why"),
    [
        ("8.28", "two digits may have been exchanged: 8.82 mm fits"),
        ("9.82", "one digit may be wrong: 8.82 mm fits"),
        ("88.2", "it fits with the decimal point further to the left"),
        ("0.88", "it fits with the decimal point further to the right"),
        ("224.03", "beyond the caliper's range of 150 mm; it fits if read as mm, not inches"),
        ("0.35", "it fits if read as inches, not mm"),
        ("8.823", "a caliper with steps of 0.01 mm can't show it"),
        ("9.10", "0.278 mm over what the other 5 lead to expect, which vary by 0.008 mm"),
    ],
)
def test_a_blunder_is_left_out_with_the_reason(value: str, why: str) -> None:
    kept, out = screen(same(*GOOD, value), EXACT)
    assert [r.value for r in kept] == [Fraction(each) for each in GOOD]
    (one,) = out
    assert one.reading.value == Fraction(value)
    assert why in one.why


def test_inches_typed_as_millimetres_are_recognised_in_an_inch_shop() -> None:
    inch = Caliper(Fraction("0.0127"), Fraction("152.4"), Fraction("0.0127"), "in")
    values = ["0.3125", "0.3130", "0.3120", "0.3125", "7.9375"]
    rows = [Reading(str(n), Fraction("11.1125"), Fraction(v) * MM_PER_UNIT["in"]) for n, v in enumerate(values)]
    _, (one,) = screen(rows, inch)
    assert "beyond the caliper's range of 6 in; it fits if read as mm, not inches" in one.why


def test_a_blunder_on_a_line_is_found_wherever_it_lies() -> None:
    for spot in range(8):
        rows = [Reading(str(n), Fraction(10 * n + 10), Fraction(1004 * (n + 1), 100)) for n in range(8)]
        rows[spot] = Reading(str(spot), rows[spot].x, rows[spot].value + Fraction(1, 2))
        found = screw(rows, EXACT)
        assert [each.reading.label for each in found.left_out] == [str(spot)]
        assert found.value == pytest.approx(1.004, abs=1e-9)


def test_two_blunders_of_eight_are_found_together() -> None:
    found = kerf(same(*GOOD, "8.81", "8.28", "9.82"), EXACT)
    assert [float(each.reading.value) for each in found.left_out] == [8.28, 9.82]
    assert found.value == pytest.approx(3.18, abs=0.005)


def test_if_many_disagree_there_is_no_value() -> None:
    rows = same("8.82", "8.83", "8.82", "9.82", "7.15")
    with pytest.raises(BadInput, match=r"12 mm disagree, and too few agree to show which are right \(got A 8.82 mm, B"):
        kerf(rows, EXACT)
    with pytest.raises(BadInput, match=r"of 5 can't be right; look for the cause"):
        zero(rows, EXACT, outside_kerf=None)


def test_a_third_may_be_left_out_and_no_more() -> None:
    """A caliper with steps of a hundredth shows no thousandths."""
    found = zero(same("8.82", "8.83", "8.82", "8.83", "8.825", "8.815"), EXACT, outside_kerf=None)
    assert len(found.left_out) == 2
    with pytest.raises(BadInput, match="3 of 6 can't be right"):
        zero(same("8.82", "8.83", "8.82", "8.835", "8.825", "8.815"), EXACT, outside_kerf=None)


def test_too_few_readings_are_refused_with_the_reason_for_each_left_out() -> None:
    with pytest.raises(BadInput, match=r"too few readings.*\(got 2\)"):
        kerf(same("8.82", "8.83"), EXACT)
    with pytest.raises(BadInput) as caught:
        kerf(same("8.82", "8.83", "8.825"), EXACT)
    assert [fault.where for fault in caught.value.faults] == ["reading C", "readings"]


def test_sound_readings_are_hardly_ever_left_out() -> None:
    """At the level chosen, of 500 sets about one loses a reading; 400 seeded sets may lose three."""
    lost = 0
    for seed in range(400):
        rng = random.Random(seed)
        rows = [Reading(str(n), Fraction(12), shown(8.82 + rng.gauss(0, 0.03))) for n in range(7)]
        lost += bool(screen(rows, EXACT)[1])
    assert lost <= 3


# Simulated saws: their truth is hidden from what calibrates them.


def shown(length: float, step: Fraction = Fraction(1, 100)) -> Fraction:
    """A caliper's reading."""
    return round(Fraction(length) / step) * step


@dataclass
class Saw:
    """A 3/8-16 screw that moves `scale` of what it should, a kerf, an offset, play, and noise of each setting."""

    rng: random.Random
    width: float
    scale: float = 1.004
    offset: float = 0.0
    play: float = 0.0
    noise: float = 0.0

    def wall(self, setting: Fraction, down: bool = False) -> float:
        """The place of a cut's near wall (zero outside)."""
        at = float(setting) * self.scale + self.offset - self.width + (self.play if down else 0.0)
        return at + self.rng.gauss(0, self.noise)


TURN = Fraction("1.5875")


def covered(trial: Callable[[random.Random], tuple[Value, float]], trials: int) -> float:
    """The share of seeded trials in which the truth lies within U."""
    hits = 0
    for seed in range(trials):
        value, truth = trial(random.Random(seed))
        hits += abs(value.value - truth) <= value.expanded
    return hits / trials


def screw_trial(rng: random.Random) -> tuple[Value, float]:
    """Ten cuts 8 turns apart, measured from the reference edge, hand and setting together 0.02 mm."""
    saw = Saw(rng, rng.uniform(2, 4), offset=rng.uniform(-0.2, 0.2), noise=0.02)
    rows = [Reading(str(n), 8 * n * TURN, shown(saw.wall(8 * n * TURN))) for n in range(1, 11)]
    return screw(rows, EXACT), saw.scale


@pytest.mark.parametrize(("trials", "off"), every(2, [(400, 0.02), (1000, 0.015)]))
def test_a_screw_off_by_four_in_a_thousand_is_found_within_its_stated_uncertainty(trials: int, off: float) -> None:
    """3/8-16 (ASME B1.1), 0.4 % long: covered in 95 % of the seeded trials, as nearly as so many can show it."""
    share = covered(screw_trial, trials)
    assert abs(share - 0.95) <= off, share


def test_a_calipers_own_error_is_covered_too() -> None:
    """It runs out to its limit over the range, either way; on the safe side, never below 93.5 %."""

    def trial(rng: random.Random) -> tuple[Value, float]:
        saw = Saw(rng, 3.18, noise=0.02)
        own = rng.uniform(-0.02, 0.02) / 130
        rows = [Reading(str(n), 8 * n * TURN, shown(saw.wall(8 * n * TURN) * (1 + own))) for n in range(1, 11)]
        return screw(rows, Caliper(error=Fraction(2, 100))), saw.scale

    assert covered(trial, 250) >= 0.935


def kerf_rows(saw: Saw, rng: random.Random) -> Iterator[Reading]:
    """The test board: five short spacings and five long ones, the wood between neighbours, read twice over."""
    at = 8 * TURN
    walls = [(at, saw.wall(at))]
    for turns in (6,) * 5 + (20,) * 5:
        at += turns * TURN
        walls.append((at, saw.wall(at)))
    for _ in range(2):
        for label, (one, left), (other, right) in zip("ABCDEFGHJK", walls, walls[1:], strict=False):
            yield Reading(label, other - one, shown(right - left - saw.width + rng.gauss(0, 0.008)))


def test_a_kerf_is_found_within_its_stated_uncertainty() -> None:
    """Neighbouring remainders share a cut, which errs on the safe side: at least 93.5 % for any screw."""

    def trial(rng: random.Random) -> tuple[Value, float]:
        saw = Saw(rng, rng.uniform(2, 4), scale=rng.uniform(0.996, 1.004), noise=0.01)
        return kerf(list(kerf_rows(saw, rng)), EXACT), saw.width

    assert covered(trial, 250) >= 0.935


def test_backlash_is_found_within_its_stated_uncertainty() -> None:
    """Four cuts come down to, each between two others, by the wood on both sides."""

    def trial(rng: random.Random) -> tuple[Value, float]:
        saw = Saw(rng, 3.18, play=rng.uniform(0, 0.3), noise=0.02)
        rows = []
        for n in range(4):
            at = [(24 * n + 8 * k) * TURN for k in (1, 2, 3)]
            walls = [saw.wall(at[0]), saw.wall(at[1], down=True), saw.wall(at[2])]
            rows.append(Reading(str(n), 8 * TURN, shown(walls[1] - walls[0] - saw.width), "down"))
            rows.append(Reading(str(n), 8 * TURN, shown(walls[2] - walls[1] - saw.width), "up"))
        return backlash(rows, EXACT, by_cuts=True), saw.play

    assert 0.935 <= covered(trial, 500) <= 0.975


def test_skipped_readings_are_shown_in_the_unit_they_were_read_in() -> None:
    inch = Caliper(Fraction("0.0127"), Fraction("152.4"), Fraction("0.0127"), "in")
    rows = [Reading("A", Fraction("11.1125"), Fraction(v) * MM_PER_UNIT["in"]) for v in ("0.3125", "0.31213")]
    with pytest.raises(BadInput) as caught:
        kerf(rows, inch)
    fault = str(caught.value.faults[0])
    assert "0.31213 in" in fault and "mm" not in fault and "--caliper" in fault
