"""The joint seen from outside: the drawing shows what would be seen."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest
from shapely.geometry import LineString, MultiLineString, Polygon
from shapely.ops import polygonize, unary_union

from assistant.drawings.corner import COS, HATCH, NARROWEST, SHOWN, SIN, CornerBoard, closed, opened, pictures
from assistant.drawings.picture import THIN, Line
from assistant.joinery.layout import even, mate
from assistant.joinery.walls import open_walls
from tests.drawings.drawn import texts


def member(part: str, width: int = 42, finger: int = 6, wall: float = 0.0) -> CornerBoard:
    nominal = even(F(width), F(finger))
    segments = open_walls(nominal if part == "A" else mate(nominal), F(1, 10))
    thick, other = (12.0, 9.0) if part == "A" else (9.0, 12.0)
    return CornerBoard(segments, thick, other, wall, wall)


def solid(lines: list[Line]) -> MultiLineString:
    """The drawn edges without hatches."""
    return MultiLineString([(line.a, line.b) for line in lines if line.layer.startswith("joint")])


def at(x: float, y: float, z: float) -> tuple[float, float]:
    """The isometric view (ISO 5456-3): both level axes at 30 degrees, all three on one scale."""
    return (x + y) * COS, z + (y - x) * SIN


@pytest.mark.parametrize("scale", [0.5, 1.0, 2.0])
def test_closed_the_outline_is_that_of_two_plain_boards(scale: float) -> None:
    """No finger sticks out and nothing is missing: the silhouette is the union of the two solid boards'."""
    a, b = member("A"), member("B")
    lines = closed(a, b, scale)
    back = SHOWN / scale
    wide = a.width
    faces = [
        [at(-back, 0, 0), at(9, 0, 0), at(9, 0, wide), at(-back, 0, wide)],
        [at(9, 0, 0), at(9, 12 + back, 0), at(9, 12 + back, wide), at(9, 0, wide)],
        [at(-back, 0, wide), at(9, 0, wide), at(9, 12, wide), at(-back, 12, wide)],
        [at(0, 0, wide), at(9, 0, wide), at(9, 12 + back, wide), at(0, 12 + back, wide)],
    ]
    expected = unary_union([Polygon([(x * scale, y * scale) for x, y in face]) for face in faces])
    drawn = unary_union(list(polygonize(unary_union(solid(lines)))))
    # Gaps of 0.05 mm in the joint and rounding are all that may differ.
    assert drawn.symmetric_difference(expected).area < 0.01 * expected.area


def test_closed_the_fingers_of_both_alternate_along_the_corner() -> None:
    """Each of the 7 segments of 6 mm shows once on each face: as end grain of one board or face of the other."""
    a, b = member("A"), member("B")
    hatches = unary_union([LineString([x.a, x.b]) for x in closed(a, b, 1.0) if x.layer == "hatch"])
    for n in range(7):
        z = 6 * n + 3.0
        on_a = LineString([at(2, 0, z), at(7, 0, z)]).buffer(1.0, cap_style="flat")
        on_b = LineString([at(9, 2, z), at(9, 10, z)]).buffer(1.0, cap_style="flat")
        # Part A has fingers at even places: there B's face shows A's end grain, and A's face none.
        assert bool(hatches.intersects(on_b)) == (n % 2 == 0)
        assert bool(hatches.intersects(on_a)) == (n % 2 == 1)


def test_closed_every_tip_is_seen_whole() -> None:
    """Area of the hatches (length times distance) against the tips' own, foreshortened: nothing lies over them."""
    a, b = member("A"), member("B")
    drawn = sum(LineString([x.a, x.b]).length for x in closed(a, b, 2.0) if x.layer == "hatch") * HATCH
    tips = sum(float(s.width) * m.thickness for m in (a, b) for s in m.segments if s.is_finger)
    assert drawn == pytest.approx(tips * COS * 2.0**2, rel=0.03)


def test_open_the_boards_are_clear_of_one_another() -> None:
    a, b = member("A"), member("B")
    scale = 1.0
    lines = opened(a, b, scale)
    assert {line.layer for line in lines} >= {"joint A", "joint B", "hatch"}
    # The tips of A end 8 paper mm short of where B begins.
    tips = max(line.b[0] for line in lines if line.layer == "joint A")
    assert tips == pytest.approx((-8 / scale + 12) * COS, abs=0.01)


def test_hatches_of_a_lining_lie_on_both_sides_of_every_inner_wall() -> None:
    a, b = member("A", 72, 12, 1.5), member("B", 72, 12)
    scale = 2.0
    shift = 9.0 + 8 / scale
    lines = opened(a, b, scale)
    hatches = unary_union([LineString([x.a, x.b]) for x in lines if x.layer == "hatch"])
    for n, each in enumerate(a.segments):
        if not each.is_finger:
            continue
        for z, inner in ((float(each.start) + 0.75, n > 0), (float(each.end) - 0.75, n < len(a.segments) - 1)):
            x, y = at(4 - shift, 0, z)
            near = LineString([at(2 - shift, 0, z), at(6 - shift, 0, z)])
            strip = LineString([(p * scale, q * scale) for p, q in near.coords])
            assert bool(hatches.intersects(strip)) == inner, (n, x, y)


def test_of_many_fingers_only_as_many_are_shown_as_can_be_seen() -> None:
    a, b = member("A", 600, 5), member("B", 600, 5)
    shut, apart = pictures(a, b, 150.0)
    caption = texts(shut.items)[0].text
    count = int(caption.split("the first ")[1].split()[0])
    assert 2 <= count < len(a.segments)
    assert shut.height <= 150 and apart.height <= 150
    # The finger's height on the paper.
    upright = [line for line in shut.items if isinstance(line, Line) and line.a[0] == line.b[0] and line.weight > THIN]
    heights = [abs(line.a[1] - line.b[1]) for line in upright]
    # Between fingers and sockets a glue gap of 0.05 mm is drawn too.
    assert min(high for high in heights if high > 0.2) > 0.9 * NARROWEST


def test_three_fingers_are_shown_whole() -> None:
    shut, _ = pictures(member("A", 42, 14), member("B", 42, 14), 150.0)
    assert texts(shut.items)[0].text == "The joint closed (hatched: end grain)"


def test_boards_of_other_thickness_still_close() -> None:
    a, b = member("A"), member("B")
    a, b = replace(a, thickness=30.0), replace(b, depth=30.0)
    shut, apart = pictures(a, b, 150.0)
    assert shut.width < apart.width
