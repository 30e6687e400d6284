"""Regions depend on the size alone; nothing on the page moves, and nothing that must be shown is cut."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.joinery.model import Carriage
from assistant.joinery.settings import read_as
from assistant.plans.model import Job
from assistant.screens import view_letters as letters
from assistant.screens.view_cells import FULL, REVERSE, Canvas
from assistant.screens.view_gauges import Gauges
from assistant.screens.view_heading import heading_of
from assistant.screens.view_move import MOVES, is_lost
from assistant.screens.view_page import PageComposer
from assistant.screens.view_regions import LEAST_COLUMNS, LEAST_LINES, ORDER, Pane, regions_of
from assistant.screens.view_sight import Sight
from assistant.screens.view_words import card_of, gestures_of, setting_text, setup_of, status_of, words_of_the_drive
from assistant.session.state import CHECKS, CUTTING, ENDED_EARLY, FINISHED
from assistant.wording.prompts import HOW_TO_CUT, Words
from tests.sampling import every
from tests.screens.driven_session import DRIVE, TRAVEL, driven_carriage, driven_job, every_driven_state
from tests.screens.test_view_page import big_on, in_letters, lines_of, shows
from tests.screens.view_session import every_state
from tests.session.jobs import HANDWHEEL, job, plan

SIZES = every(2, [(80, 24), (100, 30), (200, 60)])
WARNINGS = ("a sliver of 2 mm is left at the far edge of the long side",)
GAUGES = Gauges("works", 5, False, "heard", False)


def fractions() -> Job:
    """Settings in 64ths of an inch with what is left beyond them: the longest there are on a scale."""
    scale = Carriage(unit="in", resolution=Fraction(254, 10_000), travel=(Fraction(-10), Fraction(2000)))
    made = job(plan(width=1500, finger=500, parts="A"), carriage=scale)
    return replace(made, carriage=read_as(scale, "fractions"), voice=replace(made.voice, reads="fractions"))


def driven_fractions() -> Job:
    made = driven_job(carriage=driven_carriage())
    scale = replace(made.carriage, unit="in", resolution=Fraction(254, 10_000))
    made = driven_job(carriage=scale)
    return replace(made, carriage=read_as(scale, "fractions"), voice=replace(made.voice, reads="fractions"))


def long_names() -> Job:
    """A name as long as a plan may give, two boards at a time, put to a setting bar."""
    made = job(plan(width=36, count=4))
    carriage = replace(made.carriage, register="setting bar", stop_side="right")
    names = {
        "long side": "long side of the drawer under the window",
        "short side": "short side of the same small drawer, oak",
    }
    assert {len(name) for name in names.values()} == {40}
    setups = tuple(replace(each, board=names[each.board]) for each in made.setups)
    return replace(made, carriage=carriage, setups=setups)


JOBS = {
    "readout": job(plan(width=36)),
    "handwheel": job(plan(width=36), carriage=HANDWHEEL),
    "long names": long_names(),
    "wide": job(plan(width=1500, finger=500, parts="A")),
    "fractions": fractions(),
    "driven": driven_job(),
    "driven by hand": driven_job(carriage=driven_carriage(home="by hand", clear_input=False)),
    "driven handwheel": driven_job(carriage=replace(HANDWHEEL, travel=TRAVEL, drive=DRIVE)),
    "driven fractions": driven_fractions(),
}
DRIVEN = [name for name in JOBS if name.startswith("driven")]


@cache
def session(name: str) -> list[Sight]:
    """Every state of a session with this job."""
    if name in DRIVEN:
        return [seen for _, seen in every_driven_state(JOBS[name], WARNINGS)]
    return list(every_state(JOBS[name], WARNINGS))


def gauges_with(seen: Sight) -> Gauges:
    """While a driven carriage moves, with its position."""
    moves = seen.view is not None and seen.view.mode in MOVES
    return replace(GAUGES, position=Fraction(29999, 100)) if moves else GAUGES


def kinds(sights: list[Sight]) -> list[Sight]:
    """The first of each kind of page: many passes and setups look alike."""
    first: dict[object, Sight] = {}
    for seen in sights:
        view = seen.view
        assert view is not None
        lost, one_way = tuple(name for name, _ in seen.faults), view.approach in (None, view.previous)
        move = view.move and (view.move.what, view.move.step, view.move.held, view.stands is None)
        told = [dict(words.figures).get("mishap") for words in (view.asked, view.card) if words is not None]
        first.setdefault(
            (view.mode, view.question, view.check, view.setup % 2, lost, one_way, bool(seen.opening), move, *told), seen
        )
    return list(first.values())


@cache
def kinds_in(name: str) -> list[Sight]:
    return kinds(session(name))


@given(st.integers(LEAST_COLUMNS, 400), st.integers(LEAST_LINES, 200))
def test_regions_fill_every_page_in_their_order(columns: int, rows: int) -> None:
    regions = regions_of(columns, rows)
    assert tuple(regions) == ORDER and all(region.rows >= 1 for region in regions.values())
    end = 0
    for region in regions.values():
        assert region.top == end
        end += region.rows
    assert end == rows
    assert regions["do"].rows >= rows * 0.4 or rows > 70


@pytest.mark.parametrize(("columns", "rows"), [(79, 24), (80, 23), (1, 1)])
def test_a_terminal_that_is_too_small_has_none(columns: int, rows: int) -> None:
    assert regions_of(columns, rows) == {}


def test_nothing_is_drawn_outside_a_pane() -> None:
    canvas = Canvas(20, 6)
    pane = Pane(canvas, 1, 4, 16, 2).part(1, 9, 3, 5)
    assert (pane.rows, pane.columns) == (3, 5)
    for row in range(-1, 9):
        for column in (-1, 0, 3, 7):
            pane.put(row, column, "wide 宽 text")
    outside = [(y, x) for y in range(6) for x in range(20) if not (2 <= y < 5 and 5 <= x < 10)]
    assert all(canvas.lines[y][x] == (" ", 0) for y, x in outside) and canvas.text(2).strip()


def in_reverse(canvas: Canvas, row: int) -> bool:
    return all(style & REVERSE or char == FULL for char, style in canvas.lines[row])


def landmarks(canvas: Canvas, seen: Sight) -> dict[str, object]:
    """Where each part of a page begins, found by what is drawn there."""
    page = lines_of(canvas)
    head = next(row for row in range(canvas.rows) if not in_reverse(canvas, row))
    keys = next(row for row in range(canvas.rows, 0, -1) if not in_reverse(canvas, row - 1))
    found: dict[str, object] = {"end of head": head, "keys": keys}
    found["progress"] = next(row for row, line in enumerate(page) if line.startswith(" here "))
    found["inputs"] = next(row for row, line in enumerate(page) if line.startswith(" mic "))
    gestures = page[keys]
    found["gestures"] = tuple(gestures.index(name) for name in ("tap: ", "double tap: ", "long press: "))
    return found


def letters_on(canvas: Canvas, seen: Sight) -> tuple[int, int]:
    """The first and the last row of the block letters below the head."""
    assert seen.view and seen.words
    rows: list[int] = []
    heading = heading_of(seen.view, seen.words, seen.wait_s)
    long = (part for part in " ".join(heading.left).split(" ") if len(part) > 3)  # "+" alone may be a part of anything
    for line in (*heading.left, *heading.shorter, *long):
        scale = big_on(canvas, line)
        if scale:
            drawn, page = in_letters(line, scale), lines_of(canvas)
            tops = [row for row in range(canvas.rows) if drawn[0] in page[row]]
            top = next(t for t in tops if all(d in page[t + n] for n, d in enumerate(drawn)))
            rows += [top, top + len(drawn) - 1]
    return min(rows, default=-1), max(rows, default=-1)


@pytest.mark.parametrize("step", [pytest.param(6, id="some"), pytest.param(1, id="all", marks=pytest.mark.long)])
@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_the_regions_never_move_over_a_whole_session(columns: int, rows: int, step: int) -> None:
    """In every state, every question, with each part lost, standing by, resumed and at the end."""
    regions = regions_of(columns, rows)
    for name in JOBS:
        composer, places = PageComposer(), set()
        for n, seen in enumerate(session(name)):
            one_of_its_kind = any(seen is kind for kind in kinds_in(name))
            if n % step and not one_of_its_kind:
                continue
            canvas = composer.compose(seen, gauges_with(seen), columns, rows)
            places.add(tuple(landmarks(canvas, seen).items()))
            if not one_of_its_kind:
                continue
            first, last = letters_on(canvas, seen)
            do = regions["do"]
            assert first == -1 or do.top <= first and last < do.top + do.rows
        assert len(places) == 1
        found = dict(places.pop())
        assert found["end of head"] == regions["faults"].top
        assert (found["progress"], found["inputs"], found["keys"]) == tuple(
            regions[name].top for name in ("progress", "inputs", "keys")
        )


@pytest.mark.parametrize(("columns", "rows"), SIZES)
@pytest.mark.parametrize("name", JOBS)
@pytest.mark.usefixtures("now")
def test_nothing_that_must_be_shown_is_ever_cut(name: str, columns: int, rows: int) -> None:
    for seen in kinds_in(name):
        assert seen.view and seen.words
        view, job = seen.view, seen.words.job
        canvas = PageComposer().compose(seen, gauges_with(seen), columns, rows)
        page = " ".join(" ".join(lines_of(canvas)).split())
        words = Words(job, figures=True)
        must = [f"setup {setup_of(view)}", *(text for _, text in seen.faults)]
        must.append(words.one(view.way) if view.way else "")
        board = job.setups[view.setup - 1].board
        must.append(board)
        must.append(words_of_the_drive(seen))
        must.append(card_of(view, seen.words))
        lost = is_lost(view, seen.words)
        if view.mode == CUTTING:
            must.append(f"pass {view.pass_} of {view.passes}")
            must.append(HOW_TO_CUT if HOW_TO_CUT in seen.setting else "")
        if view.asked:
            must.append(words.one(view.asked))
        if view.mode in (FINISHED, ENDED_EARLY):
            must.append(seen.closing)
        for text in must:
            assert shows(canvas, text), (text, page)
        status, meant = status_of(seen), gestures_of(view, seen.wait_s, seen.words)
        assert status.word in page or big_in_reverse(canvas, status.word)
        assert not status.lost or status.lost in page
        for meaning in (f"tap: {meant.tap}", f"double tap: {meant.double}", f"long press: {meant.long}"):
            assert meaning in page
        heading = heading_of(view, seen.words, seen.wait_s)
        big = [big_on(canvas, line) for line in heading.left]
        shorter = bool(heading.shorter) and all(big_on(canvas, line) for line in heading.shorter)
        parts = [all(big_on(canvas, part) for part in line.split(" ")) for line in heading.left]
        words_of = setting_text(view, seen.words) if view.mode == CUTTING and not lost else "  ".join(heading.left)
        in_words = shows(canvas, words_of) and (len(seen.faults) > 1 or name.endswith("fractions"))
        assert all(big) or shorter or all(parts) or in_words, (heading, page)
        if view.mode == CUTTING and not lost:
            assert heading.then in page or all(big_on(canvas, part) for part in heading.then.upper().split(" ", 1))
        assert view.mode != CHECKS or view.checks < 2 or f"{view.check_number} OF {view.checks}" in page or rows >= 48


def big_in_reverse(canvas: Canvas, text: str) -> bool:
    """Whether the head has it in block letters."""
    drawn = letters.big(text, 1)
    return all(line in canvas.text(row) for row, line in enumerate(drawn))


@pytest.mark.parametrize("name", every(2, JOBS))
def test_no_third_of_a_large_page_is_black(name: str) -> None:
    """No rectangle without a sign covers a third of it, in any state."""
    for seen in kinds_in(name):
        canvas = PageComposer().compose(seen, gauges_with(seen), 200, 60)
        assert largest_blank(canvas) < 200 * 60 / 3, "\n".join(canvas.text(row) for row in range(60))


def largest_blank(canvas: Canvas) -> int:
    """Cells of the largest rectangle of blanks."""
    heights, most = [0] * canvas.columns, 0
    for line in canvas.lines:
        heights = [height + 1 if cell == (" ", 0) else 0 for height, cell in zip(heights, line, strict=True)]
        stack: list[tuple[int, int]] = []  # (first column, height), rising
        for column, height in enumerate([*heights, 0]):
            start = column
            while stack and stack[-1][1] >= height:
                start, high = stack.pop()
                most = max(most, high * (column - start))
            stack.append((start, height))
    return most


def test_the_largest_blank_rectangle_is_found() -> None:
    canvas = Canvas(10, 6)
    canvas.put(2, 4, "x")
    assert largest_blank(canvas) == 10 * 3
    assert largest_blank(Canvas(7, 3)) == 21
