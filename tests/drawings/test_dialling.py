"""The dial: whoever turns as the figure shows ends at the mark that is called."""

from __future__ import annotations

from fractions import Fraction as F
from math import atan2, hypot, pi

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from assistant.drawings.dialling import Dial, dials_of
from assistant.drawings.dialling_letters import LEAST_COLUMNS, ROWS, in_letters
from assistant.drawings.dialling_picture import HIGH, MIDDLE, RIM, WIDE, numbers, picture
from assistant.drawings.picture import Line, Shape
from assistant.joinery.model import Carriage
from assistant.joinery.settings import approach
from assistant.session.due import PassStep, steps
from assistant.wording import dial
from tests.drawings.demos import demo
from tests.drawings.drawn import STEPS, box_of, overlaps, struck, texts
from tests.plans.files import DEMO_PLANS
from tests.session.jobs import HANDWHEEL

HUNDRED = Carriage(kind="handwheel", pitch=F(2), divisions=100, resolution=F(1, 50), backlash=F(4, 10))
WHEELS = st.sampled_from([HUNDRED, HANDWHEEL, Carriage(kind="handwheel", pitch=F(64, 50), divisions=64)])
PLACES = st.integers(-4000, 40_000)


def at(turns: int, mark: int) -> F:
    """A place on the wheel of a hundred marks, mm."""
    return (turns + F(mark, 100)) * 2


def test_by_hand() -> None:
    """A hundred marks a turn: from 11 turns + 0 past 10 turns + 2 to 9 turns + 48, and back up."""
    down, up = dials_of(HUNDRED, at(11, 0), at(9, 48), at(10, 2))
    assert down == Dial(1, 100, F(0), F(48), up=False, turns=1, marks=F(52), place="9+48")
    assert up == Dial(2, 100, F(48), F(2), up=True, turns=0, marks=F(54), place="10+2")
    assert (down.heading, up.heading) == ("1 DOWN TO 9+48", "2 UP TO 10+2")
    assert (down.amount, up.amount) == (("1 turn", "52 marks"), ("", "54 marks"))
    (first,) = dials_of(HUNDRED, None, None, at(6, 1))
    assert (first.heading, first.start, first.amount) == ("UP TO 6+1", 0, ("6 turns", "1 mark"))
    (stay,) = dials_of(HUNDRED, at(3, 7), None, at(3, 7))
    assert stay.stays and stay.heading == "STAY AT 3+7" and stay.amount == ("", "")


def test_without_a_dial_there_is_no_figure() -> None:
    for carriage in (Carriage(), STEPS):
        assert dials_of(carriage, None, None, F(12)) == ()


def moves(wheel: Carriage, before: int, after: int) -> tuple[Dial, ...]:
    """As a pass is called that goes from one step of the carriage to another."""
    previous, setting = before * wheel.resolution, after * wheel.resolution
    return dials_of(wheel, previous, approach(wheel, previous, setting), setting)


@given(WHEELS, PLACES, PLACES)
def test_turning_as_shown_ends_at_the_mark(wheel: Carriage, before: int, after: int) -> None:
    made = moves(wheel, before, after)
    for one in made:
        turned = (one.turns * one.divisions + one.marks) * (1 if one.up else -1)
        assert (one.start + turned - one.end) % one.divisions == 0
        assert 0 <= one.marks < one.divisions and 0 <= one.start < one.divisions and 0 <= one.end < one.divisions
    assert all(first.end == second.start for first, second in zip(made, made[1:], strict=False))
    if len(made) == 2:
        assert [(one.step, one.up) for one in made] == [(1, False), (2, True)], "past it, then up to it"


@pytest.mark.parametrize("plan", DEMO_PLANS, ids=lambda path: path.stem)
def test_it_shows_what_is_called(plan) -> None:  # type: ignore[no-untyped-def]
    """Every pass of every demo plan by handwheel: the moves and places in block letters, and those in words."""
    _, job = demo(plan.stem, "shop-handwheel-inch")
    for step in steps(job):
        if not isinstance(step, PassStep):
            continue
        setting = step.pass_.setting
        made = dials_of(job.carriage, step.previous, step.approach, setting)
        stops = [step.previous or F(0), *([step.approach] if len(made) == 2 else []), setting]  # type: ignore[list-item]
        for one, start, end in zip(made, stops, stops[1:], strict=False):
            way, place = one.heading.lstrip("12 ").split(" TO ") if not one.stays else ("STAY", one.place)
            assert place == dial.big_place(job.carriage, end)
            assert way == dial.big_move(job.carriage, start, end).split(" ")[0]
            shown = dial.shown_call(job.carriage, setting, step.previous, step.approach)
            assert " + ".join(filter(None, one.amount)) in shown


def angle_of(x: float, y: float) -> float:
    """Of a point of the figure, as a share of a turn clockwise from the top."""
    return atan2(x - MIDDLE[0], y - MIDDLE[1]) / (2 * pi) % 1


def near(one: float, other: float, within: float) -> bool:
    return abs((one - other + 0.5) % 1 - 0.5) <= within


@given(WHEELS, PLACES, PLACES)
def test_pointer_bar_and_arrow_are_where_the_marks_are(wheel: Carriage, before: int, after: int) -> None:
    for one in moves(wheel, before, after):
        items = picture(one).items
        (pointer,) = (item for item in items if isinstance(item, Shape) and item.layer == "end")
        tip = min(pointer.points, key=lambda point: hypot(point[0] - MIDDLE[0], point[1] - MIDDLE[1]))
        assert near(angle_of(*tip), float(one.end) / one.divisions, 1e-6)
        (bar,) = (item for item in items if isinstance(item, Line) and item.layer == "start")
        assert near(angle_of(*bar.b), float(one.start) / one.divisions, 1e-6)
        arrow = [item for item in items if isinstance(item, Line) and item.layer == "way"]
        assert bool(arrow) != one.stays
        if not arrow:
            continue
        assert near(angle_of(*arrow[0].a), float(one.start) / one.divisions, 1e-6)
        # It runs along rising marks for "up", once round for any whole turns, and ends just before the pointer.
        sweep = sum((angle_of(*line.b) - angle_of(*line.a) + 0.5) % 1 - 0.5 for line in arrow)
        assert (sweep > 0) == one.up
        long = float(one.marks) / one.divisions + (1 if one.turns else 0)
        assert long - 0.046 <= abs(sweep) <= long
        words = {text.text for text in texts(items)}
        assert ("marks rise" if one.up else "marks fall") in words and one.heading in words


@example(Carriage(kind="handwheel", pitch=F(64, 50), divisions=64), 174, 301)  # almost a turn
@given(WHEELS, PLACES, PLACES)
def test_the_dial_can_be_read(wheel: Carriage, before: int, after: int) -> None:
    for one in moves(wheel, before, after):
        items = picture(one).items
        assert overlaps(items) == []
        assert struck([item for item in items if getattr(item, "layer", "") != "dial"]) == []
        for text in texts(items):
            box = box_of(text)
            assert box.left >= 0 and box.bottom >= 0 and box.right <= WIDE and box.top <= HIGH, text
            if text.layer == "move" and text.text != one.heading:
                assert all(hypot(x - MIDDLE[0], text.at[1] - MIDDLE[1]) < RIM for x in (box.left, box.right))


@pytest.mark.parametrize(("divisions", "named"), [
    (100, [0, 10, 20, 30, 40, 50, 60, 70, 80, 90]), (125, [0, 20, 40, 60, 80, 100]), (64, [0, 10, 20, 30, 40, 50]),
    (8, list(range(8))), (1000, list(range(0, 1000, 100))),
])  # fmt: skip
def test_few_marks_are_numbered_and_the_last_keeps_away_from_zero(divisions: int, named: list[int]) -> None:
    assert list(numbers(divisions)) == named


@given(WHEELS, PLACES, PLACES, st.integers(LEAST_COLUMNS, 90), st.booleans())
def test_in_letters_the_marks_rise_to_the_right(
    wheel: Carriage, before: int, after: int, columns: int, ascii_only: bool
) -> None:
    for one in moves(wheel, before, after):
        lines = in_letters(one, columns, ascii_only)
        assert [len(line) for line in lines] == [columns] * ROWS
        assert not ascii_only or all(line.isascii() for line in lines)
        pointer = lines[2].index("^" if ascii_only else "▲")
        assert pointer == min(int(float(one.end) / one.divisions * columns), columns - 1)
        assert lines[3].split() == [dial.mark_text(one.end)]
        assert abs(lines[3].index(lines[3].strip()) + len(lines[3].strip()) / 2 - pointer) <= len(lines[3].strip())
        way = "STAY" if one.stays else "UP" if one.up else "DOWN"
        assert way in lines[0].split()
        turns, marks = one.amount
        assert (turns in lines[0] and marks.split(" ")[0] in lines[0]) or lines[0].rstrip().endswith(f" {one.in_short}")
        numbered = [int(number) for number in lines[1].split()]
        assert numbered == sorted(numbered) and set(numbered) <= set(numbers(one.divisions))


def test_letters_by_hand() -> None:
    down, up = dials_of(HUNDRED, at(11, 0), at(9, 48), at(10, 2))
    assert in_letters(down, 40) == [
        "1 ◄ DOWN 1 turn + 52 marks              ",
        "0   10  20  30  40  50  60  70  80  90  ",
        "○───┴───┴───┴───┴──▲┴───┴───┴───┴───┴───",
        "                  48                    ",
    ]
    assert in_letters(up, LEAST_COLUMNS - 1) == [" " * (LEAST_COLUMNS - 1)] * ROWS
