"""1:1 strips: true size, whole board, numbers that run on from tile to tile."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from assistant.drawings.picture import Line, Shape
from assistant.drawings.strips import scale_bars, tiles
from assistant.joinery.model import Carriage
from tests.drawings.drawn import job_of, plan_of, texts


def _shapes(picture: object, layer: str) -> list[tuple[float, float]]:
    found = [item for item in picture.items if isinstance(item, Shape) and item.layer == layer]  # type: ignore[attr-defined]
    return sorted((min(x for x, _ in one.points), max(x for x, _ in one.points)) for one in found)


@pytest.mark.parametrize("side", ["left", "right"])
def test_tiles_put_end_to_end_are_the_board(side: str) -> None:
    job = job_of(plan_of(600, 7), Carriage(stop_side=side))
    pattern = job.patterns[0]
    sockets: list[tuple[float, float]] = []
    done = 0.0
    for tile in tiles(job, pattern, 273):
        ((left, right),) = _shapes(tile, "wood")
        for a, b in _shapes(tile, "socket"):
            sockets.append(
                (done + a - left, done + b - left) if side == "left" else (done + right - b, done + right - a)
            )
        done += right - left
    assert done == pytest.approx(600)
    joined: list[list[float]] = []
    for a, b in sorted(sockets):
        if joined and abs(joined[-1][1] - a) < 1e-6:
            joined[-1][1] = b
        else:
            joined.append([a, b])
    assert [tuple(each) for each in joined] == [pytest.approx((float(s.start), float(s.end))) for s in pattern.sockets]


def test_numbers_run_on_and_no_socket_is_numbered_twice() -> None:
    job = job_of(plan_of(600, 10))
    numbers = [
        int(text.text)
        for tile in tiles(job, job.patterns[0], 273)
        for text in texts(tile.items)
        if text.layer == "number"
    ]
    assert numbers == list(range(1, 31))


def test_every_tile_says_what_it_shows() -> None:
    job = job_of(plan_of(600, 10))
    first, _, last = (texts(tile.items)[0].text for tile in tiles(job, job.patterns[0], 273))
    assert first.startswith("Part A, strip 1 of 3, 0 mm to 240 mm; reference edge at the left")
    assert last.startswith("Part A, strip 3 of 3, 480 mm to 600 mm")


def test_inch_tiles_are_of_nine_inches() -> None:
    job = job_of(plan_of(F(254), F(127, 10)), Carriage(unit="in"))
    assert [texts(tile.items)[0].text[:40] for tile in tiles(job, job.patterns[0], 250)] == [
        "Part A, strip 1 of 2, 0 in to 9 in; refe",
        "Part A, strip 2 of 2, 9 in to 10 in; ref",
    ]


def test_the_scales_are_100_mm_and_4_in() -> None:
    bars = scale_bars(273)
    level = [line for line in bars.items if isinstance(line, Line) and line.a[1] == line.b[1]]
    assert sorted(line.b[0] - line.a[0] for line in level) == pytest.approx([100, 101.6])
    assert {"100 mm", "4 in"} <= {text.text for text in texts(bars.items)}


def test_the_reference_edge_is_pointed_at_on_the_first_tile_only() -> None:
    job = job_of(plan_of(600, 10))
    marks = [_shapes(tile, "stop") for tile in tiles(job, job.patterns[0], 273)]
    assert [len(each) for each in marks] == [1, 0, 0]
