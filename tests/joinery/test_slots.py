"""Slots against shapely and solids; spacing, depths, grids, and every fault with its mend."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box
from shapely.ops import unary_union

from assistant.errors import BadInput
from assistant.joinery.model import Blade
from assistant.joinery.passes import cuts
from assistant.joinery.slots import MOST_SLOTS, GridPiece, Slot, by_depth, cross_halved, evenly, lay_out

KERF = F(318, 100)
BLADE = Blade(KERF)


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
    board = draw(st.sampled_from([end, end + 5]))
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
    """In section and as solids: no piece meets another, each gap is c/2, and the tops are level."""
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
    # The short pieces are turned upside down and stand across: their slots open upwards.
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
    ([Slot(F(10), F(120), F(4))], "slots[1].at", "make it 100 mm wide or less"),
    ([Slot(F(10), F(6), F(0))], "slots[1].depth", "give its real depth"),
    ([Slot(F(10), F(0), F(4))], "slots[1].width", "give the thickness of what goes in"),
    ([Slot(F(10), F(3), F(4))], "slots[1].width", "or widen the slot by 0.08 mm or more"),
    ([Slot(F(10), F(6), F(4)), Slot(F(12), F(6), F(4))], "slots[2].at", "put slot 2 further than 16.1 mm"),
    ([Slot(F(10), F(6), F(4)), Slot(F(16), F(6), F(4))], "slots[2].at", "put slot 2 further than 16.1 mm"),
    ([], "slots", "change their number"),
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
