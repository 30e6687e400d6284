"""Reads and writes lengths: what a user writes becomes an exact Fraction in mm, and text again.

One inch is 25.4 mm exactly (NBS Circular 572, addendum of 22 January 1960; NIST SP 811, App. B.8).
Lengths are rounded only to be shown, half to even (NIST SP 811, App. B.7).
"""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction


class Unit(StrEnum):
    """A unit of lengths, by the word that files, options and journals have for it."""

    MM = "mm"
    INCH = "in"


MM_PER_UNIT = {Unit.MM: Fraction(1), Unit.INCH: Fraction(254, 10)}
PLACES = {Unit.MM: 3, Unit.INCH: 4}
"""Decimals of a length that was measured or worked out, where it is shown: finer than any saw cuts."""
INCH_MARKS = ('"', "''")
LONGEST_MM = Fraction(10_000)  # no board in a shop is longer; a longer figure has the wrong unit
LONGEST_TEXT = 40  # characters of a length: every true one is shorter, however it is written
# Without this limit, a few characters such as 1e999999999 would make a Fraction of a thousand million digits.
GREATEST_EXPONENT = 12

_NUMBER = r"(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_LENGTH = re.compile(
    r"(?P<sign>[+-]?)"
    r"(?:(?:(?P<whole>[0-9]+)(?: +|-))?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+)"
    rf"|(?P<number>{_NUMBER}))"
    r" *(?P<unit>mm|in|\"|'')?"
)
_FORMS = 'write it like 12.7, "12.7 mm", "0.505 in" or "1 3/8 in"'

# What keyboards, word processors and spreadsheets write for the " ' - and / of a length. A true minus (U+2212) is not
# among the hyphens: it is a sign, and never joins a fraction to its whole number.
_PLAIN = str.maketrans(
    {
        **dict.fromkeys("\u201c\u201d\u201e\u201f\u2033\u2036\u02ba", '"'),
        **dict.fromkeys("\u2018\u2019\u201a\u201b\u2032\u2035\u02b9", "'"),
        **dict.fromkeys("\u2010\u2011\u2012\u2013", "-"),
        **dict.fromkeys("\u2044\u2215", "/"),
    }
)
_MINUS = "\u2212"
_RAISED, _LOWERED = "\u2070\u00b9\u00b2\u00b3\u2074-\u2079", "\u2080-\u2089"
_TYPESET = re.compile(rf"([0-9]?)([{_RAISED}]+)/([{_LOWERED}]+)")  # 1³/₈


class LengthError(ValueError):
    """A length that can't be accepted. what, value (with its unit), mend: as in `errors.Fault`."""

    def __init__(self, what: str, value: str, mend: str):
        self.what = what
        self.value = value
        self.mend = mend
        super().__init__(f"{what} (got {value}); {mend}")


def parse_length(value: object, unit: Unit, *, negative: bool = True, zero: bool = True) -> Fraction:
    """The length `value` in mm, exact.

    value: an int, a Decimal, or a text: a number ("12.7", ".505"), a fraction ("3/4", "¾") or both
    ("1 3/8", "1-3/8", "1⅜"), each with or without "mm", "in" or an inch mark (" or '', plain or typographic)
    after it. unit: of a value without one. negative, zero: whether such a length is allowed. At most 10 m either way.

    Raises: LengthError for anything wrong that a user can have written; TypeError for a float (TOML is read
    with Decimal, so a float means that exactness is already lost).
    """
    if isinstance(value, float):
        raise TypeError("a float has lost exactness already; read the file with parse_float=decimal.Decimal")
    if isinstance(value, str):
        length, shown = _from_text(value, unit)
    elif isinstance(value, bool):  # a bool is an int in Python
        raise LengthError("true and false are not lengths", str(value).lower(), _FORMS)
    elif isinstance(value, int):
        # Turning an int into text takes time quadratic in its digits, and Python refuses over 4,300 of them.
        if abs(value) >= 10**LONGEST_TEXT:
            shown = f"a number of over {LONGEST_TEXT} digits"
            raise LengthError("the number is too long", shown, f"use {LONGEST_TEXT} characters at most")
        length, shown = value * MM_PER_UNIT[unit], f"{_clip(str(value))} {unit}"
    elif isinstance(value, Decimal):
        shown = f"{_clip(str(value))} {unit}"
        length = _from_decimal(value, shown) * MM_PER_UNIT[unit]
    else:
        raise LengthError("a length must be a number or a text", _clip(str(value)), _FORMS)
    if length < 0 and not negative:
        raise LengthError("a length can't be below zero here", shown, "write it without the minus sign")
    if length == 0 and not zero:
        raise LengthError("the length must be over zero", shown, "give its real size")
    if abs(length) > LONGEST_MM:
        raise LengthError("the length is over 10 m", shown, "check the unit and the decimal point")
    return length


def unit_of(text: str) -> Unit | None:
    """The unit that a length names; None for a bare number and for what is not a length."""
    found = _LENGTH.fullmatch(_in_keyboard_characters(text.strip(" "))) if len(text) <= LONGEST_TEXT else None
    if found is None or not found["unit"]:
        return None
    return Unit.INCH if found["unit"] in INCH_MARKS else Unit(found["unit"])


def _from_decimal(value: Decimal, shown: str) -> Fraction:
    if not value.is_finite():
        raise LengthError("the length is not a finite number", shown, _FORMS)
    if len(str(value)) > LONGEST_TEXT:
        raise LengthError("the number is too long", shown, f"use {LONGEST_TEXT} characters at most")
    exponent = value.as_tuple().exponent
    if max(abs(int(exponent)), abs(value.adjusted())) > GREATEST_EXPONENT:
        raise LengthError(
            "the number's exponent is out of range", shown, f"keep it from -{GREATEST_EXPONENT} to {GREATEST_EXPONENT}"
        )
    return Fraction(value)


def _from_text(text: str, unit: Unit) -> tuple[Fraction, str]:
    """(mm, the text as a message shows it). unit: of a text that names none."""
    shown = f'"{_clip(text)}"'
    if len(text) > LONGEST_TEXT:
        raise LengthError("the text is too long", shown, f"use {LONGEST_TEXT} characters at most")
    found = _LENGTH.fullmatch(_in_keyboard_characters(text.strip(" ")))
    if found is None:
        raise LengthError("this is not a length", shown, _mend_for(text))
    if found["number"]:
        size = _from_decimal(Decimal(found["number"]), shown)
    else:
        top, bottom = int(found["top"]), int(found["bottom"])
        if bottom == 0:
            raise LengthError("the bottom of the fraction is zero", shown, 'write a fraction such as "3/8 in"')
        if found["whole"] is not None and top >= bottom:
            raise LengthError(
                "the fraction after a whole number must be under one", shown, 'write it like "1 3/8 in" or "11/8 in"'
            )
        size = int(found["whole"] or 0) + Fraction(top, bottom)
    if found["sign"] == "-":
        size = -size
    return size * MM_PER_UNIT[unit_of(text) or unit], shown


def _in_keyboard_characters(text: str) -> str:
    """The same length in keyboard characters: 3½ -> 3 1/2, 1–3⁄8″ -> 1-3/8"."""
    typed = "-" if text.startswith(_MINUS) else ""
    for character in text.removeprefix(_MINUS):
        kind, _, parts = unicodedata.decomposition(character).partition(" ")
        # Unicode decomposes ½ into 1, U+2044 and 2. `_PLAIN` makes that slash "/".
        if kind == "<fraction>":
            fraction = "".join(chr(int(part, 16)) for part in parts.split())
            typed += f" {fraction}" if typed[-1:].isdigit() else fraction
        else:
            typed += character
    return _TYPESET.sub(_typeset_fraction, typed.translate(_PLAIN))


def _typeset_fraction(found: re.Match[str]) -> str:
    top, bottom = (unicodedata.normalize("NFKC", part) for part in found.group(2, 3))
    return f"{found[1]} {top}/{bottom}" if found[1] else f"{top}/{bottom}"


def _mend_for(text: str) -> str:
    if re.search(r"[0-9],[0-9]", text):
        return "write a decimal point, not a comma"
    if re.search(r"[0-9]-[0-9]", text):
        return 'put a space between the whole number and the fraction, as in "1 3/8 in"'
    if re.search(r"[0-9] *('|inch|inches|cm|m|ft)$", text.strip()):
        return "give it in mm or in"
    return _FORMS


def _clip(text: str) -> str:
    """Short and free of control characters, fit for one line of a message."""
    clean = "".join(c if c.isprintable() else "?" for c in text[: LONGEST_TEXT + 1])
    return clean if len(text) <= LONGEST_TEXT else clean[:LONGEST_TEXT] + "..."


def round_to_step(value: Fraction, step: Fraction) -> Fraction:
    """The multiple of `step` (over 0) nearest to `value`, halves to the even multiple."""
    # Whole numbers take less than half the time of round(value / step) * step, and every pass is rounded.
    numerator = value.numerator * step.denominator
    denominator = value.denominator * step.numerator
    whole, rest = divmod(numerator, denominator)
    twice = 2 * rest
    if twice > denominator or (twice == denominator and whole % 2):
        whole += 1
    return Fraction(whole * step.numerator, step.denominator)


def format_number(value: Fraction, places: int) -> str:
    """`value` with exactly `places` (>= 0) decimals, halves to even, never "-0.00"."""
    scaled = round(value * 10**places)
    digits = str(abs(scaled)).rjust(places + 1, "0")
    sign = "-" if scaled < 0 else ""
    return sign + (f"{digits[:-places]}.{digits[-places:]}" if places else digits)


def format_length(mm: Fraction, unit: Unit, places: int) -> str:
    """A length with exactly `places` decimals and its unit: (Fraction(127, 10), "in", 3) -> "0.500 in"."""
    return f"{format_number(mm / MM_PER_UNIT[unit], places)} {unit}"


def plain_length(mm: Fraction, unit: Unit = Unit.MM, places: int = 4) -> str:
    """A length for a message, without trailing zeros: "6 mm", "0.5 in"; rounded at `places` decimals of its unit."""
    number = format_number(mm / MM_PER_UNIT[unit], places)
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number} {unit}"


def toml_length(mm: Fraction, unit: Unit) -> str:
    """A length for a plan file in this unit, exact: as a number, a number in the other unit, or a fraction."""
    for each in (unit, *(other for other in Unit if other != unit)):
        value = mm / MM_PER_UNIT[each]
        if (value * 10**9).denominator == 1:
            text = format_number(value, 9).rstrip("0").rstrip(".")
            return text if each == unit else f'"{text} {each}"'
    value = mm / MM_PER_UNIT[unit]
    return f'"{value.numerator}/{value.denominator} {unit}"'


def length_to_copy(mm: Fraction, unit: Unit) -> str:
    """A length as it can be copied into any plan, whatever its unit: in quotes and with its own unit, rounded as shown.

    Example: "0.15 mm", with the quotes.
    """
    return f'"{plain_length(mm, unit)}"'


def at_least(mm: Fraction, unit: Unit = Unit.MM, places: int = 4) -> str:
    """Like `plain_length`, but rounded up: for the least that will do, or for a greatest error."""
    step = MM_PER_UNIT[unit] / 10**places
    # -(-a // b) divides and rounds up, exactly.
    return plain_length(-(-mm // step) * step, unit, places)


def at_most(mm: Fraction, unit: Unit = Unit.MM, places: int = 4) -> str:
    """Like `plain_length`, but rounded down: for the most that will do, or for what is left at worst."""
    step = MM_PER_UNIT[unit] / 10**places
    return plain_length(mm // step * step, unit, places)


def to_64ths(mm: Fraction) -> tuple[int, int, Fraction]:
    """(whole inches, sixty-fourths 0..63, remainder in mm) at the nearest 64th, halves to even.

    The three add up to `mm` exactly. The remainder is at most 25.4 / 128 mm either way. Below
    zero, inches and 64ths both have the sign: -1 3/64 in -> (-1, -3, 0).
    """
    step = MM_PER_UNIT[Unit.INCH] / 64
    count = round(mm / step)
    whole, rest = divmod(abs(count), 64)
    sign = -1 if count < 0 else 1
    return sign * whole, sign * rest, mm - count * step


def mixed(value: Fraction) -> str:
    """A whole number and a fraction: Fraction(11, 8) -> "1 3/8"."""
    sign = "-" if value < 0 else ""
    whole, rest = divmod(abs(value), 1)
    parts = [str(whole)] if whole or not rest else []
    return sign + " ".join([*parts, *([f"{rest.numerator}/{rest.denominator}"] if rest else [])])
