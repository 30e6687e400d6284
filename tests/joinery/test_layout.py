"""Nominal walls: alternating, from edge to edge, as the layout's words say."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction as F

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from assistant.errors import BadInput
from assistant.joinery.layout import even, listed, mate
from assistant.joinery.units import parse_length
from assistant.plans.model import Repeat
from tests.sampling import fractions

MM = fractions(F(1, 10), 200, max_denominator=100)


def widths(segments):
    return [s.width for s in segments]


def assert_covers(segments, width):
    assert segments[0].start == 0
    assert segments[-1].end == width
    for left, right in zip(segments, segments[1:], strict=False):
        assert left.end == right.start
        assert left.is_finger != right.is_finger
    assert all(s.width > 0 for s in segments)


def faults_of(caught):
    return [(fault.where, fault.what, fault.value, fault.mend) for fault in caught.value.faults]


@given(MM, MM, st.sampled_from(["finger", "socket"]), st.sampled_from(["far edge", "both edges", "stretch"]))
def test_even_covers_the_board_and_alternates(width, finger, starts_with, remainder):
    assume(0 < finger < width and width / finger <= 1000)
    segments = even(width, finger, starts_with, remainder)
    assert_covers(segments, width)
    assert segments[0].is_finger == (starts_with == "finger")


@given(MM, MM)
def test_far_edge_leaves_the_rest_in_the_last_segment(width, finger):
    assume(0 < finger < width and width / finger <= 1000)
    sizes = widths(even(width, finger))
    assert set(sizes[:-1]) == {finger}
    assert 0 < sizes[-1] <= finger


@given(MM, MM)
def test_both_edges_are_equal_and_at_least_half_a_finger(width, finger):
    assume(0 < finger < width and width / finger <= 1000)
    sizes = widths(even(width, finger, remainder="both edges"))
    assert sizes[0] == sizes[-1]
    assert finger / 2 <= sizes[0] <= finger
    assert all(size == finger for size in sizes[1:-1])


@given(MM, MM)
def test_stretch_makes_all_equal_with_the_nearest_count(width, finger):
    assume(0 < finger < width and width / finger <= 999)
    sizes = widths(even(width, finger, remainder="stretch"))
    assert set(sizes) == {width / len(sizes)}
    assert len(sizes) == 2 or abs(len(sizes) - width / finger) <= F(1, 2)


@pytest.mark.parametrize("remainder", ["far edge", "both edges", "stretch"])
def test_an_exact_multiple_has_no_remainder(remainder):
    """In binary floats 114.3 / 12.7 is not 9. Here both are read as decimals."""
    width, finger = (parse_length(Decimal(text), "mm") for text in ("114.3", "12.7"))
    assert F(114.3) / F(12.7) != 9
    assert widths(even(width, finger, remainder=remainder)) == [finger] * 9


@pytest.mark.parametrize(
    ("remainder", "sizes"),
    [
        ("far edge", [10, 10, 10, 1]),
        ("both edges", [F(11, 2), 10, 10, F(11, 2)]),
        ("stretch", [F(31, 3)] * 3),
    ],
)
def test_a_remainder_goes_where_it_is_asked_to(remainder, sizes):
    assert widths(even(F(31), F(10), remainder=remainder)) == sizes


@pytest.mark.parametrize(
    ("width", "count"),
    [(F(349, 10), 3), (F(35), 4), (F(25), 3), (F(45), 5), (F(351, 10), 4), (F(101, 10), 2), (F(14), 2), (F(16), 2)],
)
def test_stretch_at_a_half_takes_the_greater_count_and_never_one(width, count):
    assert len(even(width, F(10), remainder="stretch")) == count


@pytest.mark.parametrize("finger", [F(84), F(85), F(0), F(-1)])
def test_a_finger_as_wide_as_the_board_or_none_is_refused(finger):
    with pytest.raises(BadInput, match="under the board's width of 84 mm"):
        even(F(84), finger)


def test_a_finger_just_under_the_width_still_makes_a_joint():
    assert widths(even(F(84), F(83))) == [83, 1]


@pytest.mark.parametrize(("width", "taken"), [(999, True), (1000, True), (1001, False), (F(10001, 10), False)])
def test_a_thousand_segments_are_the_limit(width, taken):
    if taken:
        assert len(even(F(width), F(1))) == width
        assert len(listed(F(width), [F(1)], Repeat(1, 1, int(width)))) == width
    else:
        with pytest.raises(BadInput, match="at most 1,000 fingers and sockets"):
            even(F(width), F(1))


def test_listed_counts_before_it_builds():
    with pytest.raises(BadInput, match="at most 1,000") as caught:
        listed(F(84), [F(1), F(1)], Repeat(1, 2, 10**15), mirror=True)
    assert caught.value.faults[0].value == "3,999,999,999,999,999"


def test_all_faults_of_an_even_layout_come_at_once():
    with pytest.raises(BadInput) as caught:
        even(F(84), F(90), "wood", "left over")
    assert [fault.where for fault in caught.value.faults] == ["joint.starts_with", "joint.remainder", "joint.finger"]


def test_listed_widths_are_taken_in_order():
    segments = listed(F(30), [F(4), F(6), F(20)], starts_with="socket")
    assert widths(segments) == [4, 6, 20]
    assert [s.is_finger for s in segments] == [False, True, False]


def test_a_group_is_repeated_in_its_place():
    assert widths(listed(F(38), [F(4), F(3), F(6), F(7)], Repeat(2, 3, 3))) == [4, 3, 6, 3, 6, 3, 6, 7]


def test_mirroring_shares_the_last_width_as_the_middle():
    assert widths(listed(F(34), [F(4), F(6), F(14)], mirror=True)) == [4, 6, 14, 6, 4]


def test_a_group_is_repeated_before_mirroring():
    assert widths(listed(F(54), [F(4), F(6), F(14)], Repeat(1, 2, 2), mirror=True)) == [4, 6, 4, 6, 14, 6, 4, 6, 4]


@given(
    st.lists(MM, min_size=2, max_size=12),
    st.integers(1, 5),
    st.booleans(),
    st.sampled_from(["finger", "socket"]),
    st.data(),
)
def test_listed_alternates_and_a_mirrored_one_is_symmetrical(sizes, times, mirror, starts_with, data):
    first = data.draw(st.integers(1, len(sizes)))
    last = data.draw(st.integers(first, len(sizes)))
    half = sizes[: first - 1] + sizes[first - 1 : last] * times + sizes[last:]
    width = 2 * sum(half) - half[-1] if mirror else sum(half)
    segments = listed(width, sizes, Repeat(first, last, times), mirror, starts_with)
    assert_covers(segments, width)
    if mirror:
        assert widths(segments) == widths(segments)[::-1]
        assert [s.is_finger for s in segments] == [s.is_finger for s in reversed(segments)]


@pytest.mark.parametrize(
    ("sizes", "mirror", "what", "mend"),
    [
        ([4, 6], False, "0.5 mm over the board's width of 9.5 mm", "make the last width 5.5 mm"),
        ([4, 5], False, "0.5 mm short of the board's width of 9.5 mm", "make the last width 5.5 mm"),
        ([2, 5], True, "0.5 mm short of the board's width of 9.5 mm", "make the middle width 5.5 mm"),
        ([20, 1], False, "11.5 mm over", "take 11.5 mm off the widths"),
    ],
)
def test_a_sum_that_is_off_gives_the_difference(sizes, mirror, what, mend):
    with pytest.raises(BadInput) as caught:
        listed(F(95, 10), [F(s) for s in sizes], mirror=mirror)
    [(where, said, _, mended)] = faults_of(caught)
    assert where == "joint.widths"
    assert what in said
    assert mended.endswith(mend)


def test_a_sum_that_is_off_by_the_least_amount_is_refused():
    with pytest.raises(BadInput, match="short of"):
        listed(F(10) + F(1, 10**12), [F(4), F(6)])


def test_messages_speak_the_plans_unit():
    with pytest.raises(BadInput, match="0.5 in short of the board's width of 3 in"):
        listed(F(762, 10), [F(254, 10), F(381, 10)], unit="in")


@pytest.mark.parametrize("repeat", [Repeat(0, 1, 2), Repeat(2, 1, 2), Repeat(1, 3, 2), Repeat(1, 1, 0)])
def test_a_group_outside_the_list_is_refused(repeat):
    with pytest.raises(BadInput) as caught:
        listed(F(10), [F(4), F(6)], repeat)
    assert [fault.where for fault in caught.value.faults] == ["joint.repeat"]


def test_all_faults_of_a_list_come_at_once():
    with pytest.raises(BadInput) as caught:
        listed(F(10), [F(0), F(6), F(-2)], Repeat(4, 2, 0), starts_with="x")
    wheres = [fault.where for fault in caught.value.faults]
    assert wheres == ["joint.starts_with", "joint.widths", "joint.widths", "joint.repeat", "joint.repeat"]


@pytest.mark.parametrize("sizes", [[], [F(10)]])
def test_a_list_without_a_socket_is_no_joint(sizes):
    with pytest.raises(BadInput, match="at least one finger and one socket"):
        listed(F(10), sizes, mirror=True)


def test_the_mate_has_fingers_where_this_part_has_sockets():
    part = even(F(31), F(10))
    other = mate(part)
    assert widths(other) == widths(part)
    assert all(a.is_finger != b.is_finger for a, b in zip(part, other, strict=True))
    assert mate(other) == part
