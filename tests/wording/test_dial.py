"""What is dialled: whoever does what the words say ends at the setting, and can tell so by the mark."""

from __future__ import annotations

import csv
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.joinery.model import Carriage
from assistant.joinery.settings import approach, reading
from assistant.wording import dial
from tests.wording.turner import Turner

REFERENCES = Path(__file__).parents[1] / "references"
TABLE = (REFERENCES / "threads.csv").read_text(encoding="utf-8").splitlines()
THREADS = list(csv.DictReader(line for line in TABLE if not line.startswith("#")))
INCH = Fraction(254, 10)
# The example of the calls: 64 marks a turn.
FINE = Carriage(kind="handwheel", pitch=Fraction(64, 50), divisions=64, resolution=Fraction(1, 50))
HUNDRED = Carriage(kind="handwheel", pitch=Fraction(2), divisions=100, resolution=Fraction(1, 50))


def at(turns: int, mark: str, wheel: Carriage = FINE) -> Fraction:
    assert wheel.pitch and wheel.divisions
    return (turns + Fraction(Decimal(mark)) / wheel.divisions) * wheel.pitch


def call(previous: Fraction | None, setting: Fraction, full: bool = False, past: Fraction | None = None) -> str:
    return dial.spoken_call(FINE, setting, previous, past, full)


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        ((7, "63"), (9, "21"), "up one turn and twenty-two marks, to mark two one"),
        ((9, "21"), (7, "63"), "down one turn and twenty-two marks, to mark six three"),
        ((0, "49"), (1, "43"), "up fifty-eight marks, to mark four three"),
        ((0, "43"), (2, "43"), "up two turns, to mark four three"),
        ((2, "43"), (2, "44"), "up one mark, to mark four four"),
        ((2, "43"), (3, "44"), "up one turn and one mark, to mark four four"),
        ((2, "43"), (2, "43.5"), "up zero point five marks, to mark four three point five"),
        ((2, "43"), (2, "43"), "stay at mark four three"),
        ((0, "0"), (13, "13"), "up one three turns and thirteen marks, to mark one three"),
        ((0, "5"), (-1, "35"), "down thirty-four marks, to twenty-nine marks below zero, mark three five"),
        ((-1, "35"), (0, "5"), "up thirty-four marks, to mark five"),
        ((0, "5"), (-2, "35"), "down one turn and thirty-four marks, to one turn and twenty-nine marks below zero, "
            "mark three five"),
        ((1, "0"), (-1, "0"), "down two turns, to one turn below zero, mark zero"),
    ],
)  # fmt: skip
def test_the_move_is_told_and_then_the_mark_that_proves_it(
    start: tuple[int, str], end: tuple[int, str], words: str
) -> None:
    assert call(at(*start), at(*end)) == words


def test_told_again_it_names_both_ends() -> None:
    assert call(at(7, "63"), at(9, "21"), full=True) == (
        "from turn seven, mark six three: up one turn and twenty-two, to turn nine, mark two one"
    )
    assert call(at(-1, "35"), at(0, "5"), full=True) == (
        "from twenty-nine marks below zero, mark three five: up thirty-four marks, to turn zero, mark five"
    )
    assert call(at(7, "63"), at(9, "0"), full=True).endswith("up one turn and one mark, to turn nine, mark zero")


def test_the_first_setting_is_counted_from_zero() -> None:
    assert call(None, at(6, "43")) == "from zero: up six turns and forty-three, to turn six, mark four three"
    assert call(None, at(0, "43")) == "from zero: up forty-three marks, to turn zero, mark four three"
    assert call(None, at(0, "0")) == "from zero: stay at turn zero, mark zero"


def test_what_lies_below_is_gone_past_first_and_only_the_setting_has_a_mark() -> None:
    assert call(at(9, "21"), at(7, "63"), past=at(7, "13")) == (
        "down two turns and eight marks, past it; then up fifty marks, to mark six three"
    )
    assert call(at(9, "21"), at(7, "63"), past=at(7, "13"), full=True) == (
        "from turn nine, mark two one: down two turns and eight, past it; then up fifty marks, to turn seven, mark six "
        "three"
    )
    assert call(None, at(-1, "35"), past=at(-1, "3")) == (
        "from zero: down sixty-one marks, past it; then up thirty-two marks, to twenty-nine marks below zero, "
        "mark three five"
    )


def test_a_point_before_the_setting_that_is_not_past_it_is_not_told_so() -> None:
    """What is come down to from far above: both moves are downwards."""
    assert call(at(9, "0"), at(2, "0"), past=at(3, "0")) == ("down six turns; then on down one turn, to mark zero")
    assert call(at(3, "0"), at(2, "0"), past=at(3, "0")) == "down one turn, to mark zero"


@pytest.mark.parametrize(
    ("setting", "words", "figures"),
    [
        (at(10, "43"), "mark four three, ten turns up", "mark 43, 10 turns up"),
        (at(13, "0"), "mark zero, one three turns up", "mark 0, 13 turns up"),
        (at(1, "5"), "mark five, one turn up", "mark 5, 1 turn up"),
        (at(0, "5"), "mark five, less than a turn up", "mark 5, less than a turn up"),
        (at(0, "0"), "mark zero, at zero", "mark 0, at zero"),
        (at(-1, "35"), "mark three five, twenty-nine marks below zero", "mark 35, 29 marks below zero"),
    ],
)
def test_a_place_is_asked_by_what_a_dial_can_show(setting: Fraction, words: str, figures: str) -> None:
    assert (dial.spoken_reading(FINE, setting), dial.shown_reading(FINE, setting)) == (words, figures)


def test_in_figures_the_move_the_mark_and_the_turns_from_zero() -> None:
    assert dial.shown_call(FINE, at(9, "21"), at(7, "63"), None) == "up 1 turn + 22 marks to 9 turns + 21"
    assert dial.shown_call(FINE, at(7, "63"), at(9, "21"), at(7, "13")) == (
        "down 2 turns + 8 marks to 7 turns + 13, past it, then up 50 marks to 7 turns + 63"
    )
    assert dial.shown_call(FINE, at(7, "63"), at(7, "63"), None) == "stay at 7 turns + 63"
    assert dial.shown_call(FINE, at(-1, "35"), None, None) == "down 29 marks to 29 marks below zero, mark 35"
    assert dial.big_move(FINE, at(7, "63"), at(9, "21")) == "UP 1+22" and dial.big_place(FINE, at(9, "21")) == "9+21"
    assert [dial.big_place(FINE, at(*place)) for place in ((-1, "35"), (-2, "35"), (-1, "0"))] == ["-29", "-1-29", "-1"]


def test_an_inch_of_travel_takes_the_turns_of_the_thread_tables() -> None:
    """threads.csv: ASME B1.1, ISO 261, ISO 2904, ASME B1.5 leads; turns in one inch of travel."""
    for row in THREADS:
        turns = float(row["turns_per_inch_of_travel"])
        lead = INCH / Fraction(row["turns_per_inch_of_travel"]).limit_denominator(1000)
        wheel = Carriage(kind="handwheel", pitch=lead, divisions=100, resolution=lead / 100)
        setting = round(INCH / wheel.resolution) * wheel.resolution
        whole, mark = divmod(round(turns * 100), 100)
        words = dial.spoken_call(wheel, setting, Fraction(0), None, full=False)
        assert Turner(0, 100).follow(words) == whole * 100 + mark, row


WHEELS = st.builds(
    lambda pitch, divisions, backlash: Carriage(
        "handwheel", pitch / divisions, pitch, divisions, backlash=backlash
    ),
    st.sampled_from([Fraction(1), Fraction(2), Fraction(5, 2), INCH / 16, INCH / 10]),
    st.sampled_from([1, 10, 40, 64, 100, 125, 250]),
    st.sampled_from([Fraction(0), Fraction(1, 5)]),
)  # fmt: skip


@given(WHEELS, st.integers(-4000, 40_000), st.integers(-4000, 40_000), st.booleans(), st.booleans(), st.booleans())
def test_whoever_does_what_is_said_ends_at_the_setting(
    wheel: Carriage, start: int, end: int, full: bool, down: bool, halves: bool
) -> None:
    step = wheel.resolution / (2 if halves else 1)
    previous, setting = start * step, end * step
    past = approach(wheel, previous, setting, down)
    words = dial.spoken_call(wheel, setting, previous, past, full)
    assert wheel.divisions
    assert Turner(Fraction(start, 1 + halves), wheel.divisions).follow(words) == Fraction(end, 1 + halves), words


@given(WHEELS, st.integers(-4000, 40_000))
def test_so_does_whoever_begins_at_zero(wheel: Carriage, end: int) -> None:
    setting = end * wheel.resolution
    words = dial.spoken_call(wheel, setting, None, approach(wheel, None, setting), full=False)
    assert wheel.divisions and Turner(0, wheel.divisions).follow(words) == end, words


@given(WHEELS, st.integers(-40_000, 40_000), st.integers(-40_000, 40_000))
def test_no_count_of_turns_may_be_misheard(wheel: Carriage, start: int, end: int) -> None:
    """No "teen" and no "ty": they are said of marks only, which the digits of the mark prove."""
    words = dial.spoken_call(wheel, end * wheel.resolution, start * wheel.resolution, None, full=True)
    for before in words.replace(":", "").replace(",", "").split(" turn")[:-1]:
        assert not before.endswith(("teen", "ty")), words
    assert "teen" not in words.rpartition("mark ")[2] and "ty" not in words.rpartition("mark ")[2]


@given(WHEELS, st.integers(-4000, 40_000))
def test_the_reading_in_figures_leads_back_to_the_setting(wheel: Carriage, marks: int) -> None:
    assert wheel.divisions
    text = reading(wheel, marks * wheel.resolution)
    place, below, mark = text.partition(" below zero, mark ")
    counts = {"turns": 0, "marks": 0}
    for part in place.split(" + "):
        count, _, noun = part.partition(" ")
        counts["turns" if noun.startswith("turn") else "marks"] = int(count)
    total = counts["turns"] * wheel.divisions + counts["marks"]
    assert (-total if below else total) == marks
    assert not below or int(mark) == marks % wheel.divisions
