"""Settings and lengths as they are spoken."""

from __future__ import annotations

import csv
import math
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words

from assistant.joinery.model import Carriage
from assistant.joinery.settings import read_as, reading
from assistant.joinery.units import mixed
from assistant.wording.numbers import (
    cardinal,
    fixed,
    outward,
    shown_depth,
    shown_length,
    spoken_clearance,
    spoken_depth,
    spoken_digits,
    spoken_length,
    spoken_setting,
)
from tests.sampling import fractions

REFERENCES = Path(__file__).parents[1] / "references"
INCH = Fraction(254, 10)
THOUSANDTHS = Carriage(unit="in", resolution=INCH / 1000)
IN_FRACTIONS = read_as(THOUSANDTHS, "fractions")

# ICAO Annex 10 Vol. II, 5.2.1.4.3: its respellings beside the plain words that we give the synthesiser.
ICAO = {
    "zero": "ZE-RO",
    "one": "WUN",
    "two": "TOO",
    "three": "TREE",
    "four": "FOW-er",
    "five": "FIFE",
    "six": "SIX",
    "seven": "SEV-en",
    "eight": "AIT",
    "nine": "NIN-er",
    "point": "DAY-SEE-MAL",  # a workshop's word (common practice, no source) at its place
}


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCES / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def mm(text: str) -> Fraction:
    return Fraction(Decimal(text))


@pytest.mark.parametrize(
    ("number", "spoken"),
    [
        # The first two: documentation of a general number-to-words library; the others by the table's rule.
        ("5739", "FIFE SEV-en TREE NIN-er"),
        ("121.5", "WUN TOO WUN DAY-SEE-MAL FIFE"),
        ("12.7", "WUN TOO DAY-SEE-MAL SEV-en"),
        ("0.4375", "ZE-RO DAY-SEE-MAL FOW-er TREE SEV-en FIFE"),
        ("19.05", "WUN NIN-er DAY-SEE-MAL ZE-RO FIFE"),
    ],
)
def test_digits_follow_the_radiotelephony_order(number: str, spoken: str) -> None:
    """ICAO Annex 10 Vol. II, 5.2.1.4.3."""
    assert " ".join(ICAO[word] for word in spoken_digits(number).split()) == spoken


@pytest.mark.parametrize("text", ["", "12,5", "1e3", " 1", "٣"])
def test_only_plain_numbers_are_spoken_digit_by_digit(text: str) -> None:
    with pytest.raises(ValueError, match="only digits"):
        spoken_digits(text)


def test_cardinals_agree_with_a_reference_library() -> None:
    """num2words, English, every number to 20,000 and a spread above; it puts a comma after the thousands."""
    numbers = [*range(20_001), *range(20_001, 1_000_000, 7_919), 999_999]
    assert [cardinal(n) for n in numbers] == [num2words(n, lang="en").replace(",", "") for n in numbers]


@pytest.mark.parametrize("n", [-1, 1_000_000])
def test_cardinals_outside_their_range_are_refused(n: int) -> None:
    with pytest.raises(ValueError, match="999,999"):
        cardinal(n)


@pytest.mark.parametrize(
    ("carriage", "setting", "words"),
    [
        (Carriage(), "12.35", "one two point three five"),
        (Carriage(), "12.3", "one two point three zero"),
        (Carriage(), "12", "one two point zero zero"),
        (Carriage(), "0", "zero point zero zero"),
        (Carriage(), "-3.18", "minus three point one eight"),
        (Carriage(resolution=Fraction(1)), "12", "one two"),
        (Carriage(resolution=Fraction(1, 20)), "12.35", "one two point three five"),
        (Carriage(resolution=Fraction(1, 10)), "12.4", "one two point four"),
        (THOUSANDTHS, "12.7", "zero point five zero zero"),
        (Carriage(unit="in", resolution=INCH / 2000), "19.05", "zero point seven five zero zero"),
        (Carriage(kind="steps", resolution=Fraction(1, 400)), "12.35", "four nine four zero"),
        (Carriage(kind="steps", resolution=Fraction(1, 400)), "-1", "minus four zero zero"),
    ],
)
def test_digits_are_what_the_readout_shows(carriage: Carriage, setting: str, words: str) -> None:
    assert spoken_setting(carriage, "digits", mm(setting)) == words


def test_a_tiny_negative_shows_no_minus() -> None:
    assert reading(Carriage(), Fraction(-1, 1000)) == "0.00"


@given(st.integers(-400_000, 400_000), st.sampled_from([1, 2, 5, 10, 50, 100]))
def test_what_is_shown_is_the_setting_itself(steps: int, hundredths: int) -> None:
    """A setting on the resolution is shown without any rounding."""
    resolution = Fraction(hundredths, 100)
    text = reading(Carriage(resolution=resolution), steps * resolution)
    assert Fraction(text) == steps * resolution


@given(st.fractions(-1000, 1000), st.integers(0, 6))
def test_fixed_rounds_as_decimal_does(value: Fraction, decimals: int) -> None:
    """Second opinion: the standard library's format of an exact Fraction-to-Decimal quotient on binary fractions."""
    binary = Fraction(round(value * 64), 64)
    exact = Decimal(binary.numerator) / Decimal(binary.denominator)
    expected = f"{exact:.{decimals}f}"
    assert fixed(binary, decimals) == (expected.removeprefix("-") if Decimal(expected) == 0 else expected)


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ("12.35", "twelve point three five"),
        ("112", "one hundred and twelve point zero zero"),
        ("-0.5", "minus zero point five zero"),
    ],
)
def test_words_are_a_cardinal_then_the_decimals_one_by_one(setting: str, words: str) -> None:
    assert spoken_setting(Carriage(), "words", mm(setting)) == words


def test_words_of_a_stepper_are_the_step_count() -> None:
    stepper = Carriage(kind="steps", resolution=Fraction(1, 400))
    assert spoken_setting(stepper, "words", mm("12.5")) == "five thousand"
    assert spoken_setting(stepper, "words", mm("12.35")) == "four thousand nine hundred and forty: four nine four zero"


NAMES = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second", 64: "sixty-fourth"}


def fraction_words(text: str) -> str:
    top, _, bottom = text.partition("/")
    return f"{num2words(int(top))} {NAMES[int(bottom)]}{'' if top == '1' else 's'}"


def test_every_64th_is_spoken_reduced() -> None:
    """fractions.csv: 1 in = 25.4 mm exactly (international inch, 1959); the rows' own reduced fractions."""
    for row in (row for row in rows("fractions.csv") if "/" in row["fraction"]):
        words = fraction_words(row["fraction"])
        size = mm(row["mm_exact"])
        assert spoken_setting(IN_FRACTIONS, "fractions", size).partition(":")[0] == f"{words} of an inch"
        assert spoken_setting(IN_FRACTIONS, "fractions", size + INCH).partition(":")[0] == f"one and {words} inches"
        assert spoken_length(size, "in") == f"{words} of an inch"


def test_the_rounded_inch_of_every_64th_is_shown() -> None:
    """fractions.csv: thousandths and ten-thousandths of an inch, halves to even (NIST SP 811 B.7.1)."""
    for row in rows("fractions.csv"):
        size = mm(row["mm_exact"])
        assert fixed(size / INCH, 3) == row["inch_3dp_half_even"]
        assert fixed(size / INCH, 4) == row["inch_4dp_half_even"]
        assert fixed(size, 3) == row["mm_3dp_half_even"]
        assert fixed(size, 2) == row["mm_2dp_half_even"]


@pytest.mark.parametrize(
    ("inches", "words"),
    [
        ("1.379", "one and three eighths inches, plus four thousandths"),
        ("1.371", "one and three eighths inches, minus four thousandths"),
        ("1.376", "one and three eighths inches, plus one thousandth"),
        ("2", "two inches"),
        ("1", "one inch"),
        ("0", "zero inches"),
        ("0.505", "one half of an inch, plus five thousandths"),
        ("-1.379", "minus one and three eighths inches, minus four thousandths"),
    ],
)
def test_fractions_state_the_remainder(inches: str, words: str) -> None:
    assert spoken_setting(IN_FRACTIONS, "fractions", mm(inches) * INCH) == words


def test_a_finer_carriage_states_a_finer_remainder() -> None:
    fine = read_as(Carriage(unit="in", resolution=INCH / 10_000), "fractions")
    assert spoken_setting(fine, "fractions", mm("0.5015") * INCH) == (
        "one half of an inch, plus one point five thousandths"
    )


def test_a_carriage_without_a_dial_is_read_in_digits() -> None:
    assert spoken_setting(Carriage(), "turns", mm("12.35")) == "one two point three five"


@pytest.mark.parametrize(
    ("reads", "setting", "words"),
    [
        ("words", "13.3", "thirteen point three zero: one three point three zero"),
        ("words", "30.3", "thirty point three zero: three zero point three zero"),
        ("words", "112", "one hundred and twelve point zero zero"),
        ("words", "-114.5", "minus one hundred and fourteen point five zero: minus one one four point five zero"),
    ],
)
def test_a_cardinal_that_may_be_misheard_is_proved_by_digits(reads: str, setting: str, words: str) -> None:
    assert spoken_setting(Carriage(), reads, mm(setting)) == words


def test_so_is_a_fraction_whose_count_may_be_misheard_and_no_other() -> None:
    assert spoken_setting(IN_FRACTIONS, "fractions", Fraction(15, 32) * INCH) == (
        "fifteen thirty-seconds of an inch: one five over three two"
    )
    assert spoken_setting(IN_FRACTIONS, "fractions", Fraction(1202, 1000) * INCH) == (
        "one and thirteen sixty-fourths inches, minus one thousandth: "
        "one and one three over six four, minus zero point zero zero one"
    )
    assert spoken_setting(IN_FRACTIONS, "fractions", Fraction(5, 32) * INCH) == "five thirty-seconds of an inch"
    assert spoken_setting(IN_FRACTIONS, "fractions", 13 * INCH) == "thirteen inches: one three"


@pytest.mark.parametrize(
    ("length", "unit", "words"),
    [
        ("12.3", "mm", "twelve point three millimetres"),
        ("12", "mm", "twelve millimetres"),
        ("1", "mm", "one millimetre"),
        ("0.1", "mm", "zero point one millimetres"),
        ("0.3", "mm", "zero point three millimetres"),
        ("100", "mm", "one hundred millimetres"),
        ("19.05", "in", "three quarters of an inch"),
        ("25.4", "in", "one inch"),
        ("12.827", "in", "zero point five zero five inches"),
    ],
)
def test_lengths_in_prose(length: str, unit: str, words: str) -> None:
    assert spoken_length(mm(length), unit) == words


@pytest.mark.parametrize(
    ("length", "unit", "reads", "words", "figures"),
    [
        ("12.3", "mm", "digits", "twelve point three millimetres", "12.3 mm"),
        ("12.34", "mm", "words", "twelve point three millimetres", "12.3 mm"),
        ("12.96", "mm", "digits", "thirteen millimetres", "13 mm"),
        ("1", "mm", "digits", "one millimetre", "1 mm"),
        ("9.921875", "in", "turns", "zero point three nine one inches", "0.391 in"),
        ("9.921875", "in", "fractions", "twenty-five sixty-fourths of an inch", "25/64 in"),
        ("9.8", "in", "fractions", "twenty-five sixty-fourths of an inch", "25/64 in"),
        ("34.925", "in", "fractions", "one and three eighths inches", "1 3/8 in"),
        ("25.4", "in", "digits", "one inch", "1 in"),
    ],
)
def test_a_blade_height_is_told_as_near_as_it_can_be_set(
    length: str, unit: str, reads: str, words: str, figures: str
) -> None:
    assert (spoken_depth(mm(length), unit, reads), shown_depth(mm(length), unit, reads)) == (words, figures)


@given(fractions(0, 200, max_denominator=10_000), st.sampled_from([("mm", "digits"), ("in", "turns")]))
def test_a_told_blade_height_lies_within_half_a_step_of_the_exact_one(depth: Fraction, kind: tuple[str, str]) -> None:
    unit, reads = kind
    size, step = (INCH, Fraction(1, 1000)) if unit == "in" else (1, Fraction(1, 10))
    told = Fraction(shown_depth(depth, unit, reads).removesuffix(f" {unit}"))
    assert abs(told - depth / size) <= step / 2


@given(fractions(-20, 1000, max_denominator=10_000), st.sampled_from(["mm", "in"]))
def test_a_span_told_is_never_narrower_than_the_cut_and_less_than_a_step_wider(x: Fraction, unit: str) -> None:
    size, step = (INCH, Fraction(1, 16)) if unit == "in" else (Fraction(1), Fraction(1))
    low, high = (outward(x, unit, up) * size for up in (False, True))
    assert low <= x <= high and high - low <= step * size
    assert x - low < step * size and high - x < step * size


def test_a_mixed_number_is_written_as_the_table_has_it() -> None:
    """fractions.csv: the reduced fractions of an inch."""
    for row in (row for row in rows("fractions.csv") if "/" in row["fraction"]):
        value = mm(row["mm_exact"]) / INCH
        assert mixed(value) == row["fraction"] and mixed(value + 1) == f"1 {row['fraction']}"
        assert mixed(-value) == f"-{row['fraction']}"
        assert shown_length(mm(row["mm_exact"]), "in") == f"{row['fraction']} in"


@given(st.integers(-160_000, 160_000))
def test_fraction_and_remainder_name_the_setting(thousandths: int) -> None:
    """Fraction plus remainder lies within half a thousandth of what is meant, read back by another parser."""
    words = spoken_setting(IN_FRACTIONS, "fractions", thousandths * INCH / 1000)
    assert math.isclose(read_back(words), thousandths / 1000, abs_tol=0.0005 + 1e-12)


CARDINALS = {num2words(n): n for n in range(161)}


def read_back(words: str) -> float:
    main, _, rest = words.partition(":")[0].partition(", ")
    sign = -1 if main.startswith("minus ") else 1
    value = sign * inches_of(main.removeprefix("minus "))
    if rest:
        added, amount, _ = rest.split()
        value += (1 if added == "plus" else -1) * CARDINALS[amount] / 1000
    return value


def inches_of(words: str) -> float:
    words = words.removesuffix(" of an inch").removesuffix(" inches").removesuffix(" inch")
    if words in CARDINALS:
        return CARDINALS[words]
    whole, _, fraction = words.rpartition(" and ")
    top, _, part = fraction.rpartition(" ")
    bottom = next(n for n, name in NAMES.items() if part in (name, f"{name}s"))
    return (CARDINALS[whole] if whole else 0) + CARDINALS[top] / bottom


@pytest.mark.parametrize(
    ("mm", "unit", "said"),
    [
        (Fraction("0.1"), "mm", "zero point one millimetres"),
        (Fraction("0.1016"), "in", "four thousandths of an inch"),
        (Fraction("0.0254"), "in", "one thousandth of an inch"),
        (Fraction("0.1143"), "in", "four point five thousandths of an inch"),
        (Fraction("25.4") / 64, "in", "one sixty-fourth of an inch"),
        (Fraction(0), "in", "zero inches"),
        (Fraction("3.302"), "in", "zero point one three inches"),
    ],
)
def test_a_clearance_in_inches_is_called_in_thousandths(mm: Fraction, unit: str, said: str) -> None:
    assert spoken_clearance(mm, unit) == said
