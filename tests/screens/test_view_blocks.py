"""Block letters: how large, in which lines, and what stands smaller beside them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.screens import view_letters as letters
from assistant.screens.view_blocks import blocks_of, draw_blocks, least_rows
from assistant.screens.view_cells import Canvas
from assistant.screens.view_heading import Heading
from assistant.screens.view_regions import Pane

SETTING = Heading(("12.35",), unit="mm", then="then 15.42")


STANDS = Heading(("12.35",), unit="mm", then="then 15.42", whole=True, above="STANDS AT")


@pytest.mark.parametrize(("columns", "rows", "scale"), [(80, 8, 1), (80, 11, 2), (100, 17, 3), (200, 27, 5)])
def test_a_line_above_is_half_as_large_and_never_left_out(columns: int, rows: int, scale: int) -> None:
    page, beside = drawn(STANDS, columns, rows)
    assert has(page, "12.35", scale) and has(page, "STANDS AT", max(1, scale // 2)) and beside
    first = letters.big("STANDS AT", max(1, scale // 2))[0]
    number = letters.big("12.35", scale)[0]
    lines = page.splitlines()
    assert min(n for n, line in enumerate(lines) if first in line) < min(
        n for n, line in enumerate(lines) if number in line
    )


@given(st.integers(1, 210), st.integers(1, 60))
def test_without_room_for_the_line_above_nothing_is_drawn(columns: int, rows: int) -> None:
    made = blocks_of(STANDS, columns, rows)
    least = least_rows(STANDS, columns)
    assert (made is not None) == (0 < least <= rows)
    if made is not None:
        assert made.rows <= rows and made.columns <= columns
        assert letters.columns_of("STANDS AT", made.right_scale) <= columns


def drawn(heading: Heading, columns: int, rows: int) -> tuple[str, bool]:
    canvas = Canvas(columns, rows)
    made = blocks_of(heading, columns - 2, rows)
    assert made is not None
    beside = draw_blocks(Pane(canvas, 0, rows, columns), made, heading)
    return "\n".join(canvas.text(row) for row in range(rows)), beside


def has(page: str, text: str, scale: int) -> bool:
    lines = page.splitlines()
    wanted = letters.big(text, scale)
    return any(
        all(line in lines[top + n] for n, line in enumerate(wanted)) for top in range(len(lines) - len(wanted) + 1)
    )


@pytest.mark.parametrize(("columns", "rows", "scale"), [(80, 11, 3), (80, 8, 2), (100, 14, 4), (200, 28, 8)])
def test_a_setting_is_as_large_as_it_can_be_with_its_unit_and_the_next_one_smaller_beside_it(
    columns: int, rows: int, scale: int
) -> None:
    made = blocks_of(SETTING, columns - 2, rows)
    assert made is not None and made.scale == scale
    page, beside = drawn(SETTING, columns, rows)
    assert has(page, "12.35", scale) and beside
    assert any(has(page, "MM", small) for small in range(1, scale // 2 + 1))
    assert "then 15.42" in page or (scale >= 4 and has(page, "THEN", 1) and has(page, "15.42", 1))


def test_what_has_no_room_beside_is_left_to_the_line_below() -> None:
    heading = Heading(("112.35",), unit="mm", then="then 115.42")
    page, beside = drawn(heading, 80, 11)
    assert has(page, "112.35", 3) and not beside and "then" not in page


def test_both_of_two_moves_are_of_one_size_or_neither_is_there() -> None:
    heading = Heading(("1 DOWN TO 9+48", "2 UP TO 10+2"), whole=True)
    made = blocks_of(heading, 78, 12)
    assert made is not None and (made.lines, made.scale) == (heading.left, 1)
    assert blocks_of(heading, 78, 7) is None and blocks_of(heading, 50, 12) is None
    assert [least_rows(heading, columns) for columns in (78, 50, 40)] == [8, 16, 0]
    short = Heading(heading.left, whole=True, shorter=("1 TO 9", "2 TO 10"))
    assert blocks_of(short, 50, 12).lines == short.shorter  # type: ignore[union-attr]


@pytest.mark.parametrize(("columns", "rows", "scale", "right"), [(78, 12, 1, 1), (98, 15, 2, 2), (198, 24, 3, 1)])
def test_the_wait_stands_beside_saw_off_in_one_line_or_two(columns: int, rows: int, scale: int, right: int) -> None:
    made = blocks_of(Heading(("SAW OFF", "COUNT 7"), "WAIT 10"), columns, rows)
    assert made is not None and (made.scale, len(made.right)) == (scale, right)


@given(
    st.lists(st.sampled_from(["12.35", "UP 1+22", "TO 9+21", "KEEP CLEAR", "ZERO", "3-3/16"]), min_size=1, max_size=3),
    st.sampled_from(["", "WAIT 3", "WAIT 30"]),
    st.booleans(),
    st.integers(20, 240),
    st.integers(4, 60),
)
def test_nothing_is_larger_than_its_room(lines: list[str], right: str, whole: bool, columns: int, rows: int) -> None:
    made = blocks_of(Heading(tuple(lines), right, whole=whole), columns, rows)
    if made is None:
        return
    assert made.rows <= rows and made.columns <= columns
    assert not made.right or made.columns_with_right <= columns
    assert not whole or len(made.lines) >= len(lines)
