"""Hidden lines, checked with an independent geometry library."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPoint, Polygon
from shapely.ops import unary_union

from assistant.drawings.hidden import Layer, visible
from assistant.drawings.picture import Line

POINT = st.tuples(st.integers(0, 40), st.integers(0, 40)).map(lambda p: (float(p[0]), float(p[1])))
HULLS = st.lists(POINT, min_size=3, max_size=6).map(lambda points: MultiPoint(points).convex_hull)


@given(st.lists(st.tuples(POINT, POINT), min_size=1, max_size=5), st.lists(HULLS, max_size=6))
def test_what_is_seen_is_what_no_nearer_outline_covers(
    ends: list[tuple[tuple[float, float], tuple[float, float]]], hulls: list[object]
) -> None:
    """Length of the lines less their length inside the union of the outlines (shapely)."""
    covers = [hull for hull in hulls if isinstance(hull, Polygon)]
    lines = [Line(a, b) for a, b in ends if a != b]
    near = [Layer(covers=[tuple(hull.exterior.coords)[:-1]]) for hull in covers]
    left = sum(LineString([line.a, line.b]).length for line in visible([Layer(lines=lines), *near]))
    # Lines along an outline belong to it and stay: a hair less than the outlines covers.
    inside = unary_union([hull.buffer(-1e-4) for hull in covers])
    expected = sum(LineString([line.a, line.b]).difference(inside).length for line in lines)
    assert left <= expected + 0.01
    # Where outlines adjoin, the two hairs between them are counted on the other side only.
    closed = unary_union(covers)
    strictly = sum(LineString([line.a, line.b]).difference(closed).length for line in lines)
    assert left >= strictly - 0.01


def test_the_nearest_is_whole_and_the_farther_is_cut() -> None:
    square = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))
    far, own = Line((-5, 5), (15, 5)), Line((0, 5), (10, 5))
    found = list(visible([Layer(lines=[far]), Layer([square], [own])]))
    assert own in found
    pieces = sorted((line.a[0], line.b[0]) for line in found if line != own)
    assert pieces == [pytest.approx((-5, 0), abs=1e-3), pytest.approx((10, 15), abs=1e-3)]
