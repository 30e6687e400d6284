"""Lined joints: the exact rules of both stages, and what makes a joint impossible."""

from __future__ import annotations

import re
from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import BadInput, Fault
from assistant.joinery.layout import even, listed, mate
from assistant.joinery.lined import Lining, Stages, regions, stages
from assistant.joinery.model import Blade, Segment
from assistant.joinery.passes import cuts
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
def test_three_millimetres_remain_at_the_boards_edge_in_stage_one(more: F, sound: bool) -> None:
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
def test_linings_that_are_not_linings(lining: Lining, key: str) -> None:
    with pytest.raises(BadInput) as caught:
        of(joint(F(12)), lining)
    assert [fault.where for fault in caught.value.faults] == [key]


def test_a_suggested_thinner_lining_is_possible() -> None:
    """Do exactly what the fix says."""
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


TINY = F(1, 10_000)


def test_figures_worked_out_by_hand() -> None:
    """Fingers of 12 mm, clearance 0.1, lining 2 mm, glue-up 0.06: checked with a pencil."""
    made = LinedJoint(listed(F(36), [F(12)] * 3), F(1, 10), Lining(F(2)), Blade(F(3)))
    (one,) = made.stages
    assert walls(one.final) == [F("11.975"), F("24.025")]
    assert walls(one.opened) == [F("9.945"), F("26.055")]
    assert walls(one.blank) == [F("9.975"), F("26.025")]
    assert (one.final_depth, one.opened_depth, one.blank_depth) == (F("12.3"), F("14.3"), F("14.8"))


@given(lined_joints())
@settings(max_examples=60, deadline=None)
def test_regions_show_t_on_each_wall_and_t_under_each_socket_and_never_overlap(made: LinedJoint) -> None:
    t = made.lining.thickness
    for one in made.stages:
        tiles = list(regions(one))
        assert [b - a for a, b in at_walls(one)] == [made.per_wall] * len(walls(one.final))
        bottoms = [(r.x_from, r.x_to, r.y_to - r.y_from) for r in tiles if r.material == "lining" and r.y_from > 0]
        assert bottoms == [(s.start, s.end, t) for s in one.final if not s.is_finger]
        for level in (F(0), one.final_depth):
            row = sorted((r.x_from, r.x_to) for r in tiles if r.y_from <= level < r.y_to)
            assert (row[0][0], row[-1][1]) == (0, made.width)
            assert all(left[1] == right[0] for left, right in zip(row, row[1:], strict=False))


def at_walls(one: Stages) -> list[tuple[F, F]]:
    """(from, to) of the lining met near the board's end."""
    return sorted((r.x_from, r.x_to) for r in regions(one) if r.material == "lining" and r.y_from == 0)


@given(lined_joints())
@settings(max_examples=60, deadline=None)
def test_each_line_in_the_finished_joint_is_t_wide(made: LinedJoint) -> None:
    """One lined part: t at every wall. Both: t/2 of one, a glue gap of c/2, t/2 of the other."""
    for lines in zip(*(at_walls(one) for one in made.stages), strict=True):
        assert sum(b - a for a, b in lines) == made.lining.thickness
        if made.both:
            left, right = sorted(lines)
            assert right[0] - left[1] == made.clearance / 2


@given(lined_joints())
@settings(max_examples=60, deadline=None)
def test_what_is_not_refused_can_be_cut_in_both_stages(made: LinedJoint) -> None:
    """Every socket of openings, blank and final is a kerf wide; stage 2 stays within the openings."""
    for one in made.stages:
        for segments in (one.opened, one.blank, one.final):
            assert cuts(segments, made.width, made.blade)
        for opened, final in zip(one.opened, one.final, strict=True):
            assert final.is_finger or opened.start <= final.start < final.end <= opened.end


@given(any_lined())
@settings(max_examples=200, deadline=None)
def test_faults_name_every_part_that_breaks_a_condition_and_no_other(made: LinedJoint) -> None:
    try:
        text = " ".join(one.part + " is sound" for one in made.stages)
    except BadInput as error:
        text = " ".join(fault.what for fault in error.faults)
    for part in "AB":
        assert (f"part {part}," in text) == (part in made.lining.parts and made.too_narrow(part))


def one_narrow(which: str, size: F, parts: tuple[str, ...] = ("A",), kerf: F = F(3), t: F = F(2)) -> LinedJoint:
    """The inner finger of A, or those at its edges, `size` wide and all the others 20 mm; c = 0.1."""
    edge, inner = (F(20), size) if which == "inner" else (size, F(20))
    widths = [edge, F(20), inner, F(20), edge]
    return LinedJoint(listed(sum(widths, F(0)), widths), F(1, 10), Lining(t, parts), Blade(kerf))


def refused(made: LinedJoint, unit: str = "mm") -> tuple[Fault, ...]:
    with pytest.raises(BadInput) as caught:
        stages(made.final, made.depths, made.lining, made.blade.kerf, unit=unit)
    return caught.value.faults


def offered(pattern: str, mend: str) -> F:
    found = re.search(pattern, mend)
    assert found, mend
    return F(found[1])


@pytest.mark.parametrize("parts", [("A",), ("A", "B")])
@pytest.mark.parametrize(("which", "size"), [("inner", F("4.9")), ("edge", F("3.5"))])
def test_each_fix_makes_the_joint_possible_and_no_less_would_do(which: str, size: F, parts: tuple[str, ...]) -> None:
    (fault,) = refused(one_narrow(which, size, parts))
    wider = size + offered(r"widen the finger by ([\d.]+) mm", fault.mend)
    assert one_narrow(which, wider, parts).stages
    assert refused(one_narrow(which, wider - TINY, parts))
    thinner = offered(r"use a lining ([\d.]+) mm thick", fault.mend)
    assert one_narrow(which, size, parts, t=thinner).stages
    assert refused(one_narrow(which, size, parts, t=thinner + TINY))
    if which == "inner":
        kerf = offered(r"a blade with a kerf of ([\d.]+) mm or less", fault.mend)
        assert one_narrow(which, size, parts, kerf=kerf).stages
        assert refused(one_narrow(which, size, parts, kerf=kerf + TINY))


@given(st.integers(12, 16), st.sampled_from(["mm", "in"]), st.sampled_from(["inner", "edge"]))
def test_fixes_work_in_64ths_of_an_inch_too_although_their_figures_are_rounded(n: int, unit: str, which: str) -> None:
    step, per = F(254, 640), F(254, 10) if unit == "in" else F(1)
    size = n * step if which == "inner" else (n - 4) * step
    (fault,) = refused(one_narrow(which, size, t=5 * step), unit)
    assert one_narrow(which, size + per * offered(r"widen the finger by ([\d.]+) ", fault.mend), t=5 * step).stages
    assert one_narrow(which, size, t=per * offered(r"use a lining ([\d.]+) ", fault.mend)).stages
    if which == "inner":
        kerf = per * offered(r"a blade with a kerf of ([\d.]+) ", fault.mend)
        assert one_narrow(which, size, t=5 * step, kerf=kerf).stages


def test_the_fault_of_a_narrow_finger_in_full() -> None:
    (fault,) = refused(one_narrow("inner", F("6.5")))
    assert fault.what == "part A, finger 2: the blank's socket over it would be narrower than the kerf of 3 mm"
    assert (fault.value, fault.where) == ("6.45 mm wide with its clearance", "lining.thickness")
    assert fault.mend == (
        "widen the finger by 0.55 mm, or use a lining 1.725 mm thick, or a blade with a kerf of 2.45 mm or less"
    )


def test_nothing_is_offered_that_would_not_do() -> None:
    """A finger of 2 mm, kerf 3: the lining alone is wider than the finger, and none is thin enough."""
    (fault,) = (fault for fault in refused(one_narrow("inner", F(2))) if "blank" in fault.what)
    assert fault.mend == "widen the finger by 5.05 mm"


def test_faults_of_both_parts_and_of_all_kinds_come_at_once() -> None:
    widths = [F(4), F(5), F(4), F(5), F(20)]
    made = LinedJoint(listed(sum(widths, F(0)), widths), F(1, 10), Lining(F(3), ("A", "B")), Blade(F(3)))
    assert [fault.what.split(":")[0] for fault in refused(made)] == [
        "part A, finger 1",
        "part A, finger 2",
        "part B, fingers 1, 2",
    ]


def test_a_finger_that_the_glue_clearance_would_eat_is_refused_at_its_limit() -> None:
    """With c 0.1, lining 2, c1 0.2, 4.25 mm leaves nothing of the finger, though a thin blade cuts the blank's."""

    def made(inner: F) -> LinedJoint:
        widths = [F(20), F(20), inner, F(20), F(20)]
        return LinedJoint(listed(sum(widths, F(0)), widths), F(1, 10), Lining(F(2), ("A",), F(2, 10)), Blade(F(1, 10)))

    assert made(F("4.25") + TINY).stages
    (fault,) = refused(made(F("4.25")))
    assert fault.what == "part A, finger 2: stage 1 would leave nothing of it"
    assert fault.mend == "widen the finger by more than 0 mm, or use a lining under 2 mm thick"
