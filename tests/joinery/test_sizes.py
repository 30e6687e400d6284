"""Boxes by size: assembled from the boards that are listed, they measure what was asked."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import BadInput
from assistant.joinery.lined import Lining
from assistant.joinery.sizes import board_lengths, board_list
from assistant.plans.model import BoardPlan

TENTHS = st.integers(1000, 9000).map(lambda n: F(n, 10))
THICK = st.integers(60, 200).map(lambda n: F(n, 10))


def assembled(lengths: dict[str, F], thickness: dict[str, F], sand: F) -> tuple[F, F, F, F]:
    """(outside A, outside B, inside A, inside B) of four boards joined and sanded flush, from the boards alone.

    Each board's fingers pass through its mates and are sanded back to their outer faces.
    """
    outside = {part: length - 2 * sand for part, length in lengths.items()}
    return outside["A"], outside["B"], outside["A"] - 2 * thickness["B"], outside["B"] - 2 * thickness["A"]


@given(TENTHS, TENTHS, THICK, THICK, st.sampled_from([F(0), F(3, 10), F(1)]), st.sampled_from(["outside", "inside"]))
def test_the_box_measures_what_was_asked(a: F, b: F, thick_a: F, thick_b: F, sand: F, kind: str) -> None:
    thickness = {"A": thick_a, "B": thick_b}
    lengths = board_lengths(kind, (a, b, F(84)), F(84), thickness, sand)
    outside_a, outside_b, inside_a, inside_b = assembled(lengths, thickness, sand)
    assert (outside_a, outside_b) == (a, b) if kind == "outside" else (inside_a, inside_b) == (a, b)


def test_by_hand() -> None:
    """Outside 320 x 220 of 12 mm stock with 0.3 mm to sand: 320.6 and 220.6; as an inside 24 mm more."""
    thickness = {"A": F(12), "B": F(12)}
    assert board_lengths("outside", (F(320), F(220), F(84)), F(84), thickness, F(3, 10)) == {
        "A": F("320.6"),
        "B": F("220.6"),
    }
    assert board_lengths("inside", (F(320), F(220), F(84)), F(84), thickness, F(3, 10)) == {
        "A": F("344.6"),
        "B": F("244.6"),
    }


@pytest.mark.parametrize(
    ("kind", "size", "words"),
    [
        ("outside", (F(320), F(220), F(80)), "the box's height is 4 mm less than the stock's width of 84 mm"),
        ("outside", (F(24), F(220), F(84)), "nothing is left inside between the boards that part A joins"),
        ("inside", (F(320), F(0), F(84)), "nothing is left inside between the boards that part B joins"),
        ("outside", (F(320), F(220)), "a size has three figures"),
        ("across", (F(320), F(220), F(84)), "a size has three figures, outside or inside"),
        ("outside", (F(9999.5), F(220), F(84)), "part A would be longer than 10000 mm"),
    ],
)
def test_faults(kind: str, size: tuple[F, ...], words: str) -> None:
    with pytest.raises(BadInput) as caught:
        board_lengths(kind, size, F(84), {"A": F(12), "B": F(12)}, F(3, 10))
    assert any(words in fault.what and fault.mend for fault in caught.value.faults), caught.value


def test_just_enough_inside() -> None:
    lengths = board_lengths("outside", (F("24.01"), F(220), F(84)), F(84), {"A": F(12), "B": F(12)}, F(0))
    assert lengths["A"] == F("24.01")


def test_the_list_has_boards_in_order_and_a_blank_for_each_lined_end() -> None:
    boards = (BoardPlan("long", "A", 2, 2), BoardPlan("short", "B", 4, 1))
    rows = board_list(boards, F(84), {"A": F(12), "B": F(10)}, None, Lining(F(1), ("A", "B")))
    told = [(row.kind, row.name, row.count, row.length, row.width, row.thickness) for row in rows]
    assert told == [
        ("board", "long", 2, None, 84, 12),
        ("board", "short", 4, None, 84, 10),
        ("blank", "long", 4, 200, 84, 12),
        ("blank", "short", 4, 200, 84, 10),
    ]
