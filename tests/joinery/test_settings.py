"""Settings: both zeros, three kinds of carriage, absolute rounding, approach and travel."""

from __future__ import annotations

from fractions import Fraction as F
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from assistant.joinery.layout import even, mate
from assistant.joinery.model import Blade, Carriage, Pass, Segment
from assistant.joinery.passes import Cut, cuts
from assistant.joinery.settings import (
    approach,
    approach_is_short,
    as_passes,
    descent_is_short,
    dial,
    exact_setting,
    places,
    reading,
    rounding_report,
    travel_faults,
    widest_edge_fin,
    widest_fin,
)
from assistant.joinery.units import round_to_step
from assistant.joinery.walls import open_walls
from tests.joinery.plans import Joint, joints, removed, sockets
from tests.joinery.references import rows
from tests.sampling import fractions

INCH = F(254, 10)
THREADS = {row["designation"]: row for row in rows("threads")}


def handwheel(pitch: F, divisions: int = 100, **more: Any) -> Carriage:
    return Carriage("handwheel", pitch / divisions, pitch, divisions, **more)


def lead(row: dict[str, str]) -> F:
    """Millimetres per turn, exact: the table prints endless decimals rounded, but states the pitch in full."""
    number, unit = row["pitch_as_stated"].split() if "/" in row["pitch_as_stated"] else (row["lead_mm"], "mm")
    return F(number) * (INCH if unit == "in" else 1)


def pass_at(setting: F, number: int = 1) -> Pass:
    return Pass(number, 1, setting - 3, setting, setting)


# Where the carriage is


def test_zero_outside_stands_at_kerf_to_and_inside_at_kerf_from():
    assert exact_setting(F(6), F(9), Carriage(zero="outside")) == 9
    assert exact_setting(F(6), F(9), Carriage(zero="inside")) == 6


def test_at_setting_zero_the_kerf_lies_just_outside_or_flush_with_the_edge():
    """Outside: kerf from -k to 0. Inside: kerf from 0 to k."""
    assert exact_setting(F(-3), F(0), Carriage(zero="outside")) == 0
    assert exact_setting(F(0), F(3), Carriage(zero="inside")) == 0


def test_passes_come_out_ascending_whatever_order_the_cuts_are_in():
    made = as_passes([Cut(2, F(20), F(23)), Cut(1, F(5), F(8)), Cut(1, F(3), F(6))], Carriage())
    assert [(p.number, p.socket, p.setting) for p in made] == [(1, 1, 6), (2, 1, 8), (3, 2, 23)]


@pytest.mark.parametrize(
    ("exact", "rounded"),
    [(F(12345, 1000), F(1234, 100)), (F(12355, 1000), F(1236, 100)), (F(123451, 10_000), F(1235, 100))],
)
def test_settings_are_rounded_half_to_even(exact, rounded):
    [made] = as_passes([Cut(1, exact - 3, exact)], Carriage())
    assert (made.setting, made.kerf_to) == (rounded, exact)


@given(joints())
def test_rounding_is_absolute_so_no_error_adds_up(joint):
    for part in joint.parts:
        for one in part.passes:
            assert (one.setting / joint.carriage.resolution).denominator == 1
            exact = exact_setting(one.kerf_from, one.kerf_to, joint.carriage)
            assert abs(one.setting - exact) <= joint.carriage.resolution / 2


# Travel


@pytest.mark.parametrize(
    ("setting", "wheres"),
    [
        (F(-1, 100), ["carriage.travel"]),
        (F(0), []),
        (F(400), []),
        (F(40001, 100), ["carriage.travel"]),
    ],
)
def test_settings_outside_the_travel_are_faults(setting, wheres):
    carriage = Carriage(travel=(F(0), F(400)))
    assert [fault.where for fault in travel_faults([pass_at(setting)], carriage)] == wheres
    assert travel_faults([pass_at(setting)], Carriage()) == []


def test_both_ends_are_reported_at_once_with_their_worst():
    carriage = Carriage(travel=(F(0), F(400)))
    faults = travel_faults([pass_at(F(n)) for n in (-1, -2, 200, 401)], carriage)
    assert [fault.value for fault in faults] == ["-2 mm", "401 mm"]
    assert faults[0].what == "2 settings lie outside the carriage's travel of 0 mm to 400 mm"
    assert faults[1].what.startswith("a setting lies")


def test_below_zero_the_other_zero_is_suggested_and_helps():
    blade, travel = Blade(F(635, 100)), (F(0), F(400))
    edge_only = (Segment(F(0), F(2), False), Segment(F(2), F(84), True))
    inside, outside_ = Carriage(zero="inside", travel=travel), Carriage(zero="outside", travel=travel)
    over_edge = cuts(edge_only, F(84), blade)
    [fault] = travel_faults(as_passes(over_edge, inside), inside)
    assert 'carriage.zero = "outside"' in fault.mend
    assert travel_faults(as_passes(over_edge, outside_), outside_) == []


def test_the_other_zero_is_not_suggested_where_it_is_in_use_already():
    [fault] = travel_faults([pass_at(F(-1))], Carriage(travel=(F(0), F(400))))
    assert "outside" not in fault.mend


# Approach


@pytest.mark.parametrize(
    ("carriage", "setting", "point"),
    [
        (Carriage(), F(10), F(95, 10)),
        (Carriage(backlash=F(1, 4)), F(10), F(925, 100)),
        (handwheel(F(2), backlash=F(1, 10)), F(10), F(89, 10)),
        (handwheel(F(2), backlash=F(1, 100)), F(10), F(898, 100)),  # 8.99 is half a mark: down
        (Carriage(resolution=F(1, 3)), F(10), F(28, 3)),  # 9.5 lies between 28/3 and 29/3: down
        (Carriage(), F(2, 10), F(-3, 10)),
        (Carriage(travel=(F(0), F(400))), F(2, 10), F(0)),
        (Carriage(travel=(F(0), F(400))), F(0), None),
        (Carriage(resolution=F(1, 3), travel=(F(1, 2), F(400))), F(4, 3), F(2, 3)),
    ],
)
def test_a_downward_move_goes_past_and_comes_back_up(carriage, setting, point):
    assert approach(carriage, F(50), setting) == point


@pytest.mark.parametrize(("setting", "point"), [(F(-1), F(-15, 10)), (F(0), None), (F(1), None)])
def test_the_first_setting_is_reached_from_zero(setting, point):
    assert approach(Carriage(), None, setting) == point
    assert approach_is_short(Carriage(travel=(F(-1), F(400))), None, setting) is (setting < 0)
    assert approach_is_short(Carriage(travel=(F(-2), F(400))), None, setting) is False


@pytest.mark.parametrize("previous", [None, F(0), F(10)])
def test_an_upward_move_or_none_needs_no_approach(previous):
    assert approach(Carriage(), previous, F(10)) is None
    assert approach_is_short(Carriage(travel=(F(10), F(400))), previous, F(10)) is False


@pytest.mark.parametrize(
    ("setting", "short"), [(F(49, 100), True), (F(1, 2), False), (F(51, 100), False), (F(0), True)]
)
def test_a_travel_that_shortens_the_approach_is_noticed(setting, short):
    assert approach_is_short(Carriage(travel=(F(0), F(400))), F(50), setting) is short
    assert approach_is_short(Carriage(), F(50), setting) is False


@given(
    fractions(-10, 400, max_denominator=1000),
    fractions(F(1, 100), F(1, 2), max_denominator=200),
    fractions(0, 1, max_denominator=50),
    st.booleans(),
    st.booleans(),
)
def test_the_point_gone_past_to_is_settable_low_enough_and_in_travel(setting, resolution, backlash, screw, limited):
    travel = (F(-10), F(400)) if limited else None
    carriage = Carriage("readout", resolution, F(2) if screw else None, travel=travel, backlash=backlash)
    setting = round_to_step(setting, resolution)
    point = approach(carriage, setting + 1, setting)
    wanted = backlash + (1 if screw else F(1, 2))
    if point is not None:
        assert (point / resolution).denominator == 1
        assert travel is None or travel[0] <= point
        assert setting - point < wanted + resolution
    short = point is None or setting - point < wanted
    assert approach_is_short(carriage, setting + 1, setting) == short
    assert travel is not None or not short


# Readings


def test_an_inch_of_travel_takes_the_published_number_of_turns():
    """ASME B1.1, ISO 261 / ISO 724, ISO 2901 to 2904 (DIN 103), ASME B1.5, by published tables."""
    for row in THREADS.values():
        turns, mark = dial(handwheel(lead(row)), INCH)
        assert float(turns + mark / 100) == pytest.approx(float(row["turns_per_inch_of_travel"]), abs=5e-9), row


# Worked from the same standards by turns = travel / lead.
@pytest.mark.parametrize(
    ("thread", "travel", "turns", "mark"),
    [
        ("1/4-20 UNC", INCH, 20, 0),
        ("3/8-16 UNC", INCH / 16, 1, 0),
        ("3/8-16 UNC", F(6), 3, F("3.779527559") - 3),
        ("M8", F(6), 4, F(288, 360)),
        ("M8", F(20), 16, 0),
        ("M8", INCH, 20, F(32, 100)),
        ("1/2-13 UNC", INCH * 3 / 4, 9, F(3, 4)),
        ("1/2-10 Acme", INCH * 3 / 8, 3, F(3, 4)),
        ("Tr8x2", F(100), 50, 0),
        ("Tr8x8(P2)", INCH * 3 / 8, 1, F("0.190625")),
    ],
)
def test_turns_and_marks_match_the_worked_table(thread, travel, turns, mark):
    full, part = dial(handwheel(lead(THREADS[thread]), 100), travel)
    assert full == turns
    assert abs(part / 100 - mark) < F(1, 10**9)


def test_a_stepper_on_a_two_millimetre_lead_counts_1600_microsteps_to_the_millimetre():
    """200 steps a turn, 16 microsteps; 3/8-16: 0.0079375 mm a full step."""
    assert reading(Carriage("steps", F(2, 200 * 16)), F(100)) == "160000"
    assert reading(Carriage("steps", lead(THREADS["3/8-16 UNC"]) / 200), F("0.0079375")) == "1"


@pytest.mark.parametrize(
    ("carriage", "setting", "shown"),
    [
        (Carriage(), F(1235, 100), "12.35"),
        (Carriage(), F(12), "12.00"),
        (Carriage(), F(-1, 2), "-0.50"),
        (Carriage(resolution=F(1, 200)), F(12), "12.000"),
        (Carriage(resolution=F(1)), F(12), "12"),
        (Carriage(resolution=INCH / 1000, unit="in"), INCH / 2, "0.500"),
        (Carriage(resolution=INCH / 64, unit="in"), INCH * 3 / 64, "0.046875"),
        (Carriage(resolution=F(1, 100), unit="in"), INCH, "1.0000"),
        (handwheel(F(2)), F(1286, 100), "6 turns + 43"),
        (handwheel(F(2)), F(286, 100), "1 turn + 43"),
        (handwheel(F(2)), F(86, 100), "0 turns + 43"),
        (handwheel(F(2)), F(87, 100), "0 turns + 43.5"),
        (handwheel(F(2)), F(2) - F(1, 10**6), "1 turn + 0"),
        (handwheel(F(2)), F(-1, 2), "25 marks below zero, mark 75"),
        (handwheel(F(2)), F(-2), "1 turn below zero, mark 0"),
        (handwheel(F(2)), F(-602, 100), "3 turns + 1 mark below zero, mark 99"),
        (handwheel(INCH / 16), INCH * 5 / 32, "2 turns + 50"),
        (Carriage("steps", F(1, 400)), F(1235, 100), "4940"),
    ],
)
def test_a_setting_is_written_as_the_carriage_shows_it(carriage, setting, shown):
    assert reading(carriage, setting) == shown


def test_a_readout_without_a_dial_has_no_marks():
    with pytest.raises(ValueError, match="only a handwheel"):
        dial(Carriage(), F(1))


@given(fractions(F(1, 10_000), 2, max_denominator=10_000), st.sampled_from(["mm", "in"]), st.integers(-999, 999))
def test_neighbouring_settings_never_read_alike(resolution, unit, count):
    carriage = Carriage(resolution=resolution, unit=unit)
    assert reading(carriage, count * resolution) != reading(carriage, (count + 1) * resolution)
    assert places(carriage) <= 6


@given(fractions(-50, 400, max_denominator=1000), st.sampled_from([F(2), INCH / 16, INCH / 13]))
def test_turns_and_mark_lead_back_to_the_setting(setting, pitch):
    turns, mark = dial(handwheel(pitch, 80), setting)
    assert 0 <= mark < 80
    assert (turns + mark / 80) * pitch == setting


# What rounding does


def really(part, carriage):
    """(left wall, right wall) of every socket as the rounded carriage cuts it, by the definition."""
    found: dict[int, tuple[F, F]] = {}
    for one in part.passes:
        moved = one.setting - (one.kerf_from if carriage.zero == "inside" else one.kerf_to)
        left, right = one.kerf_from + moved, one.kerf_to + moved
        before = found.get(one.socket, (left, right))
        found[one.socket] = (min(before[0], left), max(before[1], right))
    return [found[n] for n in sorted(found)]


def slide_left(joint: Joint) -> F | None:
    """How far A can be slid in B before wood meets wood, from the walls alone; None if only one way is stopped."""
    a, b = joint.parts
    rightmost, leftmost = [], []
    for s, (left, right) in zip(a.sockets, really(a, joint.carriage), strict=True):
        # The finger of B in this socket of A runs between the neighbouring sockets of B.
        for t, (mate_left, mate_right) in zip(b.sockets, really(b, joint.carriage), strict=True):
            if s.start > 0 and abs(t.end - s.start) == joint.clearance / 2:
                rightmost.append(mate_right - left)
            if s.end < joint.width and abs(t.start - s.end) == joint.clearance / 2:
                leftmost.append(mate_left - right)
    if not rightmost or not leftmost:
        return None
    return min(rightmost) - max(leftmost)


@settings(max_examples=200, deadline=None)
@given(joints())
def test_the_worst_clearance_is_how_far_the_parts_can_slide(joint):
    left = slide_left(joint)
    assume(left is not None and min(s.width for s in joint.nominal) > joint.clearance)
    a, b = joint.parts
    greatest, worst = rounding_report(a.passes + b.passes, joint.carriage, joint.clearance, width=joint.width)
    assert worst == left
    assert worst >= joint.clearance - 4 * greatest
    assert greatest <= joint.carriage.resolution / 2


@settings(max_examples=100, deadline=None)
@given(joints())
def test_the_report_needs_neither_the_order_of_parts_nor_each_part_once(joint):
    a, b = joint.parts
    once = rounding_report(a.passes + b.passes, joint.carriage, joint.clearance, width=joint.width)
    assert rounding_report(b.passes + a.passes + b.passes, joint.carriage, joint.clearance, width=joint.width) == once
    if len(joint.nominal) > 2:
        assert rounding_report(a.passes + b.passes, joint.carriage, joint.clearance)[1] <= once[1]


def test_without_rounding_the_clearance_is_all_there():
    segments, carriage = even(F(84), F(6)), Carriage(resolution=F(1, 10_000))
    both = [
        one
        for part in (segments, mate(segments))
        for one in as_passes(cuts(open_walls(part, F(1, 10)), F(84), Blade(F(3), F(2, 10))), carriage)
    ]
    assert rounding_report(both, carriage, F(1, 10), width=F(84)) == (0, F(1, 10))


def test_a_coarse_readout_eats_the_clearance_and_it_shows():
    """In whole millimetres, left walls belong at 17.675 and are cut at 18; right walls belong at 14.025, cut at 14."""
    carriage = Carriage(resolution=F(1))
    segments = even(F(70), F(7))
    both = [
        one
        for part in (segments, mate(segments))
        for one in as_passes(cuts(open_walls(part, F(1, 10)), F(70), Blade(F(37, 10))), carriage)
    ]
    greatest, worst = rounding_report(both, carriage, F(1, 10), width=F(70))
    assert greatest == F(325, 1000)
    assert worst == F(1, 10) + 2 * (F(-25, 1000) - F(325, 1000))


def test_one_part_alone_is_judged_against_an_exact_mate():
    """One inner socket, 10 to 14: its left wall ends 0.04 too far right, its right wall 0.02 too far left."""
    passes = [
        Pass(1, 1, F(1001, 100), F(1301, 100), F(1305, 100)),
        Pass(2, 1, F(1099, 100), F(1399, 100), F(1397, 100)),
    ]
    greatest, worst = rounding_report(passes, Carriage(), F(1, 10), width=F(30))
    assert greatest == F(4, 100)
    assert worst == F(1, 10) - F(4, 100) - F(2, 100)
    assert rounding_report([], Carriage(), F(1, 10)) == (0, F(1, 10))


@pytest.mark.parametrize(
    ("overlap", "left"), [(F(0), F(1, 20)), (F(4, 100), F(1, 100)), (F(5, 100), F(0)), (F(6, 100), F(0))]
)
def test_a_fin_between_passes_is_found_where_rounding_outdoes_the_overlap(overlap, left):
    first = Pass(1, 1, F(10), F(13), F(1298, 100))
    second = Pass(2, 1, F(13) - overlap, F(16) - overlap, F(16) - overlap + F(3, 100))
    assert widest_fin([first, second], Carriage()) == left
    assert widest_fin([second], Carriage()) == 0


def test_a_fin_at_either_edge_is_found():
    near = Pass(1, 1, F(0), F(3), F(302, 100))
    far = Pass(2, 2, F(47), F(50), F(4997, 100))
    inner = Pass(3, 3, F(20), F(23), F(2305, 100))
    assert widest_edge_fin([near, inner], Carriage(), F(50)) == F(2, 100)
    assert widest_edge_fin([near, far, inner], Carriage(), F(50)) == F(3, 100)
    assert widest_edge_fin([near], Carriage(zero="inside"), F(50)) == F(302, 100)
    assert widest_edge_fin([inner], Carriage(), F(50)) == 0


@given(joints())
def test_what_rounding_leaves_in_the_sockets_agrees_with_geometry(joint):
    """The pieces of a board's sockets that the rounded passes miss, by shapely, are as wide as reported.

    With an overrun a fin may lie beyond the edge, where there is no wood: then no wider than reported.
    """
    for part in joint.parts:
        missed = sockets(part).difference(removed(part, joint.carriage))
        pieces = [p for p in getattr(missed, "geoms", [missed]) if p.area > 1e-9]
        walls = {float(w) for s in part.sockets for w in (s.start, s.end)} - {0.0, float(part.width)}
        inner = [p for p in pieces if not any(abs(p.bounds[i] - w) < 1e-9 for w in walls for i in (0, 2))]
        widest = max((p.bounds[2] - p.bounds[0] for p in inner), default=0.0)
        reported = max(
            widest_fin(part.passes, joint.carriage), widest_edge_fin(part.passes, joint.carriage, part.width)
        )
        assert float(reported) >= widest - 1e-8
        if joint.blade.overrun == 0:
            assert float(reported) == pytest.approx(widest, abs=1e-8)


def test_a_setting_to_come_down_to_has_its_point_above_every_earlier_setting() -> None:
    """A whole turn (1 mm at least) and the play known so far, rounded up to the resolution, within the travel."""
    screw, past = handwheel(F(254, 160), 125, backlash=F(1, 10)), F(254, 160) + F(1, 10)
    for before in (None, F(0), F(30), F(12)):
        point = approach(screw, before, F(12), True)
        assert point is not None and past <= point - F(12) < past + screw.resolution
        assert (point / screw.resolution).denominator == 1
    short = Carriage(travel=(F(0), F(121, 10)))
    assert approach(short, F(0), F(12), True) == F(121, 10) and descent_is_short(short, F(12))
    assert approach(short, F(0), F(121, 10), True) is None and descent_is_short(short, F(121, 10))
    assert not descent_is_short(short, F(11)) and not descent_is_short(Carriage(), F(12))
    assert approach(Carriage(), F(0), F(12), True) == approach(handwheel(F(1, 2)), F(0), F(12), True) == 13
