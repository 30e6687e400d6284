"""Whole joints from random plans, checked with shapely, which knows nothing of layouts or passes."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import given, settings

from assistant.errors import BadInput
from assistant.joinery.layout import even
from assistant.joinery.model import Blade, Carriage
from assistant.joinery.passes import outside
from assistant.joinery.pattern import depth_of, pattern
from assistant.joinery.walls import assumed_kerf
from tests.joinery.plans import Joint, board, joints, removed, sockets
from tests.sampling import fractions

EPSILON = 1e-9


@settings(max_examples=150, deadline=None)
@given(joints())
def test_the_passes_clear_the_sockets_and_nothing_else_of_the_board(joint):
    for part in joint.parts:
        cut = removed(part)
        assert cut.intersection(board(part)).symmetric_difference(sockets(part)).area < EPSILON * float(part.width)


@settings(max_examples=150, deadline=None)
@given(joints())
def test_beyond_the_edges_no_pass_reaches_further_than_one_kerf_or_the_overrun(joint):
    reach = max(joint.blade.kerf, joint.blade.overrun)
    for part in joint.parts:
        over = removed(part).difference(board(part))
        assert over.is_empty or over.bounds[0] >= -float(reach)
        assert over.is_empty or over.bounds[2] <= float(joint.width + reach)
        expected = max(0.0, -removed(part).bounds[0], removed(part).bounds[2] - float(joint.width))
        assert float(max(outside(p, joint.width) for p in part.passes)) == pytest.approx(expected, abs=EPSILON)


@settings(max_examples=150, deadline=None)
@given(joints())
def test_the_two_parts_never_overlap_and_the_gaps_add_up(joint):
    """In the assembled joint A's fingers sit in B's sockets; total gap = inner walls x clearance / 2."""
    a, b = joint.parts
    left_of_a = board(a).difference(removed(a))
    left_of_b = board(b).difference(removed(b))
    assert left_of_a.intersection(left_of_b).area < EPSILON * float(joint.width)
    gap = board(a).difference(left_of_a.union(left_of_b)).area / float(a.depth)
    inner_walls = len(joint.nominal) - 1
    assert gap == pytest.approx(float(inner_walls * joint.clearance / 2), abs=EPSILON)


@settings(max_examples=100, deadline=None)
@given(joints())
def test_the_gaps_add_up_exactly_in_fractions(joint):
    a, b = joint.parts
    fingers = sum(f.width for part in (a, b) for f in part.fingers)
    assert joint.width - fingers == (len(joint.nominal) - 1) * joint.clearance / 2


@settings(max_examples=100, deadline=None)
@given(joints())
def test_every_pass_takes_one_kerf_in_its_own_socket_and_neighbours_overlap(joint):
    for part in joint.parts:
        for one in part.passes:
            assert one.kerf_to - one.kerf_from == joint.blade.kerf
        for before, after in zip(part.passes, part.passes[1:], strict=False):
            if before.socket == after.socket:
                assert before.kerf_to - after.kerf_from >= joint.blade.overlap
        assert {p.socket for p in part.passes} == set(range(1, len(part.sockets) + 1))


@settings(max_examples=100, deadline=None)
@given(joints())
def test_passes_are_numbered_from_one_and_ascend_with_the_setting(joint):
    for part in joint.parts:
        assert [p.number for p in part.passes] == list(range(1, len(part.passes) + 1))
        assert [p.setting for p in part.passes] == sorted(p.setting for p in part.passes)


def clearance_when_assuming(kerf: F, assumed: F) -> F:
    """Lay out a joint without clearance for an assumed kerf, cut it with the real kerf, and measure it.

    The kerf's middle goes where the assumed blade's middle would; what counts is an inner finger of
    A in an inner socket of B, from the walls that the real blade leaves.
    """
    joint = Joint(F(84), F(0), Blade(assumed), Carriage(), even(F(84), F(12)))
    a, b = joint.parts

    def walls(part, socket):
        middles = [(p.kerf_from + p.kerf_to) / 2 for p in part.passes if p.socket == socket]
        return min(middles) - kerf / 2, max(middles) + kerf / 2

    finger_of_a = walls(a, 2)[0] - walls(a, 1)[1]
    socket_of_b = walls(b, 2)[1] - walls(b, 2)[0]
    return socket_of_b - finger_of_a


def test_a_wider_assumed_kerf_makes_a_tighter_joint():
    """Common practice, no source."""
    kerf = F(318, 100)
    fits = [clearance_when_assuming(kerf, kerf + n * F(254, 10_000)) for n in (-2, -1, 0, 1, 2)]
    assert fits == sorted(fits, reverse=True)
    assert len(set(fits)) == 5
    assert fits[2] == 0


@pytest.mark.parametrize("thousandths", [1, 2])
def test_backing_the_assumed_kerf_off_by_thousandths_opens_the_joint_by_twice_that(thousandths):
    """As before a water-based glue: common practice, no source."""
    kerf, back = F(318, 100), thousandths * F(254, 10_000)
    assumed = kerf + F(1, 100)
    opened = clearance_when_assuming(kerf, assumed - back) - clearance_when_assuming(kerf, assumed)
    assert opened == 2 * back


@given(fractions(F(1), F(7), max_denominator=1000), fractions(F(0), F(1, 2), max_denominator=1000))
def test_the_reported_assumed_kerf_is_the_one_that_cuts_this_clearance(kerf, clearance):
    assumed = assumed_kerf(kerf, clearance)
    assert clearance_when_assuming(kerf, assumed) == clearance


def test_a_pattern_carries_what_it_was_made_of():
    segments = even(F(84), F(6), "socket")
    made = pattern("A", segments, F(84), depth_of(F(12), F(3, 10)), Blade(F(3)), Carriage())
    assert (made.part, made.width, made.depth, made.segments) == ("A", 84, F(123, 10), segments)
    assert len(made.passes) == 7 * 3


def test_a_setting_outside_the_travel_refuses_the_pattern():
    carriage = Carriage(travel=(F(0), F(80)))
    with pytest.raises(BadInput, match="carriage.travel") as caught:
        pattern("B", even(F(84), F(6)), F(84), F(12), Blade(F(3)), carriage)
    assert len(caught.value.faults) == 1
