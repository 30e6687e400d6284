"""Slots, checked with shapely and solids: spacing, depths, grids, and every fault with its fix."""

from __future__ import annotations

import re
from fractions import Fraction as F
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold
from shapely.geometry import box
from shapely.ops import unary_union

from assistant.errors import BadInput, Fault
from assistant.joinery.model import Blade
from assistant.joinery.passes import cuts
from assistant.joinery.slots import MOST_SLOTS, Slot, by_depth, evenly, lay_out
from tests.joinery import solids

KERF = F(318, 100)
BLADE = Blade(KERF)


class GridPiece(NamedTuple):
    """One kind of piece of a cross-halved grid: `length` along its slotted edge, `count` pieces."""

    length: F
    thickness: F
    count: int


def cross_halved(
    first: GridPiece, second: GridPiece, height: F, allowance: F = F(0)
) -> tuple[tuple[Slot, ...], tuple[Slot, ...]]:
    """The slots of each first and of each second piece: one for every piece of the other kind, as two plans give them.

    It is as wide as that is thick, and half the height deep, with the allowance.
    """
    depth = height / 2 + allowance
    return (
        evenly(first.length, second.count, second.thickness, depth),
        evenly(second.length, first.count, first.thickness, depth),
    )


@st.composite
def slotted(draw: st.DrawFn) -> tuple[F, F, tuple[Slot, ...]]:
    """(board width, clearance, slots): sound ones, in any order, some at the edges."""
    hundredths = st.integers(400, 2500).map(lambda n: F(n, 100))
    clearance = draw(st.sampled_from([F(0), F(1, 10), F(1, 2)]))
    at = draw(st.sampled_from([F(0), F(3), F(17, 2)]))
    found = []
    for _ in range(draw(st.integers(1, 8))):
        width = draw(hundredths)
        found.append(Slot(at, width, draw(st.sampled_from([F(4), F(6), F(13, 2)]))))
        at += width + draw(hundredths)
    end = found[-1].at + found[-1].width
    whole = found[0].width == end  # which would leave nothing of the board
    board = end + 5 if whole else draw(st.sampled_from([end, end + 5]))
    return board, clearance, tuple(draw(st.permutations(found)))


@given(slotted())
@settings(max_examples=80, deadline=None)
def test_the_passes_of_each_depth_are_its_slots_and_the_clearance(plan: tuple[F, F, tuple[Slot, ...]]) -> None:
    board, c, slots = plan
    for group in lay_out(slots, board, c, KERF):
        depth = float(group.depth)
        removed = unary_union(
            [box(float(p.kerf_from), 0, float(p.kerf_to), depth) for p in cuts(group.segments, board, BLADE)]
        ).intersection(box(0, 0, float(board), depth))
        wanted = unary_union(
            [
                box(
                    float(s.at - (c / 2 if s.at else 0)),
                    0,
                    float(s.at + s.width + (c / 2 if s.at + s.width < board else 0)),
                    depth,
                )
                for s in slots
                if s.depth == group.depth
            ]
        )
        assert removed.symmetric_difference(wanted).area < 1e-6


@given(slotted())
@settings(max_examples=80, deadline=None)
def test_what_goes_in_has_half_the_clearance_at_either_side(plan: tuple[F, F, tuple[Slot, ...]]) -> None:
    board, c, slots = plan
    for group in lay_out(slots, board, c, KERF):
        sockets = [s for s in group.segments if not s.is_finger]
        for slot, socket in zip(group.slots, sockets, strict=True):
            if slot.at > 0:
                assert slot.at - socket.start == c / 2
            if slot.at + slot.width < board:
                assert socket.end - (slot.at + slot.width) == c / 2


def test_depths_come_the_shallowest_first_and_slots_along_the_board() -> None:
    a, b, c = Slot(F(50), F(6), F(8)), Slot(F(20), F(6), F(4)), Slot(F(5), F(6), F(8))
    assert by_depth([a, b, c]) == ((F(4), (b,)), (F(8), (c, a)))


@given(st.integers(1, 30), st.integers(4, 9), st.integers(300, 900))
def test_evenly_leaves_equal_spaces_exactly(count: int, thick: int, width: int) -> None:
    slots = evenly(F(width), count, F(thick), F(5))
    edges = [F(0), *(x for s in slots for x in (s.at, s.at + s.width)), F(width)]
    spaces = {right - left for left, right in zip(edges[::2], edges[1::2], strict=True)}
    assert len(slots) == count and len(spaces) == 1 and spaces.pop() > 0


def test_a_grid_halves_into_itself() -> None:
    """In section and as solids: no piece touches another, each gap is c/2, and the tops are level."""
    manifold3d = pytest.importorskip("manifold3d", reason="the test extra brings manifold3d")
    cube = manifold3d.Manifold.cube
    height, c = F(40), F(1, 5)
    long, short = GridPiece(F(200), F(6), 2), GridPiece(F(150), F(5), 3)
    of_long, of_short = cross_halved(long, short, height)

    def piece(kind: GridPiece, slots: tuple[Slot, ...]):  # type: ignore[no-untyped-def]
        """Slotted edge down: slots rise from z = 0."""
        wood = cube([float(kind.length), float(kind.thickness), float(height)])
        (group,) = lay_out(slots, kind.length, c, KERF)
        for s in (s for s in group.segments if not s.is_finger):
            slot = cube([float(s.width), 20, float(group.depth) + 1])
            wood -= slot.translate([float(s.start), -5, -1])
        return wood

    longs = [piece(long, of_long).translate([0, float(s.at), 0]) for s in of_short]
    # The short pieces are turned upside down and put across: their slots open upwards.
    turned = piece(short, of_short).rotate([180, 0, 0]).translate([0, float(short.thickness), float(height)])
    crosswise = turned.rotate([0, 0, 90]).translate([float(short.thickness), 0, 0])
    shorts = [crosswise.translate([float(s.at), 0, 0]) for s in of_long]
    for one in longs:
        for other in shorts:
            assert (one ^ other).volume() < 1e-6
            step = float(c) / 2
            for way in ((step + 0.01, 0, 0), (-step - 0.01, 0, 0), (0, step + 0.01, 0), (0, -step - 0.01, 0)):
                assert (one ^ other.translate(way)).volume() > 1e-4, "the gap is c/2 and no more"
            assert (one ^ other.translate([0, 0, 0.01])).volume() > 1e-4, "they rest on each other"
    tops = {round(solid.bounding_box()[5], 9) for solid in longs + shorts}
    assert tops == {40.0}


FAULTS = [
    ([Slot(F(95), F(6), F(4))], "slots[1].at", "put it at 0 to 94 mm"),
    ([Slot(F(-1), F(6), F(4))], "slots[1].at", "put it at 0 to 94 mm"),
    ([Slot(F(10), F(120), F(4))], "slots[1].at", "make it under 100 mm wide"),
    ([Slot(F(10), F(6), F(0))], "slots[1].depth", "give its real depth"),
    ([Slot(F(10), F(0), F(4))], "slots[1].width", "give the thickness of what goes in"),
    ([Slot(F(10), F(3), F(4))], "slots[1].width", "or widen the slot by 0.08 mm or more"),
    ([Slot(F(10), F(6), F(4)), Slot(F(12), F(6), F(4))], "slots[2].at", "put slot 2 more than 16.1 mm"),
    ([Slot(F(10), F(6), F(4)), Slot(F(16), F(6), F(4))], "slots[2].at", "put slot 2 more than 16.1 mm"),
    ([], "slots", "change the number of slots"),
]


@pytest.mark.parametrize(("slots", "where", "mend"), FAULTS)
def test_each_fault_names_its_slot_and_what_would_do(slots: list[Slot], where: str, mend: str) -> None:
    with pytest.raises(BadInput) as caught:
        lay_out(slots, F(100), F(1, 10), KERF)
    assert any(fault.where == where and mend in fault.mend for fault in caught.value.faults), caught.value


def test_all_faults_at_once() -> None:
    with pytest.raises(BadInput) as caught:
        lay_out([Slot(F(95), F(6), F(0)), Slot(F(10), F(1), F(-1))], F(100), F(0), KERF)
    assert {fault.where for fault in caught.value.faults} == {
        "slots[1].at",
        "slots[1].depth",
        "slots[2].width",
        "slots[2].depth",
    }


@pytest.mark.parametrize(("gap", "sound"), [(F(9, 100), False), (F(1, 10), False), (F(11, 100), True)])
def test_wood_must_be_left_between_two_slots(gap: F, sound: bool) -> None:
    slots = [Slot(F(10), F(6), F(4)), Slot(F(16) + gap, F(6), F(4))]
    if sound:
        assert lay_out(slots, F(100), F(1, 10), KERF)
    else:
        with pytest.raises(BadInput, match="no wood is left"):
            lay_out(slots, F(100), F(1, 10), KERF)


@pytest.mark.parametrize("count", [0, MOST_SLOTS + 1, 20])
def test_dividers_that_do_not_fit(count: int) -> None:
    with pytest.raises(BadInput):
        evenly(F(100), count, F(5), F(4))


TINY = F(1, 10_000)


def refused(*slots: Slot, width: F = F(100), c: F = F(1, 10), unit: str = "mm") -> tuple[Fault, ...]:
    with pytest.raises(BadInput) as caught:
        lay_out(slots, width, c, KERF, unit=unit)
    return caught.value.faults


def test_the_narrowest_slot_is_the_kerf_less_the_clearance() -> None:
    """Kerf 3.18, clearance 0.1: 3.08 with wood on both sides; at an edge the blade may overhang it."""
    for width in (F("3.08"), F("3.08") + TINY):
        assert lay_out([Slot(F(10), width, F(4))], F(100), F(1, 10), KERF)
    (fault,) = refused(Slot(F(10), F("3.08") - TINY, F(4)))
    assert fault.what == "the slot would be narrower than the kerf of 3.18 mm"
    assert fault.mend == "a blade with a kerf of 3.1799 mm or less would fit, or widen the slot by 0.0001 mm or more"
    for at in (F(0), F(99)):
        assert lay_out([Slot(at, F(1), F(4))], F(100), F(1, 10), KERF)


@given(st.integers(1, 7), st.sampled_from(["mm", "in"]))
def test_fixes_for_narrow_slots_work_in_64ths_of_an_inch_too(n: int, unit: str) -> None:
    per = F(254, 10) if unit == "in" else F(1)
    slot = Slot(F(10), n * F(254, 640), F(4))
    (fault,) = refused(slot, unit=unit)
    found = re.search(r"a kerf of ([\d.]+) .* widen the slot by ([\d.]+) ", fault.mend)
    assert found
    assert lay_out([slot], F(100), F(1, 10), per * F(found[1]))
    assert lay_out([Slot(slot.at, slot.width + per * F(found[2]), slot.depth)], F(100), F(1, 10), KERF)


def test_a_slot_ends_at_the_edge_and_no_further() -> None:
    assert lay_out([Slot(F(94), F(6), F(4))], F(100), F(1, 10), KERF)
    assert lay_out([Slot(F(0), F(6), F(4))], F(100), F(1, 10), KERF)
    for at in (F(94) + TINY, -TINY):
        (fault,) = refused(Slot(at, F(6), F(4)))
        assert (fault.what, fault.mend) == (
            "the slot runs past the edge of a board 100 mm wide",
            "put it at 0 to 94 mm",
        )


def test_a_slot_may_not_take_the_whole_board() -> None:
    assert lay_out([Slot(F(0), F(100) - TINY, F(4))], F(100), F(0), KERF)
    (fault,) = refused(Slot(F(0), F(100), F(4)), c=F(0))
    assert (fault.what, fault.value) == ("the slot leaves no wood beside it on the board", "100 mm wide")
    (fault,) = refused(Slot(F(1), F(100), F(4)), c=F(0))
    assert fault.mend == "make it under 100 mm wide"


@pytest.mark.parametrize(
    ("at", "edge", "mend"),
    [
        (F("0.05"), "the reference edge", "put it at 0 mm, or leave over 0.05 mm"),
        (F("93.95"), "the far edge", "put it at 94 mm, or leave over 0.05 mm"),
    ],
)
def test_the_clearance_must_leave_wood_at_an_edge(at: F, edge: str, mend: str) -> None:
    """Half the clearance goes into the wood: with 0.05 mm left there is none, with more there is."""
    (fault,) = refused(Slot(at, F(6), F(4)))
    assert fault.what == f"the clearance leaves no wood between the slot and {edge}"
    assert fault.mend == mend
    inwards = TINY if at < 50 else -TINY
    assert lay_out([Slot(at + inwards, F(6), F(4))], F(100), F(1, 10), KERF)


def test_a_slot_inside_a_wide_one_is_seen_whatever_lies_between() -> None:
    wide, inside, also = Slot(F(10), F(60), F(4)), Slot(F(20), F(6), F(8)), Slot(F(40), F(6), F(4))
    found = refused(also, wide, inside)
    assert [(fault.where, fault.what) for fault in found] == [
        ("slots[3].at", "the slot overlaps slot 2"),
        ("slots[1].at", "the slot overlaps slot 2"),
    ]


def test_as_many_slots_as_a_board_may_have() -> None:
    most = evenly(F(9980), MOST_SLOTS, F(5), F(4))
    assert len(lay_out(most, F(9980), F(1, 10), KERF)[0].slots) == MOST_SLOTS
    (fault,) = refused(*most, Slot(F(0), F(4), F(4)), width=F(9980))
    assert (fault.what, fault.value) == ("a board must have 1 to 499 slots", "500")


def test_evenly_needs_some_space_and_says_how_much() -> None:
    """Five in 100 mm: each under 20 mm."""
    assert evenly(F(100), 5, F(20) - TINY, F(4))
    for thick in (F(20), F(0), F(-1)):
        with pytest.raises(BadInput, match="use fewer slots, or make each over 0 and under 20 mm wide"):
            evenly(F(100), 5, thick, F(4))


GRIDS = st.builds(GridPiece, st.integers(90, 400).map(F), st.sampled_from([F(4), F(6), F("12.7")]), st.integers(1, 5))


@given(GRIDS, GRIDS, st.sampled_from([F(0), F(1, 10), F(2, 5)]))
@settings(max_examples=60, deadline=None)
def test_in_plan_every_crossing_of_a_grid_has_half_the_clearance_on_all_four_sides(
    first: GridPiece, second: GridPiece, c: F
) -> None:
    """Seen from above: each piece passes through the openings of those it crosses, c/2 from either wall."""
    of_first, of_second = cross_halved(first, second, F(40))
    (across,) = lay_out(of_first, first.length, c, KERF)
    (along,) = lay_out(of_second, second.length, c, KERF)
    x_open = [s for s in across.segments if not s.is_finger]
    y_open = [s for s in along.segments if not s.is_finger]
    assert (len(x_open), len(y_open)) == (second.count, first.count)
    for slot, x in zip(of_first, x_open, strict=True):
        for other, y in zip(of_second, y_open, strict=True):
            crossing = box(float(slot.at), float(other.at), float(slot.end), float(other.end))
            opening = box(float(x.start), float(y.start), float(x.end), float(y.end))
            # What goes in is as thick as the crossing piece: measured, not taken from the slot.
            sizes = crossing.bounds[2] - crossing.bounds[0], crossing.bounds[3] - crossing.bounds[1]
            assert sizes == pytest.approx((float(second.thickness), float(first.thickness)))
            assert opening.covers(crossing)
            free = opening.area - crossing.area
            w, h = sizes
            assert free == pytest.approx((w + float(c)) * (h + float(c)) - w * h, abs=1e-6)
            assert crossing.buffer(float(c) / 2, join_style="mitre").symmetric_difference(opening).area < 1e-6


@given(GRIDS, GRIDS, st.sampled_from([F(0), F(1, 5)]), st.sampled_from([F(0), F(1, 2)]))
@settings(max_examples=12, deadline=None)
def test_any_grid_sawn_with_its_passes_goes_together(first: GridPiece, second: GridPiece, c: F, allowance: F) -> None:
    """As solids: no wood inside wood. At every crossing only the clearance and the depth allowance are free."""
    height = F(40)
    of_first, of_second = cross_halved(first, second, height, allowance)
    long, short = sawn(first, of_first, height, c), sawn(second, of_second, height, c)
    # x along the first pieces, y along the second, z up: the second stand upside down across the first.
    standing = [long.translate([0, float(slot.at), 0]) for slot in of_second]
    turned = short.transform([[0, -1, 0, float(second.thickness)], [1, 0, 0, 0], [0, 0, 1, 0]])
    turned = turned.transform([[-1, 0, 0, float(second.thickness)], [0, 1, 0, 0], [0, 0, -1, float(height)]])
    crossing = [turned.translate([float(slot.at), 0, 0]) for slot in of_first]
    grid = solids.together([*standing, *crossing])
    apart = long.volume() * first.count + short.volume() * second.count
    assert grid.volume() == pytest.approx(apart, rel=1e-9), "no wood in wood"
    x, y = of_first[0], of_second[0]
    post = solids.block((x.at, x.end), (y.at, y.end), (0, height))
    assert post.volume() - (grid ^ post).volume() == pytest.approx(
        float(x.width * y.width * 2 * allowance), abs=1e-6
    ), "the crossing is filled from bottom to top"
    around = solids.block((x.at - c / 2, x.end + c / 2), (y.at - c / 2, y.end + c / 2), (0, height))
    opened = grid ^ around
    # Below, the second passes along y through the first's opening: wood everywhere but for c/2 on its sides; above too.
    assert opened.volume() == pytest.approx(expected_in(x, y, c, height, allowance), abs=1e-6)


def expected_in(x: Slot, y: Slot, c: F, height: F, allowance: F) -> float:
    """Wood in a crossing and c/2 around it: each piece runs through its half, less the allowance at its slot."""
    each = height / 2 - allowance
    return float(each * (x.width * (y.width + c) + y.width * (x.width + c)))


def sawn(kind: GridPiece, slots: tuple[Slot, ...], height: F, c: F) -> Manifold:
    """A piece with x along it and its slotted edge down, cut with the passes as the joinery lays them."""
    (group,) = lay_out(slots, kind.length, c, KERF)
    swept = solids.together(
        solids.block((p.kerf_from, p.kerf_to), (-5, kind.thickness + 5), (-5, group.depth))
        for p in cuts(group.segments, kind.length, BLADE)
    )
    return solids.block((0, kind.length), (0, kind.thickness), (0, height)) - swept
