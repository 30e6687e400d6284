"""Labels along a row: none over another, none outside the row, none out of order."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.drawings.placing import GAP, spread, thinned

ROWS = st.lists(st.tuples(st.floats(-50, 350), st.floats(1, 20)), min_size=1, max_size=60)


@given(ROWS, st.floats(20, 400))
def test_spread_labels_keep_their_order_and_their_distance(row: list[tuple[float, float]], right: float) -> None:
    wanted = sorted(x for x, _ in row)
    widths = [width for _, width in row]
    places = spread(wanted, widths, 0.0, right)
    if places is None:
        assert sum(widths) + GAP * (len(widths) - 1) > right
        return
    sides = [(x - w / 2, x + w / 2) for x, w in zip(places, widths, strict=True)]
    assert sides[0][0] >= -1e-6 and sides[-1][1] <= right + 1e-6
    assert all(b[0] - a[1] >= GAP - 1e-6 for a, b in zip(sides, sides[1:], strict=False))


def test_labels_with_room_stay_where_they_belong() -> None:
    assert spread([10, 30, 80], [4, 4, 4], 0, 100) == pytest.approx([10, 30, 80])


def test_two_that_meet_move_aside_by_the_same_amount() -> None:
    assert spread([50, 50], [4, 4], 0, 100) == pytest.approx([50 - 2 - GAP / 2, 50 + 2 + GAP / 2])


@given(st.lists(st.floats(0.5, 10), min_size=1, max_size=200), st.integers(1, 300), st.booleans())
def test_thinned_labels_are_clear_of_one_another(steps: list[float], first: int, backwards: bool) -> None:
    middles, x = [], 0.0
    for step in steps:
        x += step
        middles.append(-x if backwards else x)
    widths = [2.3 * len(str(n + first)) for n in range(len(middles))]
    chosen = thinned(middles, widths, first)
    ordered = sorted(chosen, key=lambda n: middles[n])
    for a, b in zip(ordered, ordered[1:], strict=False):
        assert middles[b] - middles[a] >= (widths[a] + widths[b]) / 2


def test_thinned_labels_are_round_numbers_and_the_first() -> None:
    chosen = [n + 1 for n in thinned([float(n) for n in range(60)], [4.0] * 60)]
    assert chosen == [1, *range(10, 61, 10)]
    assert thinned([0.0, 10.0, 20.0], [4.0] * 3) == [0, 1, 2]
