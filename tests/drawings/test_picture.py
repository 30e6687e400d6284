"""Lines, shapes, text and hatches."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPoint, Polygon

from assistant.drawings.picture import Line, Picture, Text, TextAnchor, hatched, rectangle
from tests.drawings.drawn import box_of, overlaps

POINTS = st.tuples(st.floats(-50, 50), st.floats(-50, 50))


@given(st.lists(POINTS, min_size=3, max_size=8), st.floats(0.5, 5), st.booleans())
def test_a_hatch_fills_a_convex_outline_and_nothing_else(
    points: list[tuple[float, float]], apart: float, rising: bool
) -> None:
    """By shapely: every stroke inside; together as long as area / distance, but for the rim."""
    hull = MultiPoint(points).convex_hull
    assume(isinstance(hull, Polygon) and hull.area > 1)
    strokes = [LineString([line.a, line.b]) for line in hatched(list(hull.exterior.coords)[:-1], apart, rising=rising)]
    grown = hull.buffer(1e-6)
    assert all(grown.covers(stroke) for stroke in strokes)
    assert sum(stroke.length for stroke in strokes) == pytest.approx(hull.area / apart, abs=hull.length)


def test_neighbouring_hatches_run_on_into_one_another() -> None:
    left = {(round(line.b[0], 6), round(line.b[1], 6)) for line in hatched(rectangle(0, 0, 10, 10).points, 1.0)}
    right = {(round(line.a[0], 6), round(line.a[1], 6)) for line in hatched(rectangle(10, 0, 20, 10).points, 1.0)}
    assert len({point for point in left & right if point[0] == 10}) >= 6


@pytest.mark.parametrize("anchor", ["start", "middle", "end"])
def test_a_turned_text_has_the_same_box_a_quarter_turn_on(anchor: TextAnchor) -> None:
    level = box_of(Text((0, 0), "84.025", anchor=anchor))
    turned = box_of(Text((0, 0), "84.025", anchor=anchor, turned=True))
    # (x, y) -> (-y, x)
    assert turned == pytest.approx((-level.top, level.left, -level.bottom, level.right))


def test_labels_that_only_touch_do_not_overlap() -> None:
    label = Text((0, 0), "1")
    beside = Text((label.width, 0), "2")
    assert overlaps([label, beside]) == []
    assert overlaps([label, beside.moved(-0.1, 0)]) == [("1", "2")]


def test_a_picture_is_scaled_with_its_lines_and_letters() -> None:
    items = (Line((1, 2), (3, 4), 0.5), rectangle(0, 0, 4, 2, weight=0.25), Text((2, 1), "STOP", 3.0, "middle"))
    twice = Picture(items, 10, 5).scaled(2)
    assert (twice.width, twice.height) == (20, 10)
    line, shape, text = twice.items
    assert line == Line((2, 4), (6, 8), 1.0)
    assert shape == rectangle(0, 0, 8, 4, weight=0.5)
    assert isinstance(text, Text) and text.cap == 6 and text.at == (4, 2)
    assert text.width == pytest.approx(2 * items[2].width)
