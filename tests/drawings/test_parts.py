"""Both parts: where sockets, passes and figures are on the picture."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from assistant.drawings import parts
from assistant.drawings.picture import Shape, Text
from assistant.joinery.model import Carriage
from tests.drawings.drawn import box_of, job_of, lined_plan, plan_of, texts


def _spans(items: tuple[object, ...], layer: str) -> list[tuple[float, float]]:
    """Left and right of the rectangles of a layer, from left to right."""
    shapes = [item for item in items if isinstance(item, Shape) and item.layer == layer]
    return sorted((min(x for x, _ in one.points), max(x for x, _ in one.points)) for one in shapes)


@pytest.mark.parametrize("side", ["left", "right"])
def test_sockets_are_drawn_to_scale_from_the_stop(side: str) -> None:
    """By hand: walls of part A at 6n -+ 0.025; the stop at the operator's left or right."""
    plan = plan_of()
    job = job_of(plan, Carriage(stop_side=side))
    size = parts.fitting(job.patterns[0], 273)
    assert size.scale == 2.0
    picture = parts.dimensions(job, job.patterns[0], size)
    (left, right), *_ = _spans(picture.items, "stop")
    spans = _spans(picture.items, "socket")
    assert len(spans) == 7
    walls = [(6 * n - 0.025, 6 * n + 6.025) for n in (1, 3, 5, 7, 9, 11)] + [(77.975, 84.0)]
    edge = right + 1.2 if side == "left" else left - 1.2
    expected = [(edge + 2 * a, edge + 2 * b) if side == "left" else (edge - 2 * b, edge - 2 * a) for a, b in walls]
    for span, wanted in zip(spans, sorted(expected), strict=True):
        assert span == pytest.approx(wanted)


def test_every_wall_is_marked_with_its_distance_from_the_reference_edge() -> None:
    plan = plan_of(18)
    job = job_of(plan)
    picture = parts.dimensions(job, job.patterns[0], parts.fitting(job.patterns[0], 273))
    turned = [text.text for text in texts(picture.items) if text.turned and text.text != "STOP"]
    assert turned == ["0.000", "5.975", "12.025", "18.000"]
    assert {"18 mm wide", "10.3 mm deep"} <= {text.text for text in texts(picture.items)}


def test_if_walls_are_too_close_the_table_is_named() -> None:
    plan = plan_of(600, 5)
    job = job_of(plan)
    picture = parts.dimensions(job, job.patterns[0], parts.fitting(job.patterns[0], 273))
    assert any("see the table" in text.text for text in texts(picture.items))
    assert len(parts.table(job, job.patterns[0])) == 1 + 120


def test_at_full_size_every_wall_and_pass_is_marked() -> None:
    plan = plan_of(600, 5)
    job = job_of(plan)
    pattern = job.patterns[0]
    size = parts.full_size(pattern)
    assert size.scale == 1
    marks = [t for t in texts(parts.dimensions(job, pattern, size).items) if t.turned and t.text != "STOP"]
    numbers = [t for t in texts(parts.passes(job, pattern, size).items) if t.layer == "pass number"]
    assert len(marks) == 121
    assert [int(t.text) for t in numbers] == [one.number for one in pattern.passes]


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_bar_for_each_pass_as_wide_as_the_kerf_and_a_number_under_it(side: str) -> None:
    plan = plan_of()
    job = job_of(plan, Carriage(stop_side=side))
    pattern = job.patterns[0]
    size = parts.fitting(pattern, 273)
    picture = parts.passes(job, pattern, size)
    bars = _spans(picture.items, "pass bar")
    assert len(bars) == len(pattern.passes)
    assert all(right - left == pytest.approx(3.18 * size.scale) for left, right in bars)
    numbers = sorted((t for t in texts(picture.items) if t.layer == "pass number"), key=lambda t: t.at[0])
    order = [int(t.text) for t in numbers]
    assert order == sorted(order, reverse=side == "right")
    # Seven sockets with two passes each have room: the numbers are within a bar's width of their bars.
    for number, (left, right) in zip(numbers, bars, strict=True):
        assert abs(number.at[0] - (left + right) / 2) < 3.18 * size.scale


def test_neighbouring_bars_lie_in_two_rows() -> None:
    job = job_of(plan_of())
    picture = parts.passes(job, job.patterns[0], parts.fitting(job.patterns[0], 273))
    lows = {
        round(min(y for _, y in s.points), 3) for s in picture.items if isinstance(s, Shape) and s.layer == "pass bar"
    }
    assert len(lows) == 2


def test_the_table_gives_walls_widths_and_passes() -> None:
    """By hand, for 18 mm in 6: part A's only socket from 5.975 to 12.025 in two passes."""
    job = job_of(plan_of(18))
    assert parts.table(job, job.patterns[0]) == [
        ("", "from", "to (mm)", "wide", "passes"),
        ("finger 1", "0.000", "5.975", "5.975", ""),
        ("socket 1", "5.975", "12.025", "6.050", "1 to 2"),
        ("finger 2", "12.025", "18.000", "5.975", ""),
    ]


def test_lengths_are_in_the_shops_unit() -> None:
    job = job_of(plan_of(F(254, 10), F(127, 10)), Carriage(unit="in"))
    assert parts.table(job, job.patterns[0])[1][:3] == ("finger 1", "0.0000", "0.4990")


def test_stages_are_named_where_there_are_several() -> None:
    job = job_of(lined_plan())
    assert [parts.stage_words(job, each) for each in job.patterns][:2] == ["Part A, stage 1", "Part A blank, stage 1"]
    assert parts.stage_words(job_of(plan_of()), job_of(plan_of()).patterns[0]) == "Part A"


@pytest.mark.parametrize(
    ("scale", "words"), [(1.0, "scale 1:1"), (2.0, "scale 2:1"), (1 / 1.5, "scale 1:1.5"), (0.1, "scale 1:10")]
)
def test_scales_in_words(scale: float, words: str) -> None:
    assert parts.scale_words(scale) == words


@pytest.mark.parametrize("width", [40, 84, 200, 600, 3000])
def test_a_picture_is_never_wider_than_its_paper(width: int) -> None:
    job = job_of(plan_of(width, 8))
    for pattern in job.patterns:
        size = parts.fitting(pattern, 273)
        for picture in (parts.dimensions(job, pattern, size), parts.passes(job, pattern, size)):
            boxes = [box_of(item) for item in picture.items if isinstance(item, Text)]
            assert min(box.left for box in boxes) >= -0.01
            assert max(box.right for box in boxes) <= 273.01
            assert min(box.bottom for box in boxes) >= -0.01
            assert max(box.top for box in boxes) <= picture.height


def test_the_profile_is_one_closed_outline_less_its_sockets() -> None:
    from shapely.geometry import Polygon

    job = job_of(plan_of())
    pattern = job.patterns[0]
    picture = parts.profile(job, pattern)
    (outline,) = (s for s in picture.items if isinstance(s, Shape) and s.layer.endswith("profile"))
    shape = Polygon(outline.points)
    assert shape.is_valid
    removed = sum(float(s.width) for s in pattern.sockets) * float(pattern.depth)
    assert shape.area == pytest.approx(84 * (10.3 + parts.WOOD) - removed)
