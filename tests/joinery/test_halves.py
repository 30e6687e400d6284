"""Boards wider than the travel: both halves cut as a carriage would, measured in shapely and assembled.

The carriage is modelled from the stop's face, and knows nothing of a setting that is less by the piece's length: zero
is set once, with the piece between the stop and the edge, and in the second half the edge lies against the stop.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from itertools import pairwise
from typing import NamedTuple

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from assistant.errors import BadInput
from assistant.joinery.halves import (
    Clamping,
    Half,
    from_both_edges,
    needs_two,
    other_edge_faults,
    reached_again,
    whole,
    with_piece,
)
from assistant.joinery.layout import even, listed
from assistant.joinery.model import Blade, Carriage, Pass, Pattern, Segment
from assistant.joinery.settings import rounding_report
from tests.joinery.plans import Joint, joints, sockets

MM = 1e-6
JOINTS = joints()
SHARES = st.fractions(F(55, 100), F(11, 10), max_denominator=100)
PIECES = st.fractions(F(5, 100), F(99, 100), max_denominator=1000)


def kerf(one: Pass, which: Half, carriage: Carriage, blade: Blade) -> tuple[F, F]:
    """What the blade takes off this board, from its reference edge, with the carriage at the pass's setting."""
    piece = carriage.distance_piece or F(0)
    # From the stop's face, at zero: where the blade is, since zero was set with the piece at the stop.
    at_zero = (piece, piece + blade.kerf) if carriage.zero == "inside" else (piece - blade.kerf, piece)
    edge = piece if which == Half.PIECE_IN else F(0)
    return at_zero[0] + one.setting - edge, at_zero[1] + one.setting - edge


def cut(found: tuple[Clamping, ...], carriage: Carriage, blade: Blade) -> BaseGeometry:
    return unary_union([
        box(float(left), 0, float(right), float(half.pattern.depth))
        for half in found
        for left, right in (kerf(one, half.half, carriage, blade) for one in half.pattern.passes)
    ])  # fmt: skip


class InTwo(NamedTuple):
    """A joint, and the clampings of both its parts."""

    joint: Joint
    a: tuple[Clamping, ...]
    b: tuple[Clamping, ...]


@st.composite
def in_two(draw: st.DrawFn, sound: bool = False) -> InTwo:
    """Joints on a carriage that ends somewhere along the board, with a piece of any length that reaches the rest.

    sound: the clearance is more than what rounding can take of it, and passes overlap enough to leave no fins.
    """
    joint = draw(JOINTS)
    if sound:
        step, blade = joint.carriage.resolution, joint.blade
        blade = replace(blade, overlap=max(blade.overlap, step), overrun=max(blade.overrun, step))
        joint = replace(joint, clearance=joint.clearance + 3 * step, blade=blade)
        try:
            joint.parts  # noqa: B018
        except BadInput:
            assume(False)
    reached = [one.setting for part in joint.parts for one in part.passes]
    low = min(0, *reached)
    high = low + (max(reached) - low) * draw(SHARES)
    # Between what reaches the last pass and the travel, beyond which a gap would be left between the halves.
    least = max(max(reached) - high + joint.carriage.resolution, F(0))
    assume(least < high - low)
    piece = least + (high - low - least) * draw(PIECES)
    carriage = replace(joint.carriage, travel=(low, high), distance_piece=piece)
    joint = replace(joint, carriage=carriage)
    a, b = joint.parts
    return InTwo(joint, with_piece(a, carriage), with_piece(b, carriage))


IN_TWO, SOUND = in_two(), in_two(sound=True)
tried = settings(max_examples=150, deadline=None)


def wood(part: Pattern, gone: BaseGeometry) -> list[tuple[float, float]]:
    """(from, to) of each finger that really stands, ascending."""
    left = box(0, 0, float(part.width), float(part.depth)).difference(gone)
    return sorted((each.bounds[0], each.bounds[2]) for each in getattr(left, "geoms", [left]) if not each.is_empty)


@tried
@given(IN_TWO)
def test_every_pass_is_cut_once_within_the_travel_in_the_first_half_that_reaches_it(made: InTwo) -> None:
    carriage = made.joint.carriage
    assert carriage.travel
    low, high = carriage.travel
    for end, found in zip(made.joint.parts, (made.a, made.b), strict=True):
        both = [(half.half, one) for half in found for one in half.pattern.passes]
        assert [(one.kerf_from, one.kerf_to) for _, one in both] == [(p.kerf_from, p.kerf_to) for p in end.passes]
        assert all(low <= one.setting <= high for _, one in both)
        beyond = [one.setting > high for one in end.passes]
        assert [which == Half.PIECE_OUT for which, _ in both] == beyond, (
            "nothing waits for the second half without need"
        )
        assert needs_two([end], carriage) == any(beyond)
        for half in found:
            assert [one.number for one in half.pattern.passes] == list(range(1, len(half.pattern.passes) + 1))
            assert half.pattern.segments == end.segments and half.pattern.width == end.width
        assert [(p.number, p.kerf_from) for p in whole(found[-1].pattern, carriage).passes] == [
            (p.number, p.kerf_from) for p in end.passes
        ]


@tried
@given(IN_TWO)
def test_both_halves_together_leave_the_joint_that_was_laid_out_within_the_rounding(made: InTwo) -> None:
    joint, half_step = made.joint, float(made.joint.carriage.resolution) / 2
    for end, found in zip(joint.parts, (made.a, made.b), strict=True):
        gone = cut(found, joint.carriage, joint.blade)
        on_board = box(0, 0, float(end.width), float(end.depth))
        meant = sockets(end)
        assert gone.intersection(on_board).difference(meant.buffer(half_step + MM, join_style="mitre")).area < MM
        if joint.blade.overlap >= 2 * F(half_step):
            missed = meant.difference(gone).buffer(-half_step / 2 - MM, join_style="mitre")
            assert missed.area < MM, "no more than the rounding is left of any socket"


@tried
@given(SOUND)
def test_assembled_the_parts_keep_the_clearance_that_the_job_says(made: InTwo) -> None:
    """No wood in wood: each gap is half the clearance less what rounding moves its walls, in all as reported."""
    joint = made.joint
    a, b = (
        wood(part, cut(found, joint.carriage, joint.blade))
        for part, found in zip(joint.parts, (made.a, made.b), strict=True)
    )
    fingers = sorted([(*each, True) for each in a] + [(*each, False) for each in b])
    assert [each[2] for each in fingers] == [segment.is_finger for segment in joint.nominal]
    gaps = [after[0] - before[1] for before, after in pairwise(fingers)]
    step = float(joint.carriage.resolution)
    assert all(gap > 0 and abs(gap - float(joint.clearance) / 2) <= step + MM for gap in gaps)
    passes = [*whole(made.a[-1].pattern, joint.carriage).passes, *whole(made.b[-1].pattern, joint.carriage).passes]
    _, worst = rounding_report(passes, joint.carriage, joint.clearance, width=joint.width)
    if gaps:
        assert min(gaps[::2]) + min(gaps[1::2], default=gaps[0]) == pytest.approx(float(worst), abs=MM)


@tried
@given(IN_TWO)
def test_a_cut_of_the_first_half_is_where_the_second_half_looks_for_it(made: InTwo) -> None:
    """The still blade at the setting named there lies in the kerf as the first half cut it, to a step."""
    joint, carriage = made.joint, made.joint.carriage
    assert carriage.travel
    for found in (made.a, made.b):
        if found[-1].half != Half.PIECE_OUT:
            continue
        second = found[-1].pattern
        again = {one.number: one for one in reached_again(second, carriage)}
        for one in second.before:
            there = again.get(one.number)
            if there is None:
                assert one.setting - (carriage.distance_piece or 0) < carriage.travel[0] + carriage.resolution
                continue
            assert carriage.travel[0] <= there.setting <= carriage.travel[1]
            made_at, tried_at = (
                kerf(p, w, carriage, joint.blade) for p, w in ((one, Half.PIECE_IN), (there, Half.PIECE_OUT))
            )
            assert abs(made_at[0] - tried_at[0]) <= carriage.resolution


def test_a_board_within_the_travel_is_cut_in_one_clamping() -> None:
    carriage = Carriage(travel=(F(0), F(60)), distance_piece=F(30))
    one = Pass(1, 1, F(5), F(8), F(8))
    assert not needs_two([Pattern("A", F(40), F(12), (), (one,))], carriage)
    assert not needs_two([Pattern("A", F(90), F(12), (), (replace(one, setting=F(61)),))], Carriage())
    assert needs_two([Pattern("A", F(90), F(12), (), (replace(one, setting=F(61)),))], carriage)


def wide(travel: F, piece: F, zero: str = "outside") -> Joint:
    """20 fingers of 5 mm; the last setting is 94.97, or 95 from the inside."""
    carriage = Carriage(zero=zero, travel=(F(0), travel), distance_piece=piece)
    return Joint(F(100), F(1, 10), Blade(F(3)), carriage, even(F(100), F(5)))


@pytest.mark.parametrize("zero", ["outside", "inside"])
def test_what_travel_and_piece_do_not_reach_is_a_fault_that_says_what_would_help(zero: str) -> None:
    """By how much, how long a piece would do, and how far these two reach; where no piece does, only the last."""
    first = [one.setting for one in replace(wide(F(1000), F(1)), carriage=Carriage(zero=zero)).part("A").passes]
    short = max(first) - 80
    for piece, mend in ((F(10), f"use a piece of {float(short):g} mm or more, or a board"), (F(14), "use a piece")):
        with pytest.raises(BadInput) as caught:
            wide(F(80), piece, zero).part("A")
        (fault,) = caught.value.faults
        assert fault.where == "carriage.distance_piece"
        assert fault.mend.startswith(f"it is {float(short - piece):g} mm too far: {mend}")
        assert fault.mend.endswith(f"a board that needs no setting beyond {80 + piece} mm")
    assert with_piece(wide(F(80), short, zero).part("A"), wide(F(80), short, zero).carriage)
    with pytest.raises(BadInput) as caught:
        wide(F(45), F(40), zero).part("A")
    (fault,) = caught.value.faults
    assert fault.mend == (
        f"it is {float(max(first) - 85):g} mm too far, and a piece is shorter than the travel: "
        "use a board that needs no setting beyond 85 mm"
    )


@st.composite
def from_both(draw: st.DrawFn) -> tuple[InTwo, F]:
    """Symmetrical joints on a carriage that reaches beyond the middle, and how much wider the boards are than meant."""
    finger, count = draw(st.integers(3, 12)), draw(st.integers(1, 8))
    segments = even(F(finger * (2 * count + 1)), F(finger))
    step = draw(st.sampled_from([F(1, 100), F(254, 10_000), F(1, 400)]))
    kerf_wide = draw(st.sampled_from([F(2), F(254, 100), F(3)]))
    clearance = draw(st.sampled_from([F(15, 100), F(2, 10)]))
    zero = draw(st.sampled_from(["outside", "inside"]))
    blade = Blade(kerf_wide, F(1, 5), draw(st.sampled_from([F(1, 20), F(1, 2)])))
    joint = Joint(segments[-1].end, clearance, blade, Carriage(resolution=step, zero=zero), segments)
    reached = [one.setting for part in joint.parts for one in part.passes]
    # From the middle, and a kerf beyond it that a wall there needs, to where one clamping reaches all.
    least = joint.width / 2 + kerf_wide
    high = least + max(max(reached) - least, F(0)) * draw(st.fractions(0, 1, max_denominator=20))
    joint = replace(joint, carriage=replace(joint.carriage, travel=(min(0, *reached), high)))
    whole_parts = replace(joint, carriage=replace(joint.carriage, travel=None)).parts
    for part in whole_parts:
        assert other_edge_faults(part, joint.carriage, "mm") == []
    a, b = (from_both_edges(part, joint.carriage) for part in whole_parts)
    return InTwo(joint, a, b), draw(st.fractions(-1, 1, max_denominator=10)) * clearance / 4


def cut_from_both(found: tuple[Clamping, ...], joint: Joint, true_width: F) -> BaseGeometry:
    """What the blade takes off a board of this width, from its reference edge."""
    boxes = []
    for half, pattern in found:
        for one in pattern.passes:
            at = one.setting if joint.carriage.zero == "inside" else one.setting - joint.blade.kerf
            left, right = (at, at + joint.blade.kerf)
            if half == Half.OTHER_EDGE:
                left, right = true_width - right, true_width - left
            boxes.append(box(float(left), 0, float(right), float(pattern.depth)))
    return unary_union(boxes)


@tried
@given(from_both())
def test_cut_from_both_edges_boards_of_one_width_fit_whatever_it_is(made: tuple[InTwo, F]) -> None:
    """Both boards are as much too wide or too narrow; the middle takes it, and every gap keeps its clearance."""
    (joint, *halves), wider = made
    true_width = joint.width + wider
    pieces = []
    for found in halves:
        end = found[0].pattern
        wide_end = replace(end, width=true_width)
        pieces.append(wood(wide_end, cut_from_both(found, joint, true_width)))
    fingers = sorted([(*each, True) for each in pieces[0]] + [(*each, False) for each in pieces[1]])
    assert [each[2] for each in fingers] == [segment.is_finger for segment in joint.nominal]
    gaps = [after[0] - before[1] for before, after in pairwise(fingers)]
    step = float(joint.carriage.resolution)
    assert all(gap > 0 and abs(gap - float(joint.clearance) / 2) <= step + MM for gap in gaps)
    passes = [one for found in halves for one in whole(found[-1].pattern, joint.carriage).passes]
    _, worst = rounding_report(passes, joint.carriage, joint.clearance, width=joint.width)
    assert min(gaps[::2]) + min(gaps[1::2]) == pytest.approx(float(worst), abs=MM)


@tried
@given(from_both())
def test_from_both_edges_each_kerf_is_cut_once_within_the_travel(made: tuple[InTwo, F]) -> None:
    (joint, *both), _ = made
    assert joint.carriage.travel
    for name, found in zip("AB", both, strict=True):
        end = replace(joint, carriage=replace(joint.carriage, travel=None)).part(name)
        kerfs = [(p.number, p.socket, p.kerf_from, p.kerf_to) for p in whole(found[-1].pattern, joint.carriage).passes]
        assert kerfs == [(p.number, p.socket, p.kerf_from, p.kerf_to) for p in end.passes]
        for _, pattern in found:
            low, high = joint.carriage.travel
            assert all(low <= one.setting <= high for one in pattern.passes)
        near, far = ([one.setting for one in pattern.passes] for _, pattern in found)
        assert far == near[: len(far)] and len(near) - len(far) in (0, 1), "the second half repeats the settings"


@pytest.mark.parametrize(
    ("segments", "told"),
    [
        (even(F(100), F(5)), "it begins with a finger and ends with a socket"),
        (listed(F(95), [F(20), F(25), F(50)]), "a wall lies 19.975 mm from the reference edge, and none so far"),
    ],
)
def test_a_layout_that_is_not_the_same_from_both_edges_is_refused_with_the_place(
    segments: tuple[Segment, ...], told: str
) -> None:
    carriage = Carriage(travel=(F(0), F(40)))
    joint = Joint(segments[-1].end, F(1, 10), Blade(F(3)), Carriage(), segments)
    (fault,) = other_edge_faults(joint.part("A"), carriage, "mm")
    assert (fault.where, fault.mend) == (
        "joint.far_half",
        'set joint.far_half = "distance piece", which any layout allows',
    )
    assert fault.what.startswith(f"the layout is not the same from both edges: {told}")


def test_a_travel_that_ends_before_the_middle_is_refused_from_both_edges() -> None:
    joint = Joint(F(105), F(1, 10), Blade(F(3)), Carriage(), even(F(105), F(5)))
    (fault,) = other_edge_faults(joint.part("A"), Carriage(travel=(F(0), F(40))), "mm")
    assert fault.where == "stock.width" and "reaches the middle of the board from neither edge" in fault.what
    assert not other_edge_faults(joint.part("A"), Carriage(travel=(F(0), F(60))), "mm")
