"""The stages of a lined joint and the slotted boards, by areas."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from shapely.geometry import LineString, Polygon, box
from shapely.ops import unary_union

from assistant.drawings.picture import Line, Picture, Shape
from assistant.drawings.sheets import lined_stages, stage_pictures, woods
from assistant.drawings.stages import HATCH, Woods, lined_pictures, slotted
from assistant.joinery.lined import regions, stages
from assistant.joinery.model import Carriage
from assistant.joinery.slots import Slot, evenly
from assistant.plans.pieces import pieces
from tests.drawings.drawn import job_of, lined_plan, slotted_plan, texts


def _hatch_area(picture: Picture, layer: str) -> float:
    """Area that the hatches cover: their length times their distance."""
    return sum(
        LineString([line.a, line.b]).length * HATCH
        for line in picture.items
        if isinstance(line, Line)
        and line.layer == layer
        and abs(line.a[0] - line.b[0]) > 1e-9
        and line.a[1] != line.b[1]
    )


@pytest.mark.parametrize("parts", [("A",), ("B",), ("A", "B")])
def test_the_jobs_own_patterns_are_the_linings_stages(parts: tuple[str, ...]) -> None:
    plan = lined_plan(parts)
    job = job_of(plan)
    final = {each.part: each.segments for each in pieces(plan) if each.part in "AB"}
    depths = {each.part: each.depth for each in pieces(plan) if each.part in "AB"}
    assert plan.lining is not None
    assert tuple(lined_stages(plan, job)) == stages(final, depths, plan.lining, job.kerf)


@pytest.mark.parametrize("side", ["left", "right"])
def test_in_the_end_the_lining_is_hatched_and_nothing_else(side: str) -> None:
    plan = lined_plan()
    job = job_of(plan, Carriage(stop_side=side))
    (one,) = lined_stages(plan, job)
    assert plan.lining is not None
    *_, last = lined_pictures(one, plan.lining, woods(plan), 273.0, "mm", side)
    lining = [each for each in regions(one) if each.material == "lining"]
    area = sum(float((r.x_to - r.x_from) * (r.y_to - r.y_from)) for r in lining)
    scale = _scale(last, float(one.final[-1].end))
    assert _hatch_area(last, "lining") == pytest.approx(area * scale**2, rel=0.05)


def _scale(picture: Picture, width: float) -> float:
    xs = [
        x for line in picture.items if isinstance(line, Line) and line.layer == "wood" for x in (line.a[0], line.b[0])
    ]
    return (max(xs) - min(xs)) / width


def test_glued_the_blank_fills_the_sockets_and_its_tips_seat() -> None:
    plan = lined_plan()
    job = job_of(plan)
    (one,) = lined_stages(plan, job)
    assert plan.lining is not None
    opened, blank, glued, _ = lined_pictures(one, plan.lining, woods(plan), 273.0, "mm", "left")
    outline = _outline(glued)
    wood = [line for line in glued.items if isinstance(line, Line) and line.layer == "wood"]
    floors = max(y for line in wood if line.weight > 0.3 for y in (line.a[1],) if line.a[1] == line.b[1])
    assert max(y for _, y in outline) == pytest.approx(floors), "the blank's tips touch the sockets' floors"
    assert not any(isinstance(item, Line) and item.layer == "lining" for item in opened.items)
    assert _hatch_area(blank, "lining") == pytest.approx(_hatch_area(glued, "lining"), rel=0.02)


def _outline(picture: Picture) -> list[tuple[float, float]]:
    return [line.a for line in picture.items if isinstance(line, Line) and line.layer == "lining" and line.weight > 0.2]


def test_materials_are_named() -> None:
    plan = lined_plan()
    drawn = stage_pictures(plan, job_of(plan), 273.0)
    words = " ".join(text.text for each in drawn for text in texts(each.items))
    assert "the board: black cherry" in words and "lining: white ash" in words
    assert woods(slotted_plan(evenly(F(296), 5, F(6), F(5)))) == Woods("its own wood", "contrasting wood")


def test_a_wide_board_is_shown_as_far_as_its_linings_can_be_seen() -> None:
    plan = lined_plan(width=600)
    first = stage_pictures(plan, job_of(plan), 273.0)[1]
    heading = next(text.text for text in texts(first.items) if "opened" in text.text)
    assert "the first " in heading


def test_no_stages_without_a_lining() -> None:
    plan = slotted_plan(evenly(F(296), 5, F(6), F(5)))
    assert stage_pictures(plan, job_of(plan), 273.0) == []


def test_pieces_in_their_slots_touch_the_floor_and_lift_clear_of_it() -> None:
    slots = (Slot(F(0), F(10), F(5)), Slot(F(40), F(6), F(9)), Slot(F(100), F(6), F(9)))
    plan = slotted_plan(slots, 150)
    job = job_of(plan)
    shut, apart = slotted(job.patterns, F(12), job.clearance, 273.0)
    for picture, meets in ((shut, True), (apart, False)):
        shapes = [item for item in picture.items if isinstance(item, Shape)]
        board = next(_polygon(shape) for shape in shapes if shape.layer == "wood")
        loose = [_polygon(shape) for shape in shapes if shape.layer == "piece"]
        assert len(loose) == 3
        assert unary_union(loose).intersection(board).area < 1e-6, "nothing cuts into the board"
        assert all((piece.distance(board) < 1e-6) == meets for piece in loose)


def _polygon(shape: Shape) -> Polygon:

    return Polygon(shape.points)


def test_the_slotted_boards_area() -> None:
    """By hand: 150 x 12 less a rebate of 10.075 x 5 and two slots of 6.15 x 9."""
    slots = (Slot(F(0), F(10), F(5)), Slot(F(40), F(6), F(9)), Slot(F(100), F(6), F(9)))
    job = job_of(slotted_plan(slots, 150))
    shut, _ = slotted(job.patterns, F(12), job.clearance, 273.0)
    board = next(item for item in shut.items if isinstance(item, Shape) and item.layer == "wood")
    wide = max(x for x, _ in board.points) - min(x for x, _ in board.points)
    scale = wide / 150
    area = box(0, 0, 150, 12).area - 10.075 * 5 - 2 * 6.15 * 9
    assert _polygon(board).area / scale**2 == pytest.approx(area)
