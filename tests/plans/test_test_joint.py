"""The test joint is the beginning of the job's own: the same fingers, passes and settings, in two offcuts.

Put together as solids in manifold3d, which knows nothing of layouts, the pieces show the clearance where it must be.
"""

from __future__ import annotations

from dataclasses import fields, replace
from fractions import Fraction as F
from itertools import pairwise
from pathlib import Path

import pytest
from manifold3d import Manifold

from assistant.errors import BadInput
from assistant.joinery.model import Blade, Carriage, Pattern
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.job import build_job
from assistant.plans.model import BoardPlan, Job, JointPlan, Plan, Shop
from assistant.plans.plan_file import read_both
from assistant.plans.test_joint import LEAST_LENGTH, Offcuts, build_test_joint, can_be_tested
from tests.joinery.solids import BEYOND, along_x, block, together
from tests.plans.files import DEMO_PLANS, DEMO_SHOPS
from tests.session.jobs import plan

KERF = F("3.18")
LENGTH = F(200)
MM = 1e-6  # solids are floats


def shop(zero: str = "outside", **blade: F) -> Shop:
    return Shop("mm", Blade(KERF, **blade), Carriage(zero=zero), checks=DEFAULT_CHECKS)


def even(width: int, finger: int = 6, **joint: object) -> Plan:
    return replace(plan(width, finger, **joint), thickness={"A": F(10), "B": F(12)})


def made(a_plan: Plan, a_shop: Shop | None = None) -> tuple[Job, Job, Offcuts]:
    """(the boards' job, the test joint's, its offcuts)."""
    chosen = a_shop or shop()
    return build_job(a_plan, chosen), *build_test_joint(a_plan, chosen)


def fingers_and_sockets(*, fingers: int, sockets: int) -> Plan:
    """A part A of so many; part B has them the other way round."""
    return even(6 * (fingers + sockets), starts_with="finger" if fingers >= sockets else "socket")


def check_is_the_beginning(job: Job, test: Job) -> None:
    assert [one.part for one in test.patterns] == [one.part for one in job.patterns]
    for whole, cut in zip(job.patterns, test.patterns, strict=True):
        assert cut.passes == whole.passes[: len(cut.passes)], "the same kerfs and settings, from the first on"
        assert cut.fingers == whole.fingers[: len(cut.fingers)], "the same fingers"
        assert cut.depth == whole.depth
        assert cut.segments[0].start == 0 and cut.segments[-1].end == cut.width <= whole.width
        assert all(one.end == other.start for one, other in pairwise(cut.segments))
        assert {one.socket for one in cut.passes} == set(range(1, len(cut.sockets) + 1)), "every socket is cleared"
    own = {"title", "patterns", "setups", "order", "warnings", "greatest_error", "worst_clearance"}
    kept = {field.name for field in fields(Job)} - own
    assert {name: getattr(test, name) for name in kept} == {name: getattr(job, name) for name in kept}
    assert job.greatest_error >= test.greatest_error and test.worst_clearance >= job.worst_clearance


def test_it_has_the_first_three_fingers_of_each_part() -> None:
    job, test, offcuts = made(even(84))
    check_is_the_beginning(job, test)
    assert [len(one.fingers) for one in test.patterns] == [3, 3]
    assert not offcuts.whole and (offcuts.width, offcuts.length) == (36, 200)
    assert {one.width for one in test.patterns} == {36 - F("0.025")}, "where the third finger of B ends"


def test_it_is_two_setups_of_one_offcut_each_in_the_jobs_order() -> None:
    """The shallower part comes first; here B, since A is the thinner."""
    job, test, _ = made(even(84))
    assert test.title == "Test joint: Small tray"
    rows = [(one.number, one.board, one.part, one.end, one.copies, one.first_copy, one.stage) for one in test.setups]
    assert rows == [(1, "test piece B", "B", 1, 1, 1, 1), (2, "test piece A", "A", 1, 1, 1, 1)]
    assert [test.pattern_of(number).part for number in (1, 2)] == ["B", "A"]
    assert test.total_passes < job.total_passes


@pytest.mark.parametrize("a_shop", DEMO_SHOPS, ids=lambda path: path.stem)
@pytest.mark.parametrize("a_plan", DEMO_PLANS, ids=lambda path: path.stem)
def test_of_every_demo_plan_it_is_the_beginning(a_plan: Path, a_shop: Path) -> None:
    both = read_both(a_plan, a_shop)
    if can_be_tested(both[0]):
        job, test, offcuts = made(*both)
        check_is_the_beginning(job, test)
        assert offcuts.length == LEAST_LENGTH[both[0].unit] >= 200


def test_there_are_demo_plans_to_test() -> None:
    plans = [read_both(one, DEMO_SHOPS[0])[0] for one in DEMO_PLANS]
    assert {can_be_tested(one) for one in plans} == {True, False}


@pytest.mark.parametrize(
    ("fingers", "sockets", "whole"),
    [(2, 2, True), (3, 2, True), (3, 3, False), (14, 14, False), (15, 14, True), (14, 15, True), (15, 15, True)],
)
def test_from_fifteen_fingers_on_the_full_width_is_tested(fingers: int, sockets: int, whole: bool) -> None:
    """So many fingers take the screw far enough to show its errors; and fewer than three can't be shortened."""
    job, test, offcuts = made(fingers_and_sockets(fingers=fingers, sockets=sockets))
    check_is_the_beginning(job, test)
    assert offcuts.whole is whole
    if whole:
        assert test.patterns == job.patterns and offcuts.width == job.patterns[0].width


def boards(*parts: str) -> tuple[BoardPlan, ...]:
    return tuple(BoardPlan(f"board {part}", part) for part in parts)


@pytest.mark.parametrize(
    ("changes", "can"),
    [
        ({}, True),
        ({"joint": JointPlan("listed", widths=(F(6), F(6), F(6)))}, True),
        ({"joint": JointPlan("lined", finger=F(6))}, False),
        ({"joint": JointPlan("slots")}, False),
        ({"boards": boards("A")}, False),
        ({"boards": boards("B")}, False),
        ({"title": "Test board: kerf"}, False),
        ({"title": "Test joint: of my own"}, False),
    ],
)
def test_only_a_joint_of_two_parts_in_one_stage_can_be_tested(changes: dict[str, object], can: bool) -> None:
    assert can_be_tested(replace(even(84), **changes)) is can


def test_its_faults_are_the_jobs() -> None:
    with pytest.raises(BadInput, match=r"narrower than the kerf"):
        build_test_joint(even(84, 3), shop())


def test_an_offcut_in_inches_is_measured_in_whole_inches() -> None:
    a_plan = replace(even(84), unit="in")
    assert build_test_joint(a_plan, shop())[1].length == F("203.2")


# Put together.


def cut_out(pattern: Pattern, width: F, thick: F) -> Manifold:
    """An offcut of this width, cut by the passes themselves."""
    swept = [
        block((one.kerf_from, one.kerf_to), (-BEYOND, pattern.depth), (-BEYOND, thick + F(BEYOND)))
        for one in pattern.passes
    ]
    return block((0, width), (0, LENGTH), (0, thick)) - together(swept)


def corner(test: Job, a_plan: Plan, width: F) -> tuple[Manifold, Manifold]:
    """Both pieces as in the joint, reference edges level: A along y, B along z, each proud by the sanding allowance."""
    sand, (thick_a, thick_b) = float(a_plan.joint.sand_allowance), (a_plan.thickness["A"], a_plan.thickness["B"])
    parts = {one.part: one for one in test.patterns}
    piece_a, piece_b = cut_out(parts["A"], width, thick_a), cut_out(parts["B"], width, thick_b)
    return (
        piece_a.transform([[1, 0, 0, 0], [0, 1, 0, -sand], [0, 0, 1, 0]]),
        piece_b.transform([[1, 0, 0, 0], [0, 0, -1, float(thick_b)], [0, 1, 0, -sand]]),
    )


def gaps(test: Job, a_plan: Plan, width: F) -> list[float]:
    """Between neighbouring fingers, half way into the joint."""
    middle = [float(a_plan.thickness[part]) / 2 for part in "AB"]
    wood = sorted(run for piece in corner(test, a_plan, width) for run in along_x(piece, middle[1], middle[0], width))
    return [after[0] - before[1] for before, after in pairwise(wood)]


JOINTS = {
    "even": even(84),
    "socket first": even(84, starts_with="socket"),
    "both edges": even(80, remainder="both edges"),
    "listed": replace(even(84), joint=JointPlan("listed", widths=tuple(map(F, (20, 5, 14, 9, 4, 12, 4, 16))))),
    "no clearance": even(84, clearance=F(0)),
    "wide clearance": even(84, clearance=F("0.4")),
    "whole": even(18),
}


@pytest.mark.parametrize("zero", ["outside", "inside"])
@pytest.mark.parametrize("name", JOINTS)
def test_put_together_half_the_clearance_is_left_at_every_wall(name: str, zero: str) -> None:
    """Ripped to the figure given, or to where the last finger really ends."""
    a_plan = JOINTS[name]
    _, test, offcuts = made(a_plan, shop(zero))
    walls = sum(len(one.fingers) for one in test.patterns) - 1
    for width in (offcuts.width, test.patterns[0].width):
        piece_a, piece_b = corner(test, a_plan, width)
        assert (piece_a ^ piece_b).volume() == pytest.approx(0, abs=1e-4)
        assert gaps(test, a_plan, width) == pytest.approx([float(a_plan.joint.clearance) / 2] * walls, abs=MM)


def test_offcuts_that_are_not_ripped_do_not_go_together() -> None:
    """Beyond the third finger both would keep all their wood, in the same place."""
    a_plan = JOINTS["even"]
    _, test, _ = made(a_plan)
    piece_a, piece_b = corner(test, a_plan, a_plan.width)
    assert (piece_a ^ piece_b).volume() > 1000


def test_a_wider_kerf_than_written_takes_twice_the_difference_off_the_clearance() -> None:
    """What the test joint is there to show: cut with a kerf 0.05 wider, each gap is 0.05 wider, 0.1 in clearance."""
    a_plan = JOINTS["even"]
    _, test, _ = made(a_plan)
    wider = tuple(
        replace(one, passes=tuple(replace(each, kerf_from=each.kerf_from - F("0.05")) for each in one.passes))
        for one in test.patterns
    )
    found = gaps(replace(test, patterns=wider), a_plan, test.patterns[0].width)
    assert found == pytest.approx([0.1] * 5, abs=MM)


# At zero.


@pytest.mark.parametrize(("zero", "taken"), [("outside", F(0)), ("inside", KERF)])
def test_what_a_cut_at_zero_takes_off_the_reference_edge(zero: str, taken: F) -> None:
    """Against a layout by hand: A's first socket, after a finger of 6, begins at 6 - 0.1/4 = 5.975 from the edge.

    Its first cut leaves 5.975 of wood in front of it, and the carriage stands at its setting then. Moved back by that
    setting, as the carriage is at zero, the same cut takes this much of the board. Settings are to the hundredth.
    """
    job, _, _ = made(even(84), shop(zero))
    (part_a,) = (one for one in job.patterns if one.part == "A")
    at_zero = tuple(wall - part_a.passes[0].setting for wall in (F("5.975"), F("5.975") + KERF))
    board = block((0, 84), (0, LENGTH), (0, 10))
    left = board - block(at_zero, (-BEYOND, part_a.depth), (-BEYOND, 10 + BEYOND))
    gone = (board.volume() - left.volume()) / float(part_a.depth * 10)
    assert gone == pytest.approx(float(taken), abs=0.0051)
