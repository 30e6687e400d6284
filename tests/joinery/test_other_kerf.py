"""An end laid out for another kerf, whole or round what is cut: which wood is gone, kerf by kerf and as solids.

The reckoning here knows nothing of rooms or overlaps: it puts kerfs together, and looks at what is left of each socket.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction as F

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from assistant.errors import BadInput
from assistant.joinery.halves import from_both_edges, whole, with_piece
from assistant.joinery.layout import even
from assistant.joinery.model import Blade, Carriage, Pass, Pattern, Segment
from assistant.joinery.other_kerf import kerf_of, laid_out, rest
from assistant.joinery.pattern import pattern
from assistant.joinery.settings import rounding_error
from assistant.joinery.slots import Slot, lay_out
from tests.joinery import solids
from tests.joinery.lined_plans import LinedJoint, lined_joints
from tests.joinery.plans import Joint, joints, lengths

tried = settings(max_examples=150, deadline=None)
Span = tuple[F, F]


def joined(kerfs: Iterable[Span]) -> list[Span]:
    """The stretches that are gone, ascending; those that touch are one."""
    found: list[Span] = []
    for low, high in sorted(kerfs):
        if found and low <= found[-1][1]:
            found[-1] = found[-1][0], max(high, found[-1][1])
        else:
            found.append((low, high))
    return found


def gone(*passes: Sequence[Pass]) -> list[Span]:
    return joined((one.kerf_from, one.kerf_to) for each in passes for one in each)


def on_the_board(spans: Iterable[Span], width: F) -> list[Span]:
    return [(max(low, F(0)), min(high, width)) for low, high in spans]


def sockets_of(one: Pattern) -> list[Span]:
    return [(each.start, each.end) for each in one.sockets]


def blade_for(joint: Joint, kerf: F) -> Blade:
    return replace(joint.blade, kerf=kerf)


OTHER_KERFS, CUTS = lengths(F(1), F(7)), st.integers(0, 2**64 - 1)


@st.composite
def begun(draw: st.DrawFn) -> tuple[Joint, Pattern, frozenset[int], Blade]:
    """An end, which of its passes are cut, and another blade that goes into its sockets."""
    joint = draw(joints())
    end = joint.part(draw(st.sampled_from("AB")))
    inner = [s.width for s in end.sockets if s.start > 0 and s.end < end.width]
    kerf = draw(OTHER_KERFS)
    if inner and draw(st.booleans()):
        kerf = min(kerf, *inner)
    assume(kerf > joint.blade.overlap and kerf <= min(inner, default=kerf))
    mask = draw(CUTS)
    return joint, end, frozenset(p.number for p in end.passes if mask >> (p.number % 64) & 1), blade_for(joint, kerf)


@tried
@given(joints())
def test_for_the_same_blade_nothing_changes(joint: Joint) -> None:
    for end in joint.parts:
        assert laid_out(end, joint.blade, joint.carriage, "mm") == end
        assert rest(end, (), joint.blade, joint.carriage, "mm") == end
        assert kerf_of(end) == joint.blade.kerf


@tried
@given(begun())
def test_for_another_blade_a_whole_end_is_as_if_it_had_been_planned_so(
    made: tuple[Joint, Pattern, frozenset[int], Blade],
) -> None:
    joint, end, cut, blade = made
    planned = replace(joint, blade=blade).part(end.part)
    assert laid_out(end, blade, joint.carriage, "mm") == planned
    left = rest(end, cut, joint.blade, joint.carriage, "mm")
    assume(left.passes)
    assert laid_out(left, blade, joint.carriage, "mm") == planned, "what another blade began is no matter then"


@tried
@given(begun())
def test_what_both_blades_cut_is_each_socket_and_no_more(made: tuple[Joint, Pattern, frozenset[int], Blade]) -> None:
    joint, end, cut, blade = made
    left = rest(end, cut, blade, joint.carriage, "mm")
    assert set(left.before) == {p for p in end.passes if p.number in cut}
    assert [p.number for p in left.passes] == list(range(1, len(left.passes) + 1))
    assert on_the_board(gone(left.before, left.passes), end.width) == sockets_of(end)
    assert all(p.kerf_to - p.kerf_from == blade.kerf for p in left.passes)
    for one in left.passes:
        socket = end.sockets[one.socket - 1]
        assert socket.start <= 0 or one.kerf_from >= socket.start, "no wall is moved"
        assert socket.end >= end.width or one.kerf_to <= socket.end
        over = max(-one.kerf_from, one.kerf_to - end.width)
        assert over <= max(joint.blade.overrun, blade.kerf - socket.width), "no farther off an edge than it must be"


@tried
@given(begun())
def test_each_wall_that_is_not_cut_is_met_by_the_new_kerf_and_every_pass_is_needed(
    made: tuple[Joint, Pattern, frozenset[int], Blade],
) -> None:
    joint, end, cut, blade = made
    left = rest(end, cut, blade, joint.carriage, "mm")
    for number, socket in enumerate(end.sockets, 1):
        old = [p for p in left.before if p.socket == number]
        new = [p for p in left.passes if p.socket == number]
        if socket.start > 0 and all(p.kerf_from != socket.start for p in old):
            assert min(p.kerf_from for p in new) == socket.start
        if socket.end < end.width and all(p.kerf_to != socket.end for p in old):
            assert max(p.kerf_to for p in new) == socket.end
        assert bool(new) == (len(old) < sum(p.socket == number for p in end.passes))
    settings = [p.setting for p in left.passes]
    assert settings == sorted(settings)


@tried
@given(begun())
def test_rounded_settings_leave_no_fin_that_the_overlap_would_take(
    made: tuple[Joint, Pattern, frozenset[int], Blade],
) -> None:
    """Each kerf lies where its rounded setting puts it, the old ones too."""
    joint, end, cut, blade = made
    assume(joint.carriage.resolution <= joint.blade.overlap)
    left = rest(end, cut, blade, joint.carriage, "mm")
    moved = []
    for one in (*left.before, *left.passes):
        off = rounding_error(one, joint.carriage)
        moved.append((one.kerf_from + off, one.kerf_to + off))
    found, half = joined(moved), joint.carriage.resolution / 2
    for low, high in sockets_of(end):
        (at,) = [span for span in found if span[0] <= (low + high) / 2 <= span[1]]
        assert at[0] <= low + half and at[1] >= high - half


@tried
@given(begun(), CUTS, OTHER_KERFS)
def test_a_third_blade_goes_on_where_the_second_left_off(
    made: tuple[Joint, Pattern, frozenset[int], Blade], mask: int, kerf: F
) -> None:
    joint, end, cut, blade = made
    second = rest(end, cut, blade, joint.carriage, "mm")
    inner = [s.width for s in end.sockets if s.start > 0 and s.end < end.width]
    assume(second.passes and joint.blade.overlap < kerf <= min(inner, default=kerf))
    of_second = frozenset(p.number for p in second.passes if mask >> (p.number % 64) & 1)
    third = rest(second, of_second, blade_for(joint, kerf), joint.carriage, "mm")
    assert len(third.before) == len(cut) + len(of_second)
    assert on_the_board(gone(third.before, third.passes), end.width) == sockets_of(end)
    assert bool(third.passes) == (len(of_second) < len(second.passes)), "something is left as long as a pass is"
    assert gone(whole(third, joint.carriage).passes) == gone(third.before, third.passes)


def test_a_kerf_that_overhung_the_edge_made_no_wall_there() -> None:
    """The second blade's is wider than the socket at the far edge; the third's, wider still, goes in as well."""
    end = pattern("B", even(F(603, 100), F(201, 100), "socket"), F(603, 100), F(12), Blade(F(101, 100)), Carriage())
    second = rest(end, {3}, Blade(F(202, 100)), Carriage(), "mm")
    third = rest(second, (), Blade(F(203, 100)), Carriage(), "mm")
    assert [(p.socket, p.kerf_from, p.kerf_to) for p in third.passes] == [
        (1, F(-2, 100), F(201, 100)),
        (2, F(402, 100), F(605, 100)),
    ]


def test_a_wide_blade_takes_one_pass_over_two_that_another_left() -> None:
    """Kerfs of 3 mm in a socket of 9 mm: with the first and third of four cut, one of 6.5 mm clears the rest."""
    end = pattern("A", even(F(27), F(9)), F(27), F(10), Blade(F(3)), Carriage())
    assert [(p.kerf_from, p.kerf_to) for p in end.passes] == [(9, 12), (11, 14), (13, 16), (15, 18)]
    left = rest(end, {1, 3}, Blade(F(13, 2)), Carriage(), "mm")
    assert [(p.socket, p.kerf_from, p.kerf_to) for p in left.passes] == [(1, F(23, 2), 18)]
    assert left.passes[0].setting == 18
    narrow = rest(end, {1}, Blade(F(5, 2)), Carriage(), "mm")
    assert [p.kerf_from for p in narrow.passes] == [F(59, 5), F(273, 20), F(31, 2)], "0.2 mm into the kerf, to the wall"


def test_a_pass_that_a_smaller_overlap_would_not_need_is_still_one() -> None:
    """As in a session that was stored before it was known how far its passes overlap."""
    segments = (Segment(F(0), F(8), True), Segment(F(8), F(27, 2), False), Segment(F(27, 2), F(20), True))
    end = pattern("A", segments, F(20), F(10), Blade(F(3), overlap=F(1)), Carriage())
    assert [p.kerf_from for p in end.passes] == [8, F(37, 4), F(21, 2)]
    for kerf in (F(2), F(3), F(11, 2)):
        left = rest(end, {1, 3}, Blade(kerf), Carriage(), "mm")
        assert len(left.passes) == 1 and gone(left.before, left.passes) == sockets_of(end)
    with pytest.raises(BadInput, match="narrower than a kerf of 6 mm"):
        rest(end, {1, 3}, Blade(F(6)), Carriage(), "mm")


def test_a_socket_too_narrow_for_the_new_blade_is_named_with_what_helps_unless_it_is_all_cut() -> None:
    end = pattern("A", even(F(30), F(6)), F(30), F(10), Blade(F(318, 100)), Carriage())
    wide = Blade(F(61, 10))
    with pytest.raises(BadInput) as refused:
        rest(end, {1}, wide, Carriage(), "mm")
    (fault,) = refused.value.faults
    assert (
        fault.what == "sockets 1, 2 are narrower than a kerf of 6.1 mm"
        and fault.value == "6 mm wide with its clearance"
    )
    assert fault.mend == "put the old blade back, or count the board as spoilt"
    with pytest.raises(BadInput) as refused:
        rest(end, {1, 2}, wide, Carriage(), "mm")
    assert refused.value.faults[0].what == "socket 2 is narrower than a kerf of 6.1 mm"
    assert rest(end, {1, 2, 3, 4}, wide, Carriage(), "mm").passes == ()
    with pytest.raises(BadInput) as refused:
        laid_out(end, wide, Carriage(), "in")
    assert refused.value.faults[0].mend == "use a blade with a kerf of 0.2362 in or less"


def test_every_fault_of_a_kerf_is_told_at_once() -> None:
    segments = tuple(
        Segment(F(a), F(b), n % 2 == 0) for n, (a, b) in enumerate([(0, 9), (9, 14), (14, 20), (20, 26), (26, 35)])
    )
    end = pattern("A", segments, F(35), F(10), Blade(F(3), overlap=F(2)), Carriage())
    with pytest.raises(BadInput) as refused:
        laid_out(end, Blade(F(7)), Carriage(), "mm", "slot")
    assert [fault.what for fault in refused.value.faults] == [
        "slot 1 is narrower than a kerf of 7 mm",
        "slot 2 is narrower than a kerf of 7 mm",
    ]
    for lay in (
        lambda blade: laid_out(end, blade, Carriage(), "mm"),
        lambda blade: rest(end, {1}, blade, Carriage(), "mm"),
    ):
        with pytest.raises(BadInput, match="must be wider than the passes overlap, 2 mm"):
            lay(Blade(F(2), overlap=F(2)))


def test_a_setting_beyond_the_travel_is_refused() -> None:
    carriage = Carriage(travel=(F(0), F(31)))
    end = pattern("B", even(F(30), F(6), "socket"), F(30), F(10), Blade(F(3), overrun=F(1)), carriage)
    assert max(p.setting for p in end.passes) == 31
    short = replace(carriage, travel=(F(0), F(30)))
    for lay in (laid_out, lambda one, *more: rest(one, {1}, *more)):
        with pytest.raises(BadInput, match="outside the carriage's travel of 0 mm to 30 mm"):
            lay(end, Blade(F(4), overrun=F(1)), short, "mm")


def test_sockets_that_are_come_down_to_still_are() -> None:
    end = pattern("A", even(F(30), F(6)), F(30), F(10), Blade(F(318, 100)), Carriage())
    marked = replace(end, passes=tuple(replace(p, down=p.socket == 2) for p in end.passes))
    for made in (laid_out(marked, Blade(F(2)), Carriage(), "mm"), rest(marked, {1, 3}, Blade(F(2)), Carriage(), "mm")):
        assert {p.socket for p in made.passes if p.down} == {2} and any(not p.down for p in made.passes)


def test_a_socket_that_a_ripped_edge_opens_is_cut_to_the_wall_that_it_had() -> None:
    """As in a test joint: the offcut may be a little wider than it was laid out."""
    end = pattern("A", even(F(42), F(6)), F(42), F(10), Blade(F(318, 100)), Carriage())
    segments = (
        Segment(F(0), F(6), True),
        Segment(F(6), F(12), False),
        Segment(F(12), F(18), True),
        Segment(F(18), F(20), False),
    )
    ripped = replace(end, width=F(20), segments=segments, passes=tuple(p for p in end.passes if p.socket <= 2))
    for made in (laid_out(ripped, Blade(F(2)), Carriage(), "mm"), rest(ripped, {1}, Blade(F(2)), Carriage(), "mm")):
        assert made.segments == segments
        assert max(p.kerf_to for p in made.passes) == 24


@tried
@given(begun(), st.sampled_from(["piece", "edges"]))
def test_any_half_of_an_end_is_laid_out_as_the_whole(
    made: tuple[Joint, Pattern, frozenset[int], Blade], how: str
) -> None:
    joint, end, _, blade = made
    middle = (min(p.setting for p in end.passes) + max(p.setting for p in end.passes)) / 2
    carriage = replace(joint.carriage, travel=(F(-20), middle), distance_piece=F(15) if how == "piece" else None)
    halves = with_piece(end, carriage) if how == "piece" else from_both_edges(end, carriage)
    unlimited = replace(carriage, travel=None)
    assert laid_out(halves[-1].pattern, blade, unlimited, "mm") == replace(joint, blade=blade).part(end.part)


LENGTH = F(40)


def board_cut(end: Pattern, thick: F) -> solids.Manifold:
    """A board after both blades have been through it."""
    kerfs = [(p.kerf_from, p.kerf_to) for p in (*end.before, *end.passes)]
    through = (-solids.BEYOND, thick + F(solids.BEYOND))
    swept = solids.together(solids.block(each, (-solids.BEYOND, end.depth), through) for each in kerfs)
    return solids.block((0, end.width), (0, LENGTH), (0, thick)) - swept


@settings(max_examples=25, deadline=None)
@given(joints(), OTHER_KERFS, CUTS, st.booleans())
def test_joints_whose_parts_different_kerfs_have_cut_go_together(joint: Joint, kerf: F, mask: int, rests: bool) -> None:
    """Part A by the first blade, or begun by it; part B by the other. The wood that is missing is the clearance."""
    a, b = joint.parts
    inner = [s.width for end in (a, b) for s in end.sockets if s.start > 0 and s.end < end.width]
    assume(joint.blade.overlap < kerf <= min(inner, default=kerf))
    blade = blade_for(joint, kerf)
    if rests:
        a = rest(a, {p.number for p in a.passes if mask >> (p.number % 64) & 1}, blade, joint.carriage, "mm")
    b = laid_out(b, blade, joint.carriage, "mm")
    thick = joint.depth  # each as thick as the other is cut deep, so that they end level
    one, other = (board_cut(end, thick) for end in (a, b))
    other = other.transform([[1, 0, 0, 0], [0, 0, 1, 0], [0, -1, 0, float(thick)]])
    corner = float(joint.width * thick * thick)
    assert (one ^ other).volume() == pytest.approx(0, abs=1e-6 * corner)
    space = solids.block((0, joint.width), (0, thick), (0, thick))
    walls = len(joint.nominal) - 1
    empty = float(walls * joint.clearance / 2 * thick * thick)
    assert corner - ((one + other) ^ space).volume() == pytest.approx(empty, abs=1e-6 * corner)


@settings(max_examples=4, deadline=None)
@given(lined_joints(), st.integers(50, 99))
def test_a_lined_board_has_the_same_wood_whichever_kerf_opened_it(joint: LinedJoint, share: int) -> None:
    """Openings, blanks and final sockets, each begun by one blade and gone on with by a narrower one."""
    kerf = joint.blade.kerf * share / 100
    blade = replace(joint.blade, kerf=kerf)
    assume(kerf > blade.overlap)
    for of in joint.stages:
        for segments, depth in (
            (of.opened, of.opened_depth),
            (of.blank, of.blank_depth),
            (of.final, joint.depths[of.part]),
        ):
            end = pattern(of.part, segments, joint.width, depth, joint.blade, Carriage())
            left = rest(end, {p.number for p in end.passes[::2]}, blade, Carriage(), "mm")
            fresh = laid_out(end, blade, Carriage(), "mm")
            once = solids.block((0, joint.width), (0, LENGTH), (0, 10)) - solids.swept(
                segments, joint.width, depth, F(10), joint.blade
            )
            for made in (left, fresh):
                cut = board_cut(made, F(10))
                assert (cut - once).volume() + (once - cut).volume() == pytest.approx(0, abs=1e-6)


@tried
@given(st.lists(st.tuples(st.integers(4, 12), st.integers(4, 12)), min_size=1, max_size=6), CUTS, st.integers(12, 40))
def test_slots_of_every_depth_keep_their_places(wide: list[tuple[int, int]], mask: int, tenths: int) -> None:
    at, slots = F(5), []
    for n, (width, between) in enumerate(wide):
        slots.append(Slot(at, F(width), F(4 + n % 2)))
        at += width + between
    blade = Blade(F(tenths, 10))
    for group in lay_out(slots, at, F(1, 10), F(3)):
        end = pattern("A", group.segments, at, group.depth, Blade(F(3)), Carriage())
        left = rest(end, {p.number for p in end.passes if mask >> (p.number % 64) & 1}, blade, Carriage(), "mm")
        assert gone(left.before, left.passes) == gone(laid_out(end, blade, Carriage(), "mm").passes) == sockets_of(end)
