"""A plan and a shop become a job: order of setups, depths, exact figures, faults and warnings."""

from __future__ import annotations

import csv
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import BadInput
from assistant.joinery.model import CLEAR_ABOVE
from assistant.plans.checks import figures_of
from assistant.plans.job import build_job
from assistant.plans.job_json import job_from_json, job_to_json
from assistant.plans.model import BoardPlan, Job
from assistant.plans.plan_file import read_both
from tests.plans.files import DEMO, DEMO_PLANS, DEMO_SHOPS, LISTED, PLAN, SHOP, job_faults, job_of, plan_of, shop_of

FRACTIONS = Path(__file__).parents[1] / "references" / "fractions.csv"
BOARDS = PLAN[: PLAN.index("[[boards]]")]


def _boards(*entries: str) -> str:
    return BOARDS + "".join(f"[[boards]]\n{entry}\n" for entry in entries)


def _order(job: Job) -> list[tuple[str, int, int, int]]:
    return [(setup.board, setup.end, setup.first_copy, setup.copies) for setup in job.setups]


def test_end_one_of_all_copies_then_end_two_and_the_last_stack_is_the_remainder(tmp_path: Path) -> None:
    job = job_of(tmp_path, _boards('name = "a"\npart = "A"\ncount = 5\nends = 2\nstack = 2'))
    assert _order(job) == [
        ("a", 1, 1, 2),
        ("a", 1, 3, 2),
        ("a", 1, 5, 1),
        ("a", 2, 1, 2),
        ("a", 2, 3, 2),
        ("a", 2, 5, 1),
    ]


def test_setups_go_by_part_then_by_the_files_order_and_count_from_one(tmp_path: Path) -> None:
    job = job_of(tmp_path, _boards(*(f'name = "{n}"\npart = "{p}"' for n, p in ("wB", "xA", "yB", "zA"))))
    assert [setup.board for setup in job.setups] == ["x", "z", "w", "y"]
    assert [setup.number for setup in job.setups] == [1, 2, 3, 4]
    assert {setup.stage for setup in job.setups} == {1}


def test_the_shallower_part_is_cut_first(tmp_path: Path) -> None:
    plan = PLAN.replace("thickness = 12", "thickness = 12\n[stock.A]\nthickness = 9")
    job = job_of(tmp_path, plan)
    assert [setup.part for setup in job.setups] == ["B", "A"]


def test_depth_is_the_mates_thickness_and_the_sand_allowance(tmp_path: Path) -> None:
    plan = PLAN.replace("thickness = 12", "[stock.A]\nthickness = 9\n[stock.B]\nthickness = 15")
    depths = {pattern.part: pattern.depth for pattern in job_of(tmp_path, plan).patterns}
    assert depths == {"A": Fraction("15.3"), "B": Fraction("9.3")}


def test_patterns_are_shared_by_every_setup_of_a_part(tmp_path: Path) -> None:
    job = job_of(tmp_path, PLAN + '[[boards]]\nname = "back"\npart = "A"\ncount = 3\nends = 2\n')
    assert [pattern.part for pattern in job.patterns] == ["A", "B"]
    assert all(job.pattern_of(setup.number).part == setup.part for setup in job.setups)
    assert job.total_passes == sum(len(job.pattern_of(setup.number).passes) for setup in job.setups)


def test_the_glue_check_is_asked_only_where_there_is_a_second_stage(tmp_path: Path) -> None:
    assert "glue dry and trimmed" not in [check.name for check in job_of(tmp_path).checks]


def test_an_inch_plan_agrees_with_the_table_of_64ths() -> None:
    """Outside reference: tests/references/fractions.csv. Each inner wall lies c/4 beside a quarter of an inch."""
    with FRACTIONS.open() as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        inch = {row["fraction"]: Fraction(row["mm_exact"]) for row in rows}
    job = build_job(*read_both(DEMO / "spice-drawer-inch.toml", DEMO / "shop-handwheel-inch.toml"))
    part_a, part_b = job.patterns
    quarter, shift = inch["1/4"], Fraction("0.004") * Fraction("25.4") / 4
    assert [s.start for s in part_a.segments[1:]] == [n * quarter + (-shift if n % 2 else shift) for n in range(1, 14)]
    assert [s.start for s in part_b.segments[1:]] == [n * quarter + (shift if n % 2 else -shift) for n in range(1, 14)]
    assert part_a.depth == inch["3/8"] + inch["1/64"]
    assert part_b.depth == inch["1/2"] + inch["1/64"]
    # One mark is 1/16 in / 125 = half a thousandth, so every setting of this plan is met exactly.
    assert job.carriage.resolution == Fraction("25.4") / 2000
    assert job.greatest_error == 0
    assert job.assumed_kerf == inch["1/8"] - Fraction("0.002") * Fraction("25.4")


@pytest.mark.parametrize("plan", DEMO_PLANS, ids=lambda path: path.stem)
@pytest.mark.parametrize("shop", DEMO_SHOPS, ids=lambda path: path.stem)
def test_every_demo_plan_is_laid_out_on_every_demo_shop(plan: Path, shop: Path) -> None:
    job = build_job(*read_both(plan, shop))
    parts = {setup.part for setup in job.setups}
    assert parts >= {"A"} if job.layout == "slots" else parts >= {"A", "B"}
    assert job.worst_clearance > 0
    for pattern in job.patterns:
        assert pattern.segments[0].start == 0 and pattern.segments[-1].end == pattern.width
        assert [one.number for one in pattern.passes] == list(range(1, len(pattern.passes) + 1))


def test_there_are_demo_plans() -> None:
    assert len(DEMO_PLANS) >= 3 and len(DEMO_SHOPS) >= 3


def test_sockets_too_narrow_for_the_kerf(tmp_path: Path) -> None:
    faults = job_faults(tmp_path, PLAN.replace("finger = 6", "finger = 3"))
    assert len(faults) == 2
    assert all(fault.startswith("trays.toml: joint.finger: ") and "narrower than the kerf" in fault for fault in faults)
    assert "a blade with a kerf of 3.05 mm or less would fit" in faults[0]


def test_settings_outside_the_travel_name_the_shop_file_and_the_fix(tmp_path: Path) -> None:
    below = job_faults(tmp_path, shop=SHOP + 'overrun = 1\n[carriage]\ntravel = [0, 400]\nzero = "inside"\n')
    assert below == [
        "shop.toml: carriage.travel: part B: a setting lies outside the carriage's travel of 0 mm to 400 mm "
        '(got -1 mm); use carriage.zero = "outside", which keeps the setting of a pass at the edge above zero'
    ]
    above = job_faults(tmp_path, shop=SHOP + "[carriage]\ntravel = [0, 50]\n")
    assert len(above) == 2
    assert all("shop.toml: carriage.travel: " in fault and "of 0 mm to 50 mm" in fault for fault in above)


@pytest.mark.parametrize(("highest", "fine"), [("12.3", True), ("12.29", False)])
def test_deeper_than_the_blade_reaches(tmp_path: Path, highest: str, fine: bool) -> None:
    shop = SHOP + f"highest = {highest}\n"
    if fine:
        assert job_of(tmp_path, shop=shop).total_passes
        return
    assert job_faults(tmp_path, shop=shop)[0] == (
        "trays.toml: stock.thickness: part A must be cut deeper than the blade reaches, 12.29 mm (got 12.3 mm); "
        "use thinner stock, or correct blade.highest in the shop file if the blade reaches higher"
    )


def test_faults_of_several_kinds_are_reported_at_once(tmp_path: Path) -> None:
    shop = SHOP + "highest = 5\n[carriage]\ntravel = [0, 50]\n"
    where = sorted(fault.split(": ")[1] for fault in job_faults(tmp_path, shop=shop))
    assert where == ["carriage.travel"] * 2 + ["stock.thickness"] * 2


def test_a_job_has_at_most_20_000_passes(tmp_path: Path) -> None:
    plan, shop = plan_of(tmp_path), shop_of(tmp_path)
    a_pass = len(build_job(plan, shop).patterns[0].passes)
    assert a_pass == 14
    just = replace(plan, boards=(BoardPlan("a", "A", 714, 2),))
    assert build_job(just, shop).total_passes == 714 * 2 * 14 == 19_992
    over = replace(plan, boards=(BoardPlan("a", "A", 715, 2),))
    with pytest.raises(BadInput) as caught:
        build_job(over, shop)
    assert str(caught.value) == (
        "trays.toml: boards: more than 20,000 passes in one job (got 20,020 passes); "
        "split the job into several plans, or cut boards in stacks"
    )


def test_slivers_are_warned_of_and_named_by_part(tmp_path: Path) -> None:
    job = job_of(tmp_path, PLAN.replace("width = 84", "width = 86"))
    (warning,) = [w for w in job.warnings if "only 1.975 mm wide" in w]
    assert warning.startswith("part A: finger 8: only 1.975 mm wide, under 3 mm")
    assert warning.endswith('may break: remainder = "stretch" or "both edges" in the plan would share it out')


def test_thin_fingers_that_the_plan_asks_for_get_no_such_fix(tmp_path: Path) -> None:
    listed = PLAN.replace('layout = "even"\nfinger = 6', 'layout = "listed"\nwidths = [40, 42, 2]')
    warnings = job_of(tmp_path, listed).warnings
    assert warnings[0] == "part A: finger 2: only 1.975 mm wide, under 3 mm, and may break"


def test_a_kerf_wider_than_the_last_socket_cuts_past_the_far_edge(tmp_path: Path) -> None:
    """By hand: part B's last socket is 0.97 + 0.025 mm, so a kerf of 3.18 hangs 2.185 mm over the edge."""
    plan = PLAN.replace("width = 84", "width = 60.97").replace("finger = 6", "finger = 10")
    warnings = job_of(tmp_path, plan).warnings
    assert warnings[1] == ("part B: a pass cuts 2.185 mm past the far edge: keep clamps and hold-down clear of it")


def test_wood_between_slots_is_looked_at_through_all_depths(tmp_path: Path) -> None:
    """Slots 2 and 3 are of two depths: 1.9 mm of wood is left between them."""
    slots = "".join(
        f"[[slots]]\nat = {at}\nwidth = 6\ndepth = {deep}\n" for at, deep in ((20, 9), (40, 5), (48, 9), (2, 5))
    )
    plan = PLAN.replace('layout = "even"\nfinger = 6', 'layout = "slots"').replace(
        '[[boards]]\nname = "short side"\npart = "B"\n', ""
    )
    assert job_of(tmp_path, plan + slots).warnings == (
        "only 1.95 mm of wood is left between the reference edge and slot 1: it may break",
        "only 1.9 mm of wood is left between slot 3 and slot 4: it may break",
    )


def test_alternate_teeth_are_warned_of(tmp_path: Path) -> None:
    assert any(
        "alternate teeth leave notched" in w for w in job_of(tmp_path, shop=SHOP + 'tooth = "alternate"\n').warnings
    )
    assert job_of(tmp_path).warnings == ()


def test_passes_into_the_stop_are_warned_of_with_how_far(tmp_path: Path) -> None:
    warnings = job_of(tmp_path, shop=SHOP + "overrun = 0.5\n").warnings
    assert "part B: a pass cuts 0.5 mm past the reference edge, into the stop or beyond" in warnings
    assert "part A: a pass cuts 0.5 mm past the far edge: keep clamps and hold-down clear of it" in warnings


def test_a_part_without_boards_is_warned_of(tmp_path: Path) -> None:
    job = job_of(tmp_path, _boards('name = "a"\npart = "A"'))
    assert "this plan has no board of part B: the mate must come from another plan" in job.warnings
    assert [pattern.part for pattern in job.patterns] == ["A"]


@pytest.mark.parametrize(
    ("title", "clearance", "warned"),
    [("Test board: kerf", "0", False), ("Test board: kerf", "0.1", True), ("Kerf", "0", True)],
)
def test_a_calibrations_test_board_needs_no_mate(tmp_path: Path, title: str, clearance: str, warned: bool) -> None:
    text = _boards('name = "a"\npart = "A"').replace('"Trays"', f'"{title}"')
    job = job_of(tmp_path, text.replace("finger = 6", f"finger = 6\nclearance = {clearance}"))
    assert job.title == title
    assert any("the mate must come from another plan" in warning for warning in job.warnings) is warned


def test_a_joint_made_too_tight_by_rounding_is_warned_of(tmp_path: Path) -> None:
    job = job_of(tmp_path, PLAN.replace("finger = 6", "finger = 6.1"), SHOP + "[carriage]\nresolution = 0.5\n")
    assert job.worst_clearance < 0
    assert any("too tight: give it more clearance" in w for w in job.warnings)
    assert job.greatest_error <= Fraction(1, 4)


def test_a_joint_that_keeps_less_than_half_its_clearance_is_warned_of(tmp_path: Path) -> None:
    """In steps of 0.072, settings of 13.155 and 10.025 become 13.176 and 10.008.

    By hand: 0.05 - 0.017 - 0.021 = 0.012 is left at the wall, and twice that of 0.1.
    """
    plan = PLAN.replace("width = 84", "width = 20").replace("finger = 6", "finger = 10\nclearance = 0.1")
    job = job_of(tmp_path, plan, SHOP + "[carriage]\nresolution = 0.072\n")
    assert job.worst_clearance == Fraction(24, 1000)
    (warning,) = [w for w in job.warnings if "of its 0.1 mm clearance" in w]
    assert "may keep only 0.024 mm" in warning
    half = job_of(tmp_path, plan, SHOP + "[carriage]\nresolution = 0.07\n")
    assert half.worst_clearance == Fraction(6, 100) and half.warnings == ()


def test_a_joint_made_loose_by_rounding_is_warned_of(tmp_path: Path) -> None:
    """A single wall at 10. In steps of 0.5, part A's setting of 13.155 becomes 13, and part B's of 10.025 becomes 10.

    By hand: the gap of 0.05 is wider by 0.155 - 0.025, and twice that is left.
    """
    plan = PLAN.replace("width = 84", "width = 20").replace("finger = 6", "finger = 10\nclearance = 0.1")
    job = job_of(tmp_path, plan, SHOP + "[carriage]\nresolution = 0.5\n")
    (warning,) = [w for w in job.warnings if "looser than you asked for" in w]
    assert job.worst_clearance == Fraction(36, 100)
    assert "is 0.26 mm looser than you asked for, even where it is tightest" in warning
    fine = job_of(tmp_path, plan, SHOP + "[carriage]\nresolution = 0.01\n")
    assert fine.worst_clearance == Fraction(8, 100) and fine.warnings == ()


@pytest.mark.parametrize(
    ("unit", "kerf", "warned"), [("mm", "0.318", True), ("mm", "0.9", False), ("in", "0.012", True)]
)
def test_a_kerf_that_no_blade_cuts_is_warned_of(tmp_path: Path, unit: str, kerf: str, warned: bool) -> None:
    shop = SHOP.replace("kerf = 3.18", f"kerf = {kerf}")
    shop = f'unit = "{unit}"\n' + shop.replace('unit = "mm"\n', "")
    found = [w for w in job_of(tmp_path, shop=shop).warnings if "blade.kerf" in w]
    assert bool(found) == warned
    assert all(f"is {kerf} {unit}," in w and "check the decimal point" in w for w in found)


def test_a_fin_left_by_rounding_is_warned_of(tmp_path: Path) -> None:
    """Sockets of 21 mm take evenly spread passes; a step of 2 mm can't place them closer than their overlap."""
    plan, shop = PLAN.replace("finger = 6", "finger = 21"), SHOP + "overlap = 0.05\n"
    job = job_of(tmp_path, plan, shop + "[carriage]\nresolution = 2\n")
    assert any("may leave a fin of" in w and "increase blade.overlap" in w for w in job.warnings)
    assert not any("fin of" in w for w in job_of(tmp_path, plan, shop).warnings)


def test_a_fin_left_at_an_edge_is_warned_of_and_the_overrun_named_leaves_none(tmp_path: Path) -> None:
    """The first setting is 3.18.

    In steps of 0.4 it is 3.2, a fin of 0.02; of 0.25 3.25, one of 0.07; of 1.2 3.6, one of 0.42.
    """
    shop = SHOP + "overlap = 1.5\n"
    fine = shop + "[carriage]\nresolution = 0.4\n"
    assert not any("at an edge" in w for w in job_of(tmp_path, shop=fine).warnings)
    coarse = "[carriage]\nresolution = 1.2\n"
    found = [w for w in job_of(tmp_path, shop=shop + "[carriage]\nresolution = 0.25\n").warnings if "at an edge" in w]
    loose = "it comes away under a fingernail, or set blade.overrun to 0.125 mm"
    assert found == [f"part B: rounded settings leave a fin of 0.07 mm at an edge: {loose}"]
    found = [w for w in job_of(tmp_path, shop=shop + coarse).warnings if "at an edge" in w]
    assert found == ["part B: rounded settings leave a fin of 0.42 mm at an edge: set blade.overrun to 0.6 mm"]
    mended = shop + "overrun = 0.6\n" + coarse
    assert not any("at an edge" in w for w in job_of(tmp_path, shop=mended).warnings)


def test_an_approach_cut_short_by_the_travel_is_warned_of(tmp_path: Path) -> None:
    plan = PLAN.replace("finger = 6", 'finger = 6\nstarts_with = "socket"').replace(
        'part = "A"', 'part = "A"\nends = 2'
    )
    shop = SHOP + "[carriage]\nbacklash = 3\ntravel = [0, 400]\n"
    assert any("too little room below at least one setting" in w for w in job_of(tmp_path, plan, shop).warnings)
    roomy = SHOP + "[carriage]\nbacklash = 0.1\ntravel = [0, 400]\n"
    assert not any("too little room" in w for w in job_of(tmp_path, plan, roomy).warnings)


@settings(max_examples=60, deadline=None)
@given(
    entries=st.lists(
        st.tuples(st.sampled_from("AB"), st.integers(1, 6), st.integers(1, 2), st.integers(1, 6)),
        min_size=1,
        max_size=4,
    )
)
def test_every_end_of_every_copy_is_cut_exactly_once(tmp_path_factory: pytest.TempPathFactory, entries) -> None:  # type: ignore[no-untyped-def]
    folder = tmp_path_factory.mktemp("job")
    boards = tuple(
        BoardPlan(f"board {n}", part, count, ends, min(stack, count))
        for n, (part, count, ends, stack) in enumerate(entries)
    )
    job = build_job(replace(plan_of(folder), boards=boards), shop_of(folder))
    cut = [
        (setup.board, copy, setup.end)
        for setup in job.setups
        for copy in range(setup.first_copy, setup.first_copy + setup.copies)
    ]
    wanted = {(b.name, copy, end) for b in boards for copy in range(1, b.count + 1) for end in range(1, b.ends + 1)}
    assert len(cut) == len(set(cut))
    assert set(cut) == wanted


def test_sockets_to_come_down_to_are_part_as_and_must_be_there(tmp_path: Path) -> None:
    job = job_of(tmp_path, LISTED.replace("widths", "come_down = [1]\nwidths"))
    assert {each.part: {one.down for one in each.passes} for each in job.patterns} == {"A": {True}, "B": {False}}
    (fault,) = job_faults(tmp_path, LISTED.replace("widths", "come_down = [1, 3]\nwidths"))
    assert "joint.come_down: names sockets that don't exist (got 3); give numbers from 1 to 1: part A" in str(fault)


def test_a_fault_of_a_layout_names_the_part_that_has_it(tmp_path: Path) -> None:
    faults = job_faults(tmp_path, PLAN.replace("finger = 6", "finger = 3"))
    assert [fault.partition(": ")[2].partition(" sockets")[0] for fault in faults] == [
        "joint.finger: part A:",
        "joint.finger: part B:",
    ]


def test_a_travel_that_leaves_no_room_to_come_down_is_warned_of(tmp_path: Path) -> None:
    """The last pass of the socket is set at 64.02; 1 mm above it is wanted."""
    plan = LISTED[: LISTED.rindex("[[boards]]")].replace("widths", "come_down = [1]\nwidths")
    for most, warned in (("66", False), ("64.5", True)):
        job = job_of(tmp_path, plan, SHOP + f"[carriage]\ntravel = [0, {most}]\n")
        found = [w for w in job.warnings if "too little room above socket 1 to come down to it" in w]
        assert bool(found) == warned, most


def test_how_far_above_the_blade_all_stays_clear_goes_from_the_shop_file_into_the_job(tmp_path: Path) -> None:
    assert job_of(tmp_path).clear_above == CLEAR_ABOVE
    own = job_of(tmp_path, PLAN, SHOP + "clear_above = 22\n")
    assert own.clear_above == 22
    figures = figures_of(own, own.patterns[0])
    assert figures["above"] == own.patterns[0].depth + 22
    assert job_from_json(job_to_json(own)) == own


def _stacked(job: Job) -> list[tuple[str, int, int]]:
    return [(setup.board, setup.first_copy, setup.end) for setup in job.setups]


BY_BOARD = 'order = "by board"\n'


def test_by_board_every_end_of_a_board_or_stack_comes_before_the_next_one(tmp_path: Path) -> None:
    boards = _boards('name = "b"\npart = "B"\nends = 2', 'name = "a"\npart = "A"\ncount = 3\nends = 2\nstack = 2')
    assert _stacked(job_of(tmp_path, BY_BOARD + boards)) == [
        ("b", 1, 1),
        ("b", 1, 2),
        ("a", 1, 1),
        ("a", 1, 2),
        ("a", 3, 1),
        ("a", 3, 2),
    ]
    job = job_of(tmp_path, BY_BOARD + boards)
    assert [setup.number for setup in job.setups] == list(range(1, 7))
    assert [job.pattern_of(n).part for n in range(1, 7)] == list("BBAAAA")
    usual, named = job_of(tmp_path, boards), job_of(tmp_path, 'order = "by part"\n' + boards)
    assert replace(usual, plan_digest="") == replace(named, plan_digest="")
    assert usual.total_passes == job.total_passes and usual.patterns == job.patterns


def test_by_board_all_depths_of_a_slotted_board_are_cut_before_the_next_board(tmp_path: Path) -> None:
    plan = PLAN[: PLAN.index("[joint]")] + '[joint]\nlayout = "slots"\n'
    plan += "".join(f"[[slots]]\nat = {at}\nwidth = 6\ndepth = {deep}\n" for at, deep in ((20, 4), (40, 6), (60, 4)))
    plan += '[[boards]]\nname = "a"\npart = "A"\ncount = 2\n'
    usual, by_board = job_of(tmp_path, plan), job_of(tmp_path, BY_BOARD + plan)
    depths = [[(s.first_copy, job.pattern_of(s.number).depth) for s in job.setups] for job in (usual, by_board)]
    assert depths == [[(1, 4), (2, 4), (1, 6), (2, 6)], [(1, 4), (1, 6), (2, 4), (2, 6)]]


def test_by_board_a_stage_ends_before_the_next_and_blanks_follow_their_boards() -> None:
    plan, shop = read_both(DEMO / "trinket-case-lined.toml", DEMO / "shop-readout.toml")
    job = build_job(replace(plan, order="by board"), shop)
    usual = build_job(plan, shop)
    key = lambda s: (s.stage, s.board, s.part, s.end, s.first_copy, s.copies, s.pattern)  # noqa: E731
    assert sorted(map(key, job.setups)) == sorted(map(key, usual.setups)), "the same work in another order"
    stages = [setup.stage for setup in job.setups]
    assert stages == sorted(stages)
    for stage in set(stages):
        boards = [s.board.removesuffix(" blank") for s in job.setups if s.stage == stage]
        assert len([name for n, name in enumerate(boards) if n == 0 or boards[n - 1] != name]) == len(set(boards))


IN_TWO = SHOP + "[carriage]\ntravel = [0, 60]\ndistance_piece = 30.02\n"


def test_a_board_wider_than_the_travel_is_cut_in_two_clampings_of_each_end(tmp_path: Path) -> None:
    plan = PLAN.replace('name = "long side"', 'name = "long side"\nends = 2')
    for order in ("", BY_BOARD):
        job = job_of(tmp_path, order + plan, IN_TWO)
        assert [(s.board, s.end, s.half) for s in job.setups] == [
            ("long side", 1, "piece in"),
            ("long side", 1, "piece out"),
            ("long side", 2, "piece in"),
            ("long side", 2, "piece out"),
            ("short side", 1, "piece in"),
            ("short side", 1, "piece out"),
        ]
    whole = job_of(tmp_path, plan)
    for part, (first, second) in (("A", (1, 2)), ("B", (5, 6))):
        one, two = job.pattern_of(first), job.pattern_of(second)
        (pattern,) = (each for each in whole.patterns if each.part == part)
        assert [p.setting for p in one.passes] == [p.setting for p in pattern.passes if p.setting <= 60]
        rest = pattern.passes[len(one.passes) :]
        assert [(p.kerf_from, p.kerf_to) for p in two.passes] == [(p.kerf_from, p.kerf_to) for p in rest]
        off = [p.setting - (p.kerf_to - Fraction("30.02")) for p in two.passes]
        assert max(map(abs, off)) <= Fraction(1, 200), "each is rounded by itself"
    assert [each.part for each in job.ends] == ["A", "B"]
    assert [len(each.passes) for each in job.ends] == [len(each.passes) for each in whole.patterns]
    assert (job.total_passes, job.checks[0].name) == (whole.total_passes, "distance piece")


def test_what_is_counted_are_whole_sockets_and_one_that_is_begun_is_named(tmp_path: Path) -> None:
    """Part A's fifth socket lies at 54 to 60 mm, beyond which the last pass of it doesn't reach the travel's end."""
    job = job_of(tmp_path, PLAN, IN_TWO)
    found = [figures_of(job, job.pattern_of(setup.number)) for setup in job.setups]
    assert [(each["sockets"], each["begun"]) for each in found] == [(4, 1), (7, 0), (5, 0), (7, 0)]
    assert found[0]["highest"] < 60 < found[1]["highest"], "what to keep clear is each half's own"
    assert found[1]["lowest"] < found[0]["highest"], "passes of one socket overlap"


def test_a_board_within_the_travel_needs_no_piece_and_nothing_changes(tmp_path: Path) -> None:
    wide = job_of(tmp_path, PLAN, IN_TWO.replace("[0, 60]", "[0, 400]"))
    plain = job_of(tmp_path, PLAN, SHOP + "[carriage]\ntravel = [0, 400]\n")
    carriage = replace(wide.carriage, distance_piece=None)
    assert replace(wide, carriage=carriage) == plain
    assert {setup.half for setup in wide.setups} == {""}


def test_any_layout_is_cut_in_two_and_the_second_half_of_slots_counts_its_own(tmp_path: Path) -> None:
    for plan, shop in ((plan, shop) for plan in DEMO_PLANS for shop in DEMO_SHOPS if "driven" not in shop.name):
        read, machine = read_both(plan, shop)
        if machine.carriage.register == "setting bar":
            continue
        whole = build_job(read, replace(machine, carriage=replace(machine.carriage, travel=None)))
        last = max(one.setting for each in whole.patterns for one in each.passes)
        travel, piece = (Fraction(-20), last * 2 / 3), last / 2
        carriage = replace(machine.carriage, travel=travel, distance_piece=piece)
        job = build_job(read, replace(machine, carriage=carriage))
        assert {setup.half for setup in job.setups} >= {"piece out"}
        kerfs = [[(p.kerf_from, p.kerf_to, p.socket) for p in each.passes] for each in job.ends]
        assert kerfs == [[(p.kerf_from, p.kerf_to, p.socket) for p in each.passes] for each in whole.patterns]
        # Both halves are rounded, each to its own settings.
        assert abs(job.worst_clearance - whole.worst_clearance) <= 4 * carriage.resolution
        assert job_from_json(job_to_json(job)) == job


def test_a_pass_into_the_piece_is_warned_of(tmp_path: Path) -> None:
    job = job_of(tmp_path, LISTED.replace("[20, 44, 20]", "[2, 80, 2]"), IN_TWO)
    assert any("past the reference edge, into the distance piece or beyond" in line for line in job.warnings)


def _both_edges(widths: str, width: int = 78) -> str:
    text = PLAN.replace("width = 84", f"width = {width}\nmeasured_widths = {widths}")
    return text.replace("finger = 6", 'finger = 6\nfar_half = "other edge"')


NO_PIECE = SHOP + "[carriage]\ntravel = [0, 60]\n"


def test_a_far_half_is_cut_from_the_other_edge_without_a_piece(tmp_path: Path) -> None:
    job = job_of(tmp_path, _both_edges("[78, 78.01]"), NO_PIECE)
    assert [(s.part, s.half) for s in job.setups] == [
        ("A", "this edge"),
        ("A", "other edge"),
        ("B", "this edge"),
        ("B", "other edge"),
    ]
    first, second = job.pattern_of(1), job.pattern_of(2)
    assert [p.setting for p in second.passes] == [p.setting for p in first.passes]
    figures = [figures_of(job, job.pattern_of(number)) for number in (1, 2)]
    assert [(each["sockets"], each["begun"]) for each in figures] == [(3, 0), (6, 0)], "at the end all are counted"
    assert figures[1]["lowest"] == figures[0]["lowest"], "what to keep clear is off the edge at the stop"
    assert "distance piece" not in [check.name for check in job.checks]
    assert job_from_json(job_to_json(job)) == job
    middle = [figures_of(job, job.pattern_of(number)) for number in (3, 4)]
    assert [(each["sockets"], each["begun"]) for each in middle] == [(3, 1), (7, 0)], (
        "the middle socket from both edges"
    )
    # Mates of different widths take as much off the clearance.
    alike = job_of(tmp_path, _both_edges("[78, 78]"), NO_PIECE)
    assert alike.worst_clearance - job.worst_clearance == Fraction(1, 100)


@pytest.mark.parametrize(
    ("widths", "faults"),
    [
        ("[78]", ["stock.measured_widths: must have a width for each of the 2 boards"]),
        (
            "[77.98, 78.02]",
            ["stock.measured_widths[2]: differs from stock.measured_widths[1] by 0.04 mm, by more than 0.025 mm"],
        ),
        (
            "[78.03, 78.03]",
            [f"stock.measured_widths[{n}]: differs from stock.width by 0.03 mm, by more than 0.025 mm" for n in (1, 2)],
        ),
    ],
)
def test_boards_of_different_widths_are_not_cut_from_both_edges(tmp_path: Path, widths: str, faults: list[str]) -> None:
    found = job_faults(tmp_path, _both_edges(widths), NO_PIECE)
    assert [told.split(", a quarter")[0].split(" (got")[0] for told in found] == [f"trays.toml: {f}" for f in faults]


def test_widths_matter_only_where_a_far_half_is_cut(tmp_path: Path) -> None:
    plan = _both_edges("[1]").replace("measured_widths = [1]\n", "")
    job = job_of(tmp_path, plan, NO_PIECE.replace("60", "600"))
    assert {setup.half for setup in job.setups} == {""}
    assert job_faults(tmp_path, plan, NO_PIECE)
