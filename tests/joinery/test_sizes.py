"""Boxes by size: assembled from the listed boards, they measure what was asked."""

from __future__ import annotations

from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import BadInput, Fault
from assistant.joinery.layout import even, mate
from assistant.joinery.lined import Lining
from assistant.joinery.model import Blade
from assistant.joinery.pattern import depth_of
from assistant.joinery.sizes import board_lengths, board_list
from assistant.joinery.walls import open_walls
from assistant.plans.model import BoardPlan
from tests.joinery import solids

TENTHS = st.integers(1000, 9000).map(lambda n: F(n, 10))
SAW = Blade(F(318, 100))
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
        ("outside", (F(24), F(220), F(84)), "no space is left inside, between the boards that part A joins"),
        ("inside", (F(320), F(0), F(84)), "no space is left inside, between the boards that part B joins"),
        ("outside", (F(320), F(220)), "a size needs three figures"),
        ("across", (F(320), F(220), F(84)), "a size needs three figures, outside or inside"),
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
    found = [(row.kind, row.name, row.count, row.length, row.width, row.thickness) for row in rows]
    assert found == [
        ("board", "long", 2, None, 84, 12),
        ("board", "short", 4, None, 84, 10),
        ("blank", "long", 4, 200, 84, 12),
        ("blank", "short", 4, 200, 84, 10),
    ]


BOXES = st.tuples(st.integers(60, 300), st.integers(60, 300), st.sampled_from([6, 9, 12]), st.sampled_from([6, 12, 18]))


@settings(max_examples=12, deadline=None)
@given(BOXES, st.sampled_from([F(0), F(3, 10), F(1)]), st.sampled_from(["outside", "inside"]))
def test_a_box_sawn_and_put_together_measures_what_was_asked(figures: tuple[int, ...], sand: F, kind: str) -> None:
    """Four boards as solids: no wood in wood, proud by the allowance, the asked size inside or outside."""
    size, thick = (F(figures[0]), F(figures[1])), {"A": F(figures[2]), "B": F(figures[3])}
    lengths = board_lengths(kind, (*size, F(45)), F(45), thick, sand)
    outside = size if kind == "outside" else (size[0] + 2 * thick["B"], size[1] + 2 * thick["A"])
    nominal = {"A": even(F(45), F(9)), "B": mate(even(F(45), F(9)))}
    long, short = (
        solids.jointed(
            open_walls(nominal[part], F(1, 10)), (F(45), lengths[part], thick[part]), depth_of(thick[of], sand), SAW
        )
        for part, of in ("AB", "BA")
    )
    boards = solids.box_of(long, short, (thick["A"], thick["B"]), outside, sand)
    apart = sum(board.volume() for board in boards)
    box = solids.together(boards)
    assert box.volume() == pytest.approx(apart, rel=1e-9), "no board is in another"
    found = box.bounding_box()
    assert found[1:3] == pytest.approx([-float(sand)] * 2)
    assert found[4:6] == pytest.approx([float(figure + sand) for figure in outside])
    # A line through the box's middle meets a board, the room inside, and a board.
    middle = [float(figure) / 2 for figure in outside]
    for axis, of in ((1, "B"), (2, "A")):
        at = [(22, 23), (middle[0], middle[0] + 0.001), (middle[1], middle[1] + 0.001)]
        at[axis] = (-5, float(outside[axis - 1]) + 5)
        first, last = solids.runs(box, solids.block(*at), axis)
        room = outside[axis - 1] - 2 * thick[of]
        assert last[0] - first[1] == pytest.approx(float(room))
        assert room == size[axis - 1] or kind == "outside"


def refused(kind: str, size: tuple[F, ...], unit: str = "mm") -> tuple[Fault, ...]:
    with pytest.raises(BadInput) as caught:
        board_lengths(kind, size, F(84), {"A": F(12), "B": F(10)}, F(0), unit=unit)
    return caught.value.faults


def test_all_faults_at_once_each_with_its_fix() -> None:
    found = [(fault.what, fault.value, fault.mend) for fault in refused("outside", (F(20), F(24), F(90)))]
    assert found == [
        (
            "the box's height is 6 mm more than the stock's width of 84 mm",
            "90 mm",
            "make the height 84 mm, or stock.width 90 mm",
        ),
        ("no space is left inside, between the boards that part A joins", "20 mm", "make it over 20 mm"),
        ("no space is left inside, between the boards that part B joins", "24 mm", "make it over 24 mm"),
    ]


@pytest.mark.parametrize("kind", ["outside", "inside"])
def test_the_least_inside_and_the_longest_board(kind: str) -> None:
    """Part A joins boards 10 mm thick: outside over 20 mm, inside over 0; boards to 10 m."""
    least, most = (F(20), F(10_000)) if kind == "outside" else (F(0), F(9_980))
    tiny = F(1, 1000)
    for figure in (least + tiny, most):
        assert board_lengths(kind, (figure, F(300), F(84)), F(84), {"A": F(12), "B": F(10)}, F(0))["A"] <= 10_000
    assert "no space is left" in refused(kind, (least, F(300), F(84)))[0].what
    assert "longer than 10000 mm" in refused(kind, (most + tiny, F(300), F(84)))[0].what


def test_faults_speak_the_plans_unit() -> None:
    (fault,) = refused("outside", (F(254), F(254), F("76.2")), "in")
    assert fault.what == "the box's height is 0.3071 in less than the stock's width of 3.3071 in"


def test_the_list_gives_lengths_by_part_and_blanks_for_the_lined_part_alone() -> None:
    boards = (BoardPlan("long", "A", 3, 2), BoardPlan("short", "B", 3, 2))
    lengths = {"A": F("320.6"), "B": F("220.6")}
    rows = board_list(boards, F(84), {"A": F(12), "B": F(10)}, lengths, Lining(F(1), ("B",)))
    assert [(row.kind, row.part, row.count, row.length) for row in rows] == [
        ("board", "A", 3, F("320.6")),
        ("board", "B", 3, F("220.6")),
        ("blank", "B", 6, 200),
    ]
