"""The cut sheet carries the whole job, and the cautions."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from assistant.drawings.cut_sheet import TICK, cut_sheet
from assistant.drawings.flow import Sheet
from assistant.drawings.picture import Item, Shape
from assistant.drawings.sheets import sheets
from assistant.joinery.model import Carriage
from assistant.joinery.settings import reading
from assistant.plans.boards import board_list
from assistant.plans.model import Job, Plan
from assistant.session.due import CheckStep, PassStep, steps
from assistant.session.turn import prompt
from assistant.wording.prompts import Words
from tests.drawings.drawn import CHECKS, HANDWHEEL, STEPS, job_of, lined_plan, plan_of, texts
from tests.sampling import every
from tests.session.jobs import EVERY_TWO


def _items(plan: Plan, job: Job) -> list[Item]:
    pages = cut_sheet(job, board_list(plan), Sheet.of("a4")).pages
    return [item for page in pages for item in page.items]


def _words(items: list[Item]) -> str:
    return " ".join(text.text for text in texts(items))


def _boxes(items: list[Item]) -> int:
    count = 0
    for item in items:
        if isinstance(item, Shape) and len(item.points) == 4 and not item.black:
            xs, ys = [x for x, _ in item.points], [y for _, y in item.points]
            count += abs(max(xs) - min(xs) - TICK) < 1e-6 and abs(max(ys) - min(ys) - TICK) < 1e-6
    return count


@pytest.mark.parametrize(
    "plan", [plan_of(), lined_plan(), lined_plan(("A", "B"))], ids=["plain", "lined", "both lined"]
)
@pytest.mark.parametrize("carriage", [None, HANDWHEEL, STEPS], ids=["readout", "handwheel", "steps"])
def test_every_setup_check_and_pass_has_a_box_to_tick(plan: Plan, carriage: object) -> None:
    job = job_of(plan, carriage)  # type: ignore[arg-type]
    due = list(steps(job))
    come_up = sum(1 for step in due if isinstance(step, PassStep) and step.approach is not None)
    # Boards to prepare, clamping of each setup, checks and passes, points to come up from, the end.
    expected = len(board_list(plan)) + len(job.setups) + len(due) + come_up + 1
    assert _boxes(_items(plan, job)) == expected


@pytest.mark.parametrize("carriage", [None, HANDWHEEL, STEPS], ids=["readout", "handwheel", "steps"])
def test_readings_are_in_cutting_order(carriage: object) -> None:
    plan = plan_of()
    job = job_of(plan, carriage)  # type: ignore[arg-type]
    large = [text.text for text in texts(_items(plan, job)) if text.cap == 4.0 and not text.text.startswith("Setup")]
    assert large == [reading(job.carriage, step.pass_.setting) for step in steps(job) if isinstance(step, PassStep)]


def test_the_cautions_are_those_that_a_session_begins_with() -> None:
    plan = plan_of()
    job = job_of(plan)
    words = _words(_items(plan, job))
    assert Words(job).one(prompt("cautions")) in words
    assert "draw right back clear of the blade" in words
    assert Words(job).one(prompt("finished")) in words


def test_every_check_is_asked_with_its_figures_in_digits() -> None:
    plan = plan_of()
    job = job_of(plan)
    words = _words(_items(plan, job))
    for step in steps(job):
        if isinstance(step, CheckStep):
            assert f"{step.check.name}: " in words
    assert "blade height: Blade set to 10.3 mm above the bed the board stands on?" in words
    assert "5 to 84 mm, up to 26 mm above the bed" in words


def test_each_setup_states_what_to_keep_clear_rounded_away_from_the_blade() -> None:
    """Also if the shop's own words for the clamps omit the figures.

    By hand: the first socket of part A begins at 5.975 mm; 10.3 mm of depth and 15 mm above it.
    """
    plan = plan_of()
    bare = tuple(replace(check, say="all clamped?") if check.name == "clamps" else check for check in CHECKS)
    for checks in (CHECKS, bare):
        job = job_of(plan, checks=checks)
        words = _words(_items(plan, job))
        assert "Keep clear: 5 to 84 mm from the reference edge, up to 26 mm above the bed." in words
        asked = len(re.findall("(?:clamps|clamps and guard): Keep clear: ", words))
        assert words.count("Keep clear: ") - asked == len(job.setups)


def test_a_check_between_passes_is_printed_between_them() -> None:
    plan = plan_of(18)
    job = job_of(plan, checks=(*CHECKS, EVERY_TWO))
    names = [text.text for text in texts(_items(plan, job))]
    bags = [n for n, name in enumerate(names) if name.startswith("dust bag:")]
    settings = [
        n for n, text in enumerate(texts(_items(plan, job))) if text.cap == 4.0 and not text.text.startswith("Setup")
    ]
    assert len(bags) >= 2
    assert any(settings[0] < bag < settings[-1] for bag in bags)


def test_a_board_turned_over_comes_with_the_warning_never_to_spin_it() -> None:
    plan = plan_of()
    words = _words(_items(plan, job_of(plan)))
    assert words.count("Never spin it on its face") == 2
    assert "Setup 1 of 5: long side 1; part A, end 1" in words
    assert "Setup 5 of 5: short side 1 to 2, clamped together; part B, end 1" in words


def test_gluing_comes_between_the_stages() -> None:
    plan = lined_plan()
    job = job_of(plan)
    words = _words(_items(plan, job))
    first, glue, second = (
        words.index(each)
        for each in ("Stage 1: openings", Words(job).one(prompt("stage over", stage=1)), "Stage 2: final")
    )
    assert first < glue < second


def test_a_handwheel_gets_its_moves() -> None:
    """By hand: 16 threads to the inch, 1.5875 mm a turn; from 9.155 to 12.025 mm is one turn and more."""
    plan = plan_of(18)
    words = _words(_items(plan, job_of(plan, HANDWHEEL)))
    assert "up 1 turn + 101 marks" in words and "up 5 turns + 96 marks from zero" in words
    assert "125 marks a turn" in words


@pytest.mark.parametrize("plan", [plan_of(), plan_of(40, 13), lined_plan(("A", "B"))], ids=["trays", "small", "lined"])
def test_a_setup_that_fits_on_a_page_is_not_split(plan: Plan) -> None:
    job = job_of(plan)
    for page in cut_sheet(job, board_list(plan), Sheet.of("a4")).pages:
        words = [text.text for text in texts(page.items)]
        begun = sum(1 for each in words if each.startswith("Setup "))
        assert begun == sum(1 for each in words if each.startswith("saw off: Saw off."))


def test_with_a_setting_bar_the_edge_goes_against_it_on_paper_too() -> None:
    plan = plan_of(18)
    words = _words(_items(plan, job_of(plan, Carriage(register="setting bar", stop_side="right"))))
    assert "reference edge against the setting bar at the right stop" in words
    assert "same edge against the setting bar at the stop, other face" in words


# Those of a metre and more never fit on one page, and leave off at every height of one.
LONG = every(4, [plan_of(width, 10) for width in range(1000, 1260, 20)])


@pytest.mark.parametrize("plan", [plan_of(), lined_plan(("A", "B")), *LONG], ids=lambda plan: f"{plan.width} wide")
@pytest.mark.parametrize("carriage", [None, Carriage(register="setting bar", stop_side="right")], ids=["stop", "bar"])
def test_the_figure_of_a_setup_is_on_the_page_of_its_heading(plan: Plan, carriage: Carriage | None) -> None:
    job = job_of(plan, carriage)
    shown = 0
    for page in cut_sheet(job, board_list(plan), Sheet.of("letter")).pages:
        headings = [t.at[1] for t in texts(page.items) if t.text.startswith("Setup ")]
        figures = sorted((t.at[1] for t in texts(page.items) if t.text == "BACKING"), reverse=True)
        for top, figure in zip(sorted(headings, reverse=True), figures, strict=True):
            assert 0 < top - figure < 60
        shown += len(headings)
    assert shown == len(job.setups)


def test_a_sheet_of_both_halves_says_which_and_asks_for_the_piece_and_the_trial() -> None:
    plan = plan_of(84)
    carriage = Carriage(travel=(Fraction(0), Fraction(60)), distance_piece=Fraction("30.02"))
    job = job_of(plan, carriage)
    words = _words(_items(plan, job))
    assert "part A, end 1, first half" in words and "part A, end 2, second half" in words
    assert words.count("distance piece: Distance piece of 30.02 mm at the stop, its ends clean") == len(job.setups) // 2
    assert words.count("the carriage brought up to 27.14, the still blade just enters the kerf there?") == 4
    assert words.count("count 4 sockets and one begun") == 4, "part A's fifth socket is cut in both halves"
    assert words.count("Never spin it on its face") == 2, "for the first half of each end 2 alone"
    due = list(steps(job))
    come_up = sum(1 for step in due if isinstance(step, PassStep) and step.approach is not None)
    assert _boxes(_items(plan, job)) == len(board_list(plan)) + len(job.setups) + len(due) + come_up + 1


def test_the_sheets_draw_each_end_once_and_the_passes_of_both_halves() -> None:
    plan = plan_of(84)
    carriage = Carriage(travel=(Fraction(0), Fraction(60)), distance_piece=Fraction("30.02"))
    headings = [text.text for page in sheets(plan, job_of(plan, carriage), "a4") for text in texts(page.items)]
    for part in "AB":
        assert sum(h.startswith(f"Part {part}: dimensions") for h in headings) == 1
        assert sum(h.startswith(f"Part {part}, strip") for h in headings) == 1
        for half in ("first", "second"):
            assert sum(h.startswith(f"Part {part}, {half} half: passes") for h in headings) == 1
