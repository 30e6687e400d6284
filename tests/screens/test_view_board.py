"""The board in cells: end down, the stop on its own side. Characters show what is cut and what is to come."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from assistant.joinery.model import Pattern
from assistant.plans.model import Job
from assistant.screens.view_board import BLADE, COMING, GONE, NOW, STOP, WOOD, BoardPicture
from assistant.screens.view_cells import Canvas
from tests.session.jobs import job, plan

COLUMNS = 72
EDGE = 5  # the stop and a gap, at either side


def wide(fingers: int = 6, **kinds: Any) -> Job:
    return job(plan(width=fingers * 12, finger=12, parts="A", ends=1, **kinds))


def pattern(**kinds: Any) -> Pattern:
    return wide(**kinds).pattern_of(1)


def drawn(pattern: Pattern, cut: int, pass_: int, side: str = "left", rows: int = 6) -> list[str]:
    canvas = Canvas(COLUMNS + 2 * EDGE, rows)
    BoardPicture(pattern, side).draw(canvas, 0, rows, cut, pass_)
    return [canvas.text(row) for row in range(rows)]


def comb(pattern: Pattern, cut: int, pass_: int, side: str = "left") -> str:
    return drawn(pattern, cut, pass_, side)[4][EDGE:-EDGE]


def test_fingers_are_wood_and_sockets_to_come_are_dotted_in_proportion() -> None:
    """72 mm on 72 columns: one column per millimetre."""
    assert comb(pattern(), 0, 0) == (WOOD * 12 + COMING * 12) * 3


def test_what_is_cut_is_blank_kerf_by_kerf_and_the_pass_called_is_marked() -> None:
    made = pattern()
    first, second = made.passes[0], made.passes[1]
    row = comb(made, 0b1, 2)
    assert row[: round(first.kerf_from)] == WOOD * 12
    assert set(row[round(first.kerf_from) : round(second.kerf_from)]) == {GONE}
    assert row[round(second.kerf_from) : round(second.kerf_to)] == NOW * (
        round(second.kerf_to) - round(second.kerf_from)
    )
    assert row[round(second.kerf_to) : 24] == COMING * (24 - round(second.kerf_to))


def test_a_finished_board_has_only_wood_and_gaps() -> None:
    made = pattern()
    assert comb(made, (1 << len(made.passes)) - 1, 0) == (WOOD * 12 + GONE * 12) * 3


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_stop_is_drawn_where_the_operator_sees_it_and_the_board_begins_there(side: str) -> None:
    lines = drawn(pattern(), 0, 0, side)
    beside = [line[1] if side == "left" else line[-2] for line in lines[:4]]
    assert "".join(beside) == STOP
    row = lines[4][EDGE:-EDGE]
    assert row.startswith(WOOD * 12) == (side == "left")
    assert row.endswith(WOOD * 12) == (side == "right")


def test_the_end_is_down_and_the_blade_below_it() -> None:
    lines = drawn(pattern(), 0, 1)
    assert lines[0][EDGE:-EDGE] == WOOD * COLUMNS  # whole wood above the sockets
    at = lines[4].index(NOW)
    assert lines[5][at] == BLADE and "pass 1" in lines[5]


def test_a_kerf_narrower_than_a_column_or_beyond_the_edge_still_has_a_mark() -> None:
    narrow = job(plan(width=900, finger=30, parts="A", ends=1)).pattern_of(1)
    for pass_ in (1, len(narrow.passes)):
        assert NOW in comb(narrow, 0, pass_)
    first = pattern(starts_with="socket")
    assert comb(first, 0, 1).startswith(NOW)


def test_with_too_many_sockets_the_part_around_the_pass_is_shown_and_the_rest_is_pointed_to() -> None:
    many = job(plan(width=1200, finger=6, parts="A", ends=1)).pattern_of(1)
    middle = len(many.passes) // 2
    lines = drawn(many, 0, middle)
    assert NOW in lines[4] and "◄" in lines[4][:EDGE] and "►" in lines[4][-EDGE:]
    segments = 1 + sum(a != b for a, b in zip(lines[4][EDGE:-EDGE], lines[4][EDGE + 1 : -EDGE], strict=False))
    assert segments >= COLUMNS / 4  # still seen one by one
    assert "".join(line[1] for line in drawn(many, 0, 1)[:4]) == STOP


def test_nothing_is_drawn_where_it_would_not_be_a_board() -> None:
    assert not "".join(drawn(pattern(), 0, 1, rows=2)).strip()
    assert "".join(drawn(pattern(), 0, 1, rows=3)).strip()


def test_every_column_is_right_for_all_passes_of_a_board_held_against_the_exact_figures() -> None:
    """A column shows wood exactly where its middle lies in a finger, in Fractions."""
    made = pattern(fingers=7)
    row = comb(made, 0, 0)
    for n, char in enumerate(row):
        x = (n + Fraction(1, 2)) * made.width / COLUMNS
        finger = next(s.is_finger for s in made.segments if s.start <= x <= s.end)
        assert (char == WOOD) == finger


def test_what_an_earlier_clamping_has_cut_is_blank_from_the_start() -> None:
    made = pattern()
    first = made.passes[:3]
    rest = tuple(replace(one, number=n) for n, one in enumerate(made.passes[3:], start=1))
    row = comb(replace(made, passes=rest, before=first), 0, 0)
    assert row[round(first[0].kerf_from) : round(first[2].kerf_to)].replace(WOOD, "").strip(GONE) == ""
    assert row[round(rest[-1].kerf_from) : round(rest[-1].kerf_to) - 1] == COMING * (
        round(rest[-1].kerf_to) - 1 - round(rest[-1].kerf_from)
    )
