"""Clearance moves only inner walls, a quarter each. Thin wood gives a warning."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import assume, example, given

from assistant.errors import BadInput
from assistant.joinery.layout import even, listed, mate
from assistant.joinery.walls import number_list, open_walls, slivers
from tests.joinery.plans import nominal
from tests.sampling import fractions

C = F(1, 10)


def test_each_inner_wall_moves_a_quarter_into_its_own_wood_and_edges_stay():
    opened = open_walls(even(F(24), F(6)), C)
    q = C / 4
    assert [(s.start, s.end) for s in opened] == [
        (0, 6 - q),
        (6 - q, 12 + q),
        (12 + q, 18 - q),
        (18 - q, 24),
    ]


def leaves_wood(segments, clearance) -> bool:
    """Edge segments lose c/4 as fingers, inner ones c/2; what is left over at an edge may be thinner than that."""
    edges = min(segments[0].width, segments[-1].width)
    return edges > clearance / 4 and min((s.width for s in segments[1:-1]), default=F(1)) > clearance / 2


@given(nominal(), fractions(F(0), F(1), max_denominator=100))
def test_inner_sockets_widen_by_half_the_clearance_and_edge_sockets_by_a_quarter(segments, clearance):
    assume(leaves_wood(segments, clearance))
    opened = open_walls(segments, clearance)
    for number, (before, after) in enumerate(zip(segments, opened, strict=True)):
        inner_walls = 2 - (number == 0) - (number == len(segments) - 1)
        sign = -1 if before.is_finger else 1
        assert after.width - before.width == sign * inner_walls * clearance / 4


@given(nominal(), fractions(F(0), F(1), max_denominator=100))
@example(even(F(3581, 320), F(73, 20)), F(96, 100))
def test_every_glue_gap_is_half_the_clearance(segments, clearance):
    assume(leaves_wood(segments, clearance))
    ours, theirs = open_walls(segments, clearance), open_walls(mate(segments), clearance)
    for a, b in list(zip(ours, theirs, strict=True))[:-1]:
        assert abs(a.end - b.end) == clearance / 2
        # The wood of the part whose finger ends here lies short of the mate's.
        assert (a.end <= b.end) == a.is_finger or clearance == 0


@pytest.mark.parametrize(("clearance", "fits"), [(F(799, 100), True), (F(8), False), (F(801, 100), False)])
def test_a_clearance_that_eats_a_finger_is_refused(clearance, fits):
    """An inner finger of 4 mm loses c/2, an edge finger of 6 mm c/4."""
    segments = listed(F(30), [F(6), F(10), F(4), F(10)])
    if fits:
        assert min(s.width for s in open_walls(segments, clearance)) > 0
    else:
        with pytest.raises(BadInput, match="leaves nothing of a finger 4 mm wide") as caught:
            open_walls(segments, clearance)
        assert caught.value.faults[0].where == "joint.clearance"


def test_many_eaten_fingers_make_one_fault():
    with pytest.raises(BadInput, match=r"nothing of 2 fingers, the narrowest 0.0394 in wide \(got 0.2 in\)") as caught:
        open_walls(listed(F(23), [F(10), F(6), F(1016, 1000), F(4984, 1000), F(1)]), F(508, 100), unit="in")
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize(("finger", "warned"), [(F(299, 100), True), (F(3), False), (F(301, 100), False)])
def test_fingers_under_three_millimetres_are_slivers(finger, warned):
    found = slivers(listed(F(10) + finger, [F(10) - finger, finger, finger]), F(2))
    assert found == ([f"finger 2: only {float(finger)} mm wide, under 3 mm, and may break"] if warned else [])


def test_fingers_are_judged_by_what_the_clearance_leaves_of_them():
    """By hand: of 3.2 mm a clearance of 1 mm leaves an inner finger 2.7 and one at an edge 2.95, as thin."""
    segments = listed(F(30), [F(10), F(34, 10), F(32, 10), F(102, 10), F(32, 10)])
    assert slivers(segments, F(2)) == []
    assert slivers(segments, F(2), F(1)) == [
        "finger 2: only 2.7 mm wide, under 3 mm, and may break",
        "finger 3: only 2.95 mm wide, under 3 mm, and may break",
    ]


def test_a_finger_as_wide_as_the_kerf_is_what_one_pass_leaves():
    """Fingers of 1/8 in with a kerf of 1/8 in are usual (common practice, no source) at any clearance."""
    eighth = F(254, 80)
    assert slivers(even(9 * eighth, eighth), eighth, F(1, 10)) == []


@pytest.mark.parametrize(("left", "chance"), [(F(9, 1000), True), (F(1, 100), False)])
def test_wood_thinner_than_the_carriage_can_be_set_by_is_left_to_chance(left, chance):
    segments = listed(F(20) + left, [F(10), F(10), left])
    (warning,) = slivers(segments, F(2), step=F(1, 100))
    assert warning.startswith(f"finger 2: only {float(left)} mm wide, ")
    assert ("less than the carriage's smallest step, 0.01 mm: chance decides" in warning) == chance


@pytest.mark.parametrize(("finger", "warned"), [(F(634, 100), True), (F(635, 100), False), (F(636, 100), False)])
def test_fingers_under_the_kerf_are_slivers(finger, warned):
    found = slivers(listed(F(20) + finger, [F(10), F(10), finger]), F(635, 100))
    assert found == (["finger 2: only 6.34 mm wide, thinner than the kerf of 6.35 mm, and may break"] if warned else [])


def test_slivers_of_one_width_make_one_line_and_sockets_are_left_to_the_mate():
    segments = even(F(241, 10), F(2))
    assert slivers(segments, F(1)) == [
        "fingers 1, 2, 3, 4 and 2 more: only 2 mm wide, under 3 mm, and may break",
        "finger 7: only 0.1 mm wide, under 3 mm, and may break",
    ]
    assert len(slivers(mate(segments), F(1))) == 1
    assert slivers(even(F(254), F(254, 10)), F(1)) == []


def test_numbers_are_listed_up_to_four():
    assert number_list("socket", [7]) == "socket 7"
    assert number_list("socket", [1, 2, 3, 4]) == "sockets 1, 2, 3, 4"
    assert number_list("socket", list(range(1, 500))) == "sockets 1, 2, 3, 4 and 495 more"
