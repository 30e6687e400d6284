"""When readings of a kerf are refused instead of selected, and the results of the others by other libraries."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from assistant.calibrating.agreement import (
    GREATEST_TRAVEL_ERROR,
    Pair,
    agreeing_sums,
    disagreements,
    lone_places,
    sums_far_off,
    travel_off,
)
from assistant.calibrating.blunders import Caliper, LeftOut, Reading
from assistant.calibrating.uncertainty import Component
from assistant.calibrating.values import kerf
from assistant.errors import BadInput

EXACT = Caliper(error=Fraction(0))
SHORT, LONG = Fraction("9.525"), Fraction("31.75")
SOUND = {SHORT: ("6.34", "6.35", "6.34", "6.33", "6.35"), LONG: ("28.57", "28.56", "28.58", "28.57", "28.56")}


def board(short: str | tuple[str, ...] = SOUND[SHORT], long: str | tuple[str, ...] = SOUND[LONG]) -> list[Reading]:
    rows = [(SHORT, value) for value in short] + [(LONG, value) for value in long]
    return [Reading(letter, x, Fraction(value)) for letter, (x, value) in zip("ABCDEFGHJKLMN", rows, strict=False)]


def refused(readings: list[Reading], caliper: Caliper = EXACT, scale: Component | None = None) -> str:
    with pytest.raises(BadInput) as caught:
        kerf(readings, caliper, scale)
    return str(caught.value)


# By other libraries


def test_a_kerf_of_two_spacings_as_scipy_and_uncertainties_have_it() -> None:
    """The value by other means, and each part of its uncertainty.

    Its scatter by scipy's linregress and its Student distribution; what the caliper's rounding does to it, by the
    uncertainties package, through the line's two ends; all together as JCGM 100:2008, 5.1.2 adds them.
    """
    stats, uncertainties = pytest.importorskip("scipy.stats"), pytest.importorskip("uncertainties")
    caliper = Caliper(error=Fraction("0.02"))
    found = kerf(board(), caliper)
    xs = [float(x) for x, values in SOUND.items() for _ in values]
    line = stats.linregress(xs, [float(value) for values in SOUND.values() for value in values])
    assert found.value == pytest.approx(-line.intercept, rel=1e-12)
    assert found.scale == pytest.approx(line.slope, rel=1e-12)
    scatter = line.intercept_stderr * stats.t.ppf((1 + 0.9545) / 2, 8) / 2
    near, far = (uncertainties.ufloat(0, float(caliper.step) / math.sqrt(12)) for _ in range(2))
    rounding = ((far - near) / float(LONG - SHORT) * float(SHORT) - near).std_dev
    own = stats.uniform(-0.02, 0.04).std()
    assert [part.u for part in found.components] == pytest.approx([scatter, rounding, own], rel=1e-9)
    assert found.u == pytest.approx(math.sqrt(scatter**2 + rounding**2 + own**2), rel=1e-9)


# Of one spacing


@pytest.mark.parametrize(
    ("spacing", "values"),
    [
        (SHORT, ("6.34", "6.35", "6.84", "6.33", "6.35")),
        (LONG, ("28.57", "28.56", "28.58", "28.07", "28.56")),
        (LONG, ("28.57", "28.56", "29.58", "28.57")),
    ],
)
def test_one_misread_value_of_four_or_five_is_skipped(spacing: Fraction, values: tuple[str, ...]) -> None:
    found = kerf(board(values) if spacing == SHORT else board(long=values), EXACT)
    assert len(found.left_out) == 1
    assert found.value == pytest.approx(3.182, abs=0.01)


@pytest.mark.parametrize(
    "long",
    [
        ("28.57", "29.57"),
        ("28.57", "28.56", "29.57"),
        ("28.57", "28.56", "28.58", "29.57", "29.56"),
        ("28.57", "28.56", "28.58", "29.57", "27.56"),
    ],
)
def test_if_no_spacing_is_clearly_outvoted_none_is_chosen(long: tuple[str, ...]) -> None:
    """One of two or three, two of five: each of its readings is named, and none is called wrong."""
    text = refused(board(long=long))
    assert "readings with a spacing of 31.75 mm disagree, and too few agree to show which are right" in text
    assert all(f"{float(value):g} mm" in text for value in long)
    labels = ", ".join("FGHJK"[: len(long)])
    assert f"measure {labels} again" in text and "left out" not in text


def test_readings_that_the_instrument_cannot_show_are_named_among_those_that_disagree() -> None:
    text = refused(board(long=("28.57", "28.565")))
    assert "reading G: left out: a caliper with steps of 0.01 mm can't show it" in text
    assert "(got F 28.57 mm, G 28.565 mm)" in text


@pytest.mark.parametrize(("left_out", "faults"), [(3, 0), (4, 1)])
def test_of_ten_of_a_spacing_three_may_be_left_out_and_no_more(left_out: int, faults: int) -> None:
    rows = [Reading(label, SHORT, Fraction("6.34")) for label in "ABCDEFGHJK"]
    out = [LeftOut(row, "it stands apart") for row in rows[:left_out]]
    assert len(list(disagreements(rows, out, EXACT))) == faults


def test_spacings_a_little_apart_count_as_one() -> None:
    """9.5 and 10 mm lie at the same end of the line; 9.5 and 15 mm don't."""
    rows = [Reading(label, Fraction(x), Fraction(1)) for label, x in [("A", "9.5"), ("B", "10"), ("C", "15")]]
    assert "A 1 mm, B 1 mm" in next(str(f) for f in disagreements(rows, [LeftOut(rows[0], "")], EXACT))
    assert "got C 1 mm" in [str(f) for f in disagreements(rows, [LeftOut(rows[2], "")], EXACT)][-1]


def test_faults_of_two_spacings_are_named_at_once() -> None:
    rows = [*board(("6.34", "6.35"), ("28.57", "28.56"))]
    faults = list(disagreements(rows, [LeftOut(rows[0], "why"), LeftOut(rows[3], "why")], EXACT))
    assert [fault.value for fault in faults] == ["A 6.34 mm, B 6.35 mm", "C 28.57 mm, D 28.56 mm"]


# Ends that depend on one place


def test_a_single_place_at_one_end_of_the_line_gives_no_kerf() -> None:
    for readings, alone in ((board(long=("28.57",)), "F 28.57 mm"), (board(("6.34",)), "A 6.34 mm")):
        assert f"a mistake in it would not show (got {alone})" in refused(readings)


def test_a_place_read_twice_is_still_one() -> None:
    rows = [*board(long=("28.57",)), Reading("F", LONG, Fraction("28.57"))]
    assert "a mistake in it would not show (got F 28.57 mm)" in refused(rows)


def test_one_spacing_or_several_places_at_both_ends_hang_on_none() -> None:
    assert list(lone_places(board(long=()), EXACT)) == []
    assert list(lone_places(board(), EXACT)) == []
    spread = [Reading(str(x), Fraction(x), Fraction(x)) for x in (10, 20, 30, 40)]
    assert list(lone_places(spread, EXACT)) == []


# Pairs of a backlash board


def pairs(*sums_off: str, kerf: str = "3.18") -> list[Pair]:
    """The wood on both sides of cuts 12.7 mm apart that were come down to; each pair's sum is off by so much."""
    x, wood = Fraction("12.7"), Fraction("12.7") - Fraction(kerf)
    return [
        (label, Reading(label, x, wood + Fraction(off)), Reading(label, x, wood, "down"))
        for label, off in zip("ABCD", sums_off, strict=False)
    ]


@pytest.mark.parametrize(("step", "kept"), [("0.01", 3), ("0.05", 3), ("0.1", 4)])
def test_sums_may_differ_by_five_steps_of_a_coarse_caliper(step: str, kept: int) -> None:
    """A caliper that shows tenths rounds both readings of a pair by up to half a tenth."""
    found, out = agreeing_sums(pairs("0", "0", "0", "0.4"), Caliper(step=Fraction(step)))
    assert (len(found), len(out)) == (kept, 4 - kept)


@pytest.mark.parametrize(("kerf", "far_off"), [("2.38", True), ("2.39", False), ("3.97", False), ("3.98", True)])
def test_sums_belong_to_this_board_if_their_kerf_is_the_shop_files_within_a_quarter(kerf: str, far_off: bool) -> None:
    assert bool(list(sums_far_off(pairs("0", "0", "0", kerf=kerf), Fraction("3.18"), EXACT))) is far_off


# The carriage


def moved(scale: float) -> list[Reading]:
    """What a carriage that moves this far leaves, with a kerf of 3.18; to a thousandth."""
    return [
        Reading(letter, x, Fraction(round((float(x) * scale - 3.18) * 1000), 1000))
        for letter, x in zip("ABCDEFGHJK", [SHORT] * 5 + [LONG] * 5, strict=True)
    ]


FINE = Caliper(Fraction(1, 1000), error=Fraction(0))


@pytest.mark.parametrize("scale", [0.9952, 1.0, 1.0048])
def test_a_carriage_less_than_half_a_percent_off_makes_a_kerf(scale: float) -> None:
    found = kerf(moved(scale), FINE)
    assert found.value == pytest.approx(3.18, abs=0.001)
    assert found.scale == pytest.approx(scale, abs=1e-4)


@pytest.mark.parametrize(("scale", "off"), [(0.994, "0.60 % less far"), (1.0052, "0.52 % further")])
def test_a_carriage_further_off_makes_none_before_the_screw_is_calibrated(scale: float, off: str) -> None:
    for known in (None, Component("carriage's travel (calibrated)", 0.0002)):
        text = refused(moved(scale), FINE, known)
        assert f"the carriage moves {off} than it is set, and no kerf is written if it is over 0.5 % off" in text
        assert "calibrate the screw first (kerfcall calibrate screw)" in text
        assert f"{scale:.3f}" in text


def test_an_error_that_no_screw_has_is_blamed_on_the_readings() -> None:
    (fault,) = travel_off(0.8, 0.001)
    assert "20.00 % less far than it is set, which no screw does" in fault.what
    assert "screw first" not in fault.mend
    assert list(travel_off(1 + GREATEST_TRAVEL_ERROR - 1e-9, 0.1)) == []
