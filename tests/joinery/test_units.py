"""Lengths are read exactly, refused with a fix, and rounded half to even only when shown."""

from __future__ import annotations

import functools
import re
import sys
import tomllib
import unicodedata
from decimal import Decimal
from fractions import Fraction as F
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.joinery.units import (
    MM_PER_UNIT,
    LengthError,
    at_least,
    at_most,
    format_length,
    format_number,
    length_to_copy,
    parse_length,
    plain_length,
    round_to_step,
    to_64ths,
    toml_length,
    unit_of,
)
from tests.joinery.references import rows
from tests.sampling import fractions

FRACTIONS = rows("fractions")


@pytest.mark.parametrize(
    ("value", "unit", "mm"),
    [
        (12, "mm", F(12)),
        (12, "in", F(3048, 10)),
        (0, "mm", F(0)),
        (Decimal("12.7"), "mm", F(127, 10)),
        (Decimal("0.1"), "mm", F(1, 10)),
        (Decimal("1e2"), "mm", F(100)),
        ("1/2 in", "mm", F(127, 10)),
        ("1 3/8 in", "mm", F(34925, 1000)),
        ("9/8 in", "mm", F(28575, 1000)),
        ("0.505 in", "mm", F(12827, 1000)),
        (".505 in", "mm", F(12827, 1000)),
        ("7 mm", "in", F(7)),
        ("7mm", "in", F(7)),
        (" 7 mm ", "in", F(7)),
        ("3/4", "in", F(1905, 100)),
        ("3/4", "mm", F(3, 4)),
        ("3 / 4 mm", "in", F(3, 4)),
        ("-2.5 mm", "in", F(-5, 2)),
        ("+1e1", "mm", F(10)),
        ("-1 1/2 in", "mm", F(-381, 10)),
        ('9"', "mm", F(2286, 10)),
        ("9''", "mm", F(2286, 10)),
        ("9″", "mm", F(2286, 10)),  # double prime
        ("9”", "mm", F(2286, 10)),  # what a word processor makes of "
        ("9’’", "mm", F(2286, 10)),
        ("9′′", "mm", F(2286, 10)),
        ('.505"', "mm", F(12827, 1000)),
        ('3/4"', "mm", F(1905, 100)),
        ('3/4 "', "mm", F(1905, 100)),
        ("3½", "mm", F(7, 2)),
        ("3½", "in", F(889, 10)),
        ("3 ½ in", "mm", F(889, 10)),
        ("3-½ in", "mm", F(889, 10)),
        ("½ in", "mm", F(127, 10)),
        ('-½"', "mm", F(-127, 10)),
        ("1-3/8", "in", F(34925, 1000)),
        ("1-3/8 in", "mm", F(34925, 1000)),
        ('1-3/8"', "mm", F(34925, 1000)),
        ('-1-3/8"', "mm", F(-34925, 1000)),
        ("1–3/8 in", "mm", F(34925, 1000)),  # en dash
        ("1‑3/8 in", "mm", F(34925, 1000)),  # non-breaking hyphen
        ("1 3⁄8 in", "mm", F(34925, 1000)),  # fraction slash
        ("1³⁄₈ in", "mm", F(34925, 1000)),
        ("⅟16 in", "mm", F(15875, 10000)),
        ("\u22120.5 mm", "in", F(-1, 2)),  # a true minus
    ],
)
def test_every_way_to_write_a_length_is_read_exactly(value, unit, mm):
    assert parse_length(value, unit) == mm


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (True, "true and false are not lengths"),
        (None, "a number or a text"),
        ([12], "a number or a text"),
        ({"mm": 12}, "a number or a text"),
        (Decimal("NaN"), "not a finite number"),
        (Decimal("sNaN"), "not a finite number"),
        (Decimal("-Infinity"), "not a finite number"),
        ("", "not a length"),
        ("mm", "not a length"),
        ("twelve", "not a length"),
        ("12 cm", "give it in mm or in"),
        ("12'", "give it in mm or in"),
        ("12′", "not a length"),
        ("12,7", "write a decimal point, not a comma"),
        ("1-3 in", "a space between the whole number and the fraction"),
        ("1 - 3/8 in", "not a length"),
        ("1\u22123/8 in", "not a length"),  # one less three eighths?
        ("1-11/8 in", "must be under one"),
        ("½½", "not a length"),
        ("1.5½", "not a length"),
        ("1½/2", "not a length"),
        ("1/½", "not a length"),
        ("2²", "not a length"),
        ("½ mm in", "not a length"),
        ("1 11/8 in", "must be under one"),
        ("1 8/8 in", "must be under one"),
        ("3/0 in", "the bottom of the fraction is zero"),
        ("1 0/0 in", "the bottom of the fraction is zero"),
        ("1 /", "not a length"),
        ("1 2 mm", "not a length"),
        ("12.", "not a length"),
        ("1_000", "not a length"),
        ("0x10", "not a length"),
        ("nan", "not a length"),
        ("inf mm", "not a length"),
        ("٣ mm", "not a length"),  # ARABIC-INDIC DIGIT THREE
        ("１２", "not a length"),  # fullwidth digits
        ("1.٣", "not a length"),
        ("٣/4 in", "not a length"),
        ("1e٣", "not a length"),
        ("1\u00a0mm", "not a length"),  # no-break space
        ("12\nmm", "not a length"),
    ],
)
def test_what_is_not_a_length_is_refused_with_fault_and_fix(value, message):
    with pytest.raises(LengthError, match=message) as caught:
        parse_length(value, "mm")
    assert caught.value.what
    assert caught.value.mend
    assert caught.value.value.isprintable()
    assert len(caught.value.value) < 60


def test_the_refusal_carries_the_value_with_its_unit():
    with pytest.raises(LengthError) as caught:
        parse_length(Decimal("10000.001"), "mm")
    assert caught.value.value == "10000.001 mm"
    assert str(caught.value) == "the length is over 10 m (got 10000.001 mm); check the unit and the decimal point"


def test_a_float_is_a_programmers_error():
    with pytest.raises(TypeError, match="parse_float"):
        parse_length(12.7, "mm")


@pytest.mark.parametrize(
    ("value", "taken"),
    [
        (9_999, True),
        (10_000, True),
        (10_001, False),
        (Decimal("10000.000001"), False),
        (-10_000, True),
        (-10_001, False),
        ("999999999999", False),
    ],
)
def test_ten_metres_is_the_limit_either_way(value, taken):
    if taken:
        assert parse_length(value, "mm") == value
    else:
        with pytest.raises(LengthError, match="over 10 m"):
            parse_length(value, "mm")


@pytest.mark.parametrize("length", [39, 40, 41])
@pytest.mark.parametrize("kind", [str, Decimal])
def test_forty_characters_are_the_limit(length, kind):
    value = kind("0" * (length - 2) + "12") if kind is str else Decimal("1." + "5" * (length - 2))
    if kind is Decimal:
        # Within 40 characters its exponent is what is refused.
        with pytest.raises(LengthError, match="too long" if length > 40 else "exponent"):
            parse_length(value, "mm")
    elif length > 40:
        with pytest.raises(LengthError, match="too long"):
            parse_length(value, "mm")
    else:
        assert parse_length(value, "mm") == 12


@pytest.mark.parametrize("value", [10**40, -(10**40), 10**5000], ids=["40 zeros", "minus", "5000 zeros"])
def test_a_huge_integer_is_refused_without_printing_it(value):
    with pytest.raises(LengthError, match="too long") as caught:
        parse_length(value, "mm")
    assert len(str(caught.value)) < 120


@pytest.mark.parametrize("kind", [Decimal, str])
@pytest.mark.parametrize(("exponent", "taken"), [(-11, True), (-12, True), (-13, False), (13, False), (999_999, False)])
def test_exponents_stay_within_twelve(kind, exponent, taken):
    value = kind(f"1e{exponent}")
    if taken:
        assert parse_length(value, "mm") == F(1, 10**-exponent)
    else:
        with pytest.raises(LengthError, match="exponent is out of range"):
            parse_length(value, "mm")


def test_zero_and_negative_lengths_are_refused_where_not_allowed():
    with pytest.raises(LengthError, match="below zero"):
        parse_length("-1 mm", "mm", negative=False)
    with pytest.raises(LengthError, match="over zero"):
        parse_length(0, "mm", zero=False)
    assert parse_length(Decimal("0.001"), "mm", negative=False, zero=False) == F(1, 1000)


@given(st.text(max_size=60))
def test_no_text_breaks_the_reader(text):
    try:
        assert isinstance(parse_length(text, "in"), F)
    except LengthError as error:
        assert error.value.isprintable()


@functools.cache
def pint_inches() -> Any:
    """The pint library's units. Made when a test asks: it takes a second, and each worker imports this file."""
    import pint

    return pint.UnitRegistry(non_int_type=F)


@given(
    st.integers(0, 390),
    st.integers(0, 63),
    st.sampled_from([" ", "-", "\u2010", "\u2011", "\u2013"]),
    st.sampled_from(["/", "\u2044", "\u2215", " / "]),
    st.sampled_from([" in", "in", '"', ' "', "''", "\u2033", "\u201d", "\u2032\u2032", "\u2019\u2019"]),
    st.sampled_from(["", "-", "+", "\u2212"]),
)
def test_a_mixed_fraction_reads_as_its_sum_however_it_is_typed(whole, n, joint, slash, mark, sign):
    """Compared with the pint library's inch."""
    inches = pint_inches().Quantity((whole + F(n, 64)) * (-1 if sign in ("-", "\u2212") else 1), "inch")
    assert parse_length(f"{sign}{whole}{joint}{n}{slash}64{mark}", "mm") == inches.to("millimeter").magnitude


# All that the Unicode character database of the standard library calls a number with the decomposition of a fraction.
WHOLE_FRACTION = re.compile("<fraction> .*2044 0")  # both its numbers, and the fraction slash between them
BASIC = range(0x10000)  # the first plane; a test looks for more in the other sixteen
VULGAR = [c for c in map(chr, BASIC) if WHOLE_FRACTION.match(unicodedata.decomposition(c))]


def test_the_database_names_the_fractions_of_a_ruler():
    assert set("½¼¾⅛⅜⅝⅞") < set(VULGAR)
    beyond = map(chr, range(BASIC.stop, sys.maxunicode + 1))
    assert not any(WHOLE_FRACTION.match(unicodedata.decomposition(c)) for c in beyond)


@pytest.mark.parametrize("character", VULGAR)
@given(whole=st.integers(0, 300), unit=st.sampled_from(["mm", "in"]), joint=st.sampled_from(["", " ", "-"]))
def test_a_fraction_of_one_character_has_the_value_of_the_unicode_database(character, whole, unit, joint):
    part = F(unicodedata.numeric(character)).limit_denominator(10)
    assert parse_length(character, unit) == part * MM_PER_UNIT[unit]
    assert parse_length(f"{whole}{joint}{character}", unit) == (whole + part) * MM_PER_UNIT[unit]
    assert parse_length(f"{whole}{joint}{character}\u2033", "mm") == (whole + part) * MM_PER_UNIT["in"]


# The table: 25.4 mm to the inch, NBS Circular 572 addendum (1960); roundings NIST SP 811 App. B.7.1.
def test_every_64th_of_an_inch_matches_the_published_table():
    for row in FRACTIONS:
        exact = parse_length(f"{row['fraction']} in", "mm")
        assert exact == F(row["mm_exact"])
        assert parse_length(f"{row['inch_exact']} in", "mm") == exact
        assert format_number(exact, 3) == row["mm_3dp_half_even"]
        assert format_number(exact, 2) == row["mm_2dp_half_even"]
        assert format_length(exact, "in", 3) == row["inch_3dp_half_even"] + " in"
        assert format_length(exact, "in", 4) == row["inch_4dp_half_even"] + " in"
        assert to_64ths(exact) == (*divmod(int(row["n_64ths"]), 64), 0)


def test_the_table_has_all_64():
    assert [int(row["n_64ths"]) for row in FRACTIONS] == list(range(1, 65))


def test_the_inch_agrees_with_the_pint_library():
    assert parse_length(1, "in") == pint_inches().Quantity(F(1), "inch").to("millimeter").magnitude


# NIST SP 811 (2008), App. B.7.1, its own examples, read in secondary texts.
@pytest.mark.parametrize(
    ("number", "places", "rounded"),
    [
        ("6.9749515", 2, "6.97"),
        ("6.9749515", 4, "6.9750"),
        ("6.9749515", 1, "7.0"),
        ("6.9749515", 6, "6.974952"),
        ("6.9749505", 6, "6.974950"),
    ],
)
def test_rounding_follows_the_published_examples(number, places, rounded):
    assert format_number(F(number), places) == rounded
    assert round_to_step(F(number), F(1, 10**places)) == F(rounded)


def test_a_converted_length_keeps_the_digits_asked_for():
    """NIST SP 811 App. B.7.2: 36 ft = 10.9728 m, shown as 11.0 m."""
    assert format_number(36 * parse_length(12, "in") / 1000, 1) == "11.0"


def test_ten_millimetres_are_25_64ths_and_a_stated_remainder():
    assert to_64ths(F(10)) == (0, 25, F(78125, 1_000_000))


@given(fractions(-300, 300, max_denominator=10_000))
def test_inches_64ths_and_remainder_add_up_and_the_remainder_is_least(mm):
    whole, n, rest = to_64ths(mm)
    assert (whole + F(n, 64)) * F(254, 10) + rest == mm
    assert abs(rest) <= F(254, 10) / 128
    assert abs(n) < 64
    assert whole * n >= 0
    assert to_64ths(-mm) == (-whole, -n, -rest)


@given(fractions(-50, 50, max_denominator=5_000), fractions(F(1, 1000), 3, max_denominator=1000))
def test_rounding_to_a_step_is_the_nearest_multiple_halves_to_even(value, step):
    rounded = round_to_step(value, step)
    assert rounded == round(value / step) * step
    assert abs(rounded - value) <= step / 2


@pytest.mark.parametrize(
    ("mm", "places", "shown"),
    [(F(-1, 1000), 2, "0.00"), (F(-5), 0, "-5"), (F(-1, 4), 1, "-0.2"), (F(1235, 100), 2, "12.35"), (F(3), 0, "3")],
)
def test_numbers_are_shown_with_fixed_places_and_no_minus_zero(mm, places, shown):
    assert format_number(mm, places) == shown


def test_lengths_in_messages_lose_trailing_zeros_only():
    assert plain_length(F(100)) == "100 mm"
    assert plain_length(F(127, 10), "in") == "0.5 in"
    assert plain_length(F(1, 3)) == "0.3333 mm"


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        *(("9 in", "in"), ('3/4"', "in"), ("1⅜″", "in"), ("6''", "in"), ("-0.5in", "in")),
        *(("12.7 mm", "mm"), ("3mm", "mm")),
        *(("9", None), ("3/4", None), ("nine in", None), ("1 cm", None), ("", None), ("1" * 50 + " in", None)),
    ],
)
def test_the_unit_that_a_length_names(text, unit):
    assert unit_of(text) == unit


@pytest.mark.parametrize("mm", [F(15, 100), F(6096, 1000) / 60, F(0)])
@pytest.mark.parametrize("shown", ["mm", "in"])
@pytest.mark.parametrize("plan", ["mm", "in"])
def test_a_length_to_copy_means_the_same_in_any_plan(mm, shown, plan):
    text = tomllib.loads(f"x = {length_to_copy(mm, shown)}")["x"]
    assert abs(parse_length(text, plan) - mm) <= MM_PER_UNIT[shown] / 20_000


def test_a_greatest_error_is_never_shown_smaller_than_it_is():
    """Half a mark of 125 on a 16-thread screw is 0.00025 in; to four decimals it would be 0.0002."""
    error = F(254, 10) / 16 / 125 / 2
    assert at_least(error, "in", 5) == "0.00025 in"
    assert at_least(F(1, 300), "mm", 5) == "0.00334 mm"
    assert at_most(-F(1, 300), "mm", 5) == "-0.00334 mm"
    assert plain_length(F(100), "mm", 0) == "100 mm"


@pytest.mark.parametrize("unit", ["mm", "in"])
@given(st.integers(-10_000, 10_000), st.integers(1, 640))
def test_a_fixes_least_is_never_too_little_and_its_most_never_too_much(unit, top, bottom):
    """Both within one step of the fourth decimal; a length that four decimals hold is shown as it is."""
    length, step = F(top, bottom), MM_PER_UNIT[unit] / 10_000
    least, most = (F(rounded(length, unit).split()[0]) * MM_PER_UNIT[unit] for rounded in (at_least, at_most))
    assert most <= length <= least
    assert least - most in (0, step)
    assert (least == most) == (length % step == 0)


@pytest.mark.parametrize("length", ["84", "3.18", "1/3 in", "3 1/2 in", "1/64 in", "10/7 mm", "0.505 in"])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_plans_lengths_are_written_exactly(length: str, unit: str) -> None:
    mm = parse_length(length, "mm")
    (read,) = tomllib.loads(f"x = {toml_length(mm, unit)}", parse_float=Decimal).values()
    assert parse_length(read, unit) == mm
