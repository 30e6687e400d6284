"""Lined joints: the rules of both stages exactly, and what makes a joint impossible."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import given, settings

from assistant.errors import BadInput
from assistant.joinery.layout import even, mate
from assistant.joinery.lined import Lining, regions, stages
from assistant.joinery.model import Segment
from assistant.joinery.walls import open_walls
from tests.joinery.lined_plans import LinedJoint, any_lined, lined_joints

KERF = F(318, 100)


def joint(finger: F, c: F = F(1, 10), count: int = 5) -> dict[str, tuple[Segment, ...]]:
    nominal = even(finger * count, finger)
    return {"A": open_walls(nominal, c), "B": open_walls(mate(nominal), c)}


def of(final: dict[str, tuple[Segment, ...]], lining: Lining, kerf: F = KERF) -> None:
    stages(final, {"A": F(12), "B": F(12)}, lining, kerf)


def walls(segments: tuple[Segment, ...]) -> list[F]:
    return [s.end for s in segments[:-1]]


@given(lined_joints())
@settings(max_examples=60, deadline=None)
def test_walls_and_depths_of_both_stages(made: LinedJoint) -> None:
    t, c1 = made.lining.thickness, made.lining.glue_clearance
    for one in made.stages:
        for n, final in enumerate(walls(one.final)):
            into_finger = -1 if one.final[n].is_finger else 1
            assert walls(one.opened)[n] == final + into_finger * (made.per_wall + c1 / 2)
            assert walls(one.blank)[n] == final + into_finger * made.per_wall
        for segments in (one.opened, one.blank):
            assert (segments[0].start, segments[-1].end) == (0, made.width), "the board's edges are untouched"
        assert [s.is_finger for s in one.blank] == [not s.is_finger for s in one.opened]
        assert one.final_depth == made.depths[one.part]
        assert one.opened_depth == one.final_depth + t
        assert one.blank_depth == one.opened_depth + F(1, 2)
        assert one.blank_length >= 200


@given(lined_joints())
@settings(max_examples=60, deadline=None)
def test_regions_tile_the_end(made: LinedJoint) -> None:
    for one in made.stages:
        area = sum(((r.x_to - r.x_from) * (r.y_to - r.y_from) for r in regions(one)), F(0))
        assert area == made.width * one.opened_depth


@given(any_lined())
@settings(max_examples=200, deadline=None)
def test_a_joint_is_refused_when_a_condition_is_broken_and_only_then(made: LinedJoint) -> None:
    if made.can_be_made:
        assert {one.part for one in made.stages} == set(made.lining.parts)
    else:
        with pytest.raises(BadInput):
            made.stages  # noqa: B018


# A finger of w (nominal) between two sockets: w - c/2 - 2t must hold the kerf, w - c/2 - t where both are lined.
@pytest.mark.parametrize(("parts", "linings"), [(("A",), 2), (("B",), 2), (("A", "B"), 1)])
@pytest.mark.parametrize(("more", "sound"), [(F(-1, 1000), False), (F(0), True), (F(1, 1000), True)])
def test_the_blade_must_pass_between_the_fingers_of_the_blank(
    parts: tuple[str, ...], linings: int, more: F, sound: bool
) -> None:
    t, c = F(2), F(1, 10)
    # The edge fingers are widened, so that only the inner ones are at their limit.
    finger = KERF + c / 2 + linings * t + more
    nominal = tuple(
        Segment(a, b, n % 2 == 0)
        for n, (a, b) in enumerate(
            [(F(0), F(20)), (F(20), 20 + finger), (20 + finger, 20 + 2 * finger), (20 + 2 * finger, 40 + 2 * finger)]
        )
    )
    final = {"A": open_walls(nominal, c), "B": open_walls(mate(nominal), c)}
    if sound:
        of(final, Lining(t, parts))
        return
    with pytest.raises(BadInput, match="the blank's socket over it would be narrower than the kerf") as caught:
        of(final, Lining(t, parts))
    assert all("widen the finger by 0.001 mm" in fault.mend for fault in caught.value.faults)
    assert all(
        "or use a lining" in fault.mend and "or a blade with a kerf of" in fault.mend for fault in caught.value.faults
    )


@pytest.mark.parametrize(("more", "sound"), [(F(-1, 1000), False), (F(0), True), (F(1, 1000), True)])
def test_three_millimetres_stand_at_the_boards_edge_in_stage_one(more: F, sound: bool) -> None:
    """An edge finger loses a quarter of the clearance, one lining and half the glue-up clearance."""
    t, c, c1 = F(2), F(1, 10), F(6, 100)
    edge = 3 + c / 4 + t + c1 / 2 + more
    nominal = (Segment(F(0), edge, True), Segment(edge, edge + 20, False), Segment(edge + 20, edge + 40, True))
    final = {"A": open_walls(nominal, c), "B": open_walls(mate(nominal), c)}
    if sound:
        of(final, Lining(t, ("A",), c1))
    else:
        with pytest.raises(BadInput, match="less than 3 mm at the board's edge") as caught:
            of(final, Lining(t, ("A",), c1))
        assert "widen the finger by 0.001 mm, or use a lining 1.999 mm thick" in caught.value.faults[0].mend


def test_a_lining_that_eats_a_finger_says_so() -> None:
    with pytest.raises(BadInput, match="stage 1 would leave nothing of it"):
        of(joint(F(7)), Lining(F(4)))


@pytest.mark.parametrize(
    ("lining", "key"),
    [
        (Lining(F(0)), "lining.thickness"),
        (Lining(F(1), ()), "lining.parts"),
        (Lining(F(1), ("C",)), "lining.parts"),
        (Lining(F(1), ("A",), F(-1, 100)), "lining.glue_clearance"),
    ],
)
def test_linings_that_are_none(lining: Lining, key: str) -> None:
    with pytest.raises(BadInput) as caught:
        of(joint(F(12)), lining)
    assert [fault.where for fault in caught.value.faults] == [key]


def test_a_suggested_thinner_lining_is_possible() -> None:
    """Take the mend at its word."""
    final = joint(F(8))
    with pytest.raises(BadInput) as caught:
        of(final, Lining(F(3)))
    offers = [
        fault.mend.split("a lining ")[1].split(" mm thick")[0]
        for fault in caught.value.faults
        if "a lining" in fault.mend
    ]
    thickness = min(F(offer.removeprefix("under ")) for offer in offers)
    of(final, Lining(thickness - F(1, 1000)))
