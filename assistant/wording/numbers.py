"""Numbers as they are spoken: settings, lengths, digits, cardinals. English, plain spelling for a synthesiser.

Digits follow the order of radiotelephony (ICAO Annex 10 Vol. II, 5.2.1.4.3): one by one, the decimal point at its
place. It is "point", as in a workshop (common practice, no source), not the radio's "decimal". The respellings of that
table (WUN, TREE, FIFE) are for human throats; a synthesiser gets the plain words.
"""

from __future__ import annotations

import re
from fractions import Fraction

from assistant.joinery.model import Carriage, CarriageKind
from assistant.joinery.settings import MOST_DECIMALS, Reads, in_64ths, places, reading
from assistant.joinery.units import MM_PER_UNIT, Unit, mixed, plain_length
from assistant.plans.model import Job

# fmt: off
_SMALL = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)
_TENS = ("", "ten", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
# fmt: on
_CHARACTERS = {**{str(digit): _SMALL[digit] for digit in range(10)}, ".": "point", "-": "minus"}
# A number of 64ths, reduced, has no other denominators.
_PARTS_OF_AN_INCH = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second", 64: "sixty-fourth"}
# Beyond this a count may end in "teen" or "ty": "thirteen" and "thirty" sound alike beside a machine.
_LARGEST_SAFE_CARDINAL = 12
_MISHEARD = {*_SMALL[13:], *_TENS[2:]}
_USUAL = {Unit.MM: 2, Unit.INCH: 4}
"""The decimals of a length in prose."""
_PART_NAMES = re.compile("thirty-second|sixty-fourth")


def spoken_digits(text: str) -> str:
    """The characters of a number one by one: "121.5" -> "one two one point five", "-" -> "minus".

    Raises ValueError for anything but digits, "." and "-".
    """
    unknown = sorted(set(text) - set(_CHARACTERS))
    if unknown or not text:
        raise ValueError(f"only digits, '.' and '-' can be spoken digit by digit, not {text!r}")
    return " ".join(_CHARACTERS[character] for character in text)


def cardinal(n: int) -> str:
    """A whole number in words, 0 to 999,999: 345 -> "three hundred and forty-five". Raises ValueError outside."""
    if not 0 <= n <= 999_999:
        raise ValueError(f"cardinals go from 0 to 999,999, not {n}")
    if n < 20:
        return _SMALL[n]
    if n < 100:
        tens, ones = divmod(n, 10)
        return f"{_TENS[tens]}-{_SMALL[ones]}" if ones else _TENS[tens]
    if n < 1000:
        hundreds, rest = divmod(n, 100)
        return f"{_SMALL[hundreds]} hundred" + (f" and {cardinal(rest)}" if rest else "")
    thousands, rest = divmod(n, 1000)
    joiner = " and " if 0 < rest < 100 else " "
    return f"{cardinal(thousands)} thousand" + (f"{joiner}{cardinal(rest)}" if rest else "")


def fixed(value: Fraction, decimals: int) -> str:
    """`value` with exactly `decimals` decimals, halves to even, no "-0": Fraction(1235, 100), 3 -> "12.350"."""
    scaled = round(abs(value) * 10**decimals)  # of a Fraction, so exact
    sign = "-" if value < 0 and scaled else ""
    digits = str(scaled).rjust(decimals + 1, "0")
    return sign + (f"{digits[:-decimals]}.{digits[-decimals:]}" if decimals else digits)


def in_unit(mm: Fraction, unit: Unit) -> Fraction:
    """A length in mm as a number of this unit, exact."""
    return mm / MM_PER_UNIT[unit]


def spoken_setting(carriage: Carriage, reads: Reads, setting: Fraction) -> str:
    """The words for what a readout or a stepper shows at `setting`.

    setting: mm, as rounded for the carriage. reads: "digits", "words" or "fractions" (inches to 64ths, the remainder
    in thousandths); "turns" is "digits" here. Words that may be misheard are proved by the digits shown. What is
    dialled on a handwheel: `dial`.
    """
    shown = reading(carriage, setting)
    if carriage.fractions:
        return _with_digits_if_misheard(_spoken_64ths(carriage, setting), _spoken_digits_of_fraction(shown))
    if reads == Reads.WORDS:
        return _with_digits_if_misheard(spoken_number(shown), spoken_digits(shown))
    return spoken_digits(shown)


def _with_digits_if_misheard(words: str, digits: str) -> str:
    # "Thirty-second" can't be taken for a part of thirteen, which no scale has.
    heard = _PART_NAMES.sub("", words).replace("-", " ").split()
    return f"{words}: {digits}" if _MISHEARD & set(heard) else words


def spoken_length(mm: Fraction, unit: Unit, decimals: int = 0) -> str:
    """A depth or clearance in prose, in its unit, no idle zeros.

    Inches: a fraction where it is one of 64ths exactly. decimals: how many at the most, 0: as a length is usually said,
    millimetres to the hundredth and inches to the ten-thousandth.
    """
    if unit == Unit.INCH:
        inches = in_unit(mm, Unit.INCH)
        if (inches * 64).denominator == 1:
            return _sixty_fourths(inches)
        return f"{spoken_number(_trimmed(fixed(inches, decimals or _USUAL[Unit.INCH])))} inches"
    text = _trimmed(fixed(mm, decimals or _USUAL[Unit.MM]))
    return f"{spoken_number(text)} millimetre" + ("" if text in ("1", "-1") else "s")


def spoken_clearance(mm: Fraction, unit: Unit) -> str:
    """A clearance in words: as `spoken_length`, but inches below a tenth in thousandths, as they are called in a shop.

    Common practice, no source.
    """
    thousandths = in_unit(mm, Unit.INCH) * 1000
    if unit == Unit.MM or not 0 < thousandths < 100 or (thousandths * 64 / 1000).denominator == 1:
        return spoken_length(mm, unit)
    text = _trimmed(fixed(thousandths, 1))
    return f"{spoken_number(text)} thousandth{'' if text == '1' else 's'} of an inch"


def spoken_distance(carriage: Carriage, mm: Fraction) -> str:
    """How far to move the carriage (mm, > 0), as exactly as it shows it: "half a millimetre", "220 steps" in words."""
    if carriage.kind == CarriageKind.STEPS:
        steps = round(mm / carriage.resolution)
        return f"{cardinal(steps)} step" + ("" if steps == 1 else "s")
    if carriage.unit == Unit.MM and mm == Fraction(1, 2):
        return "half a millimetre"
    size = in_unit(mm, carriage.unit)
    if carriage.unit == Unit.INCH and (size * 64).denominator == 1:
        return _sixty_fourths(size)
    return f"{spoken_number(_trimmed(fixed(size, places(carriage))))} {_noun(size, carriage.unit)}"


def shown_length(mm: Fraction, unit: Unit, decimals: int = 0) -> str:
    """The same in figures: "12.3 mm", "3/4 in", "0.505 in"."""
    inches = in_unit(mm, Unit.INCH)
    if unit == Unit.INCH and (inches * 64).denominator == 1:
        return f"{mixed(inches)} in"
    return f"{_trimmed(fixed(in_unit(mm, unit), decimals or _USUAL[unit]))} {unit}"


def settable_depth(mm: Fraction, unit: Unit, reads: Reads) -> Fraction:
    """A blade height, in `unit`, as near as a person can set it: 0.1 mm; 1/64 in read in fractions, else 0.001 in."""
    step = Fraction(1, 10) if unit == Unit.MM else Fraction(1, 64) if reads == Reads.FRACTIONS else Fraction(1, 1000)
    return round(in_unit(mm, unit) / step) * step


def spoken_depth(mm: Fraction, unit: Unit, reads: Reads) -> str:
    """A blade height in words, as `settable_depth` has it: "twelve point three millimetres"."""
    depth = settable_depth(mm, unit, reads)
    if unit == Unit.INCH and reads == Reads.FRACTIONS:
        return _sixty_fourths(depth)
    return f"{spoken_number(_trimmed(fixed(depth, 3)))} {_noun(depth, unit)}"


def shown_depth(mm: Fraction, unit: Unit, reads: Reads) -> str:
    """The same in figures: "12.3 mm", "0.391 in", "25/64 in"."""
    depth = settable_depth(mm, unit, reads)
    return f"{mixed(depth) if unit == 'in' and reads == Reads.FRACTIONS else _trimmed(fixed(depth, 3))} {unit}"


def drawn_depth(mm: Fraction, job: Job) -> str:
    """A depth as a drawing's dimension, exact; in fractions where the carriage is read so, as everything else then."""
    unit = job.carriage.unit
    return shown_depth(mm, unit, job.voice.reads) if job.carriage.fractions else plain_length(mm, unit)


def outward(mm: Fraction, unit: Unit, up: bool) -> Fraction:
    """Where something must be clear of the blade, in `unit`: to the whole mm or 1/16 in, never towards the blade."""
    step = Fraction(1) if unit == Unit.MM else Fraction(1, 16)
    steps = in_unit(mm, unit) / step
    # -(-a // 1) rounds up, exactly.
    return (-(-steps // 1) if up else steps // 1) * step


def spoken_outward(mm: Fraction, unit: Unit, up: bool, named: bool = True) -> str:
    """`outward` in words: "thirty-three millimetres", "one and three sixteenths inches". named: with its unit."""
    size = outward(mm, unit, up)
    if unit == Unit.MM or size.denominator == 1:
        text = spoken_number(fixed(size, 0))
        return f"{text} {_noun(size, unit)}" if named else text
    text = _sixty_fourths(size)
    return text if named else text.removesuffix(" of an inch").removesuffix(" inches")


def shown_outward(mm: Fraction, unit: Unit, up: bool, named: bool = True) -> str:
    """`outward` in figures: "33 mm", "1 3/16 in"."""
    text = mixed(outward(mm, unit, up))
    return f"{text} {unit}" if named else text


def _noun(size: Fraction, unit: Unit) -> str:
    one, many = ("millimetre", "millimetres") if unit == Unit.MM else ("inch", "inches")
    return one if abs(size) == 1 else many


def _trimmed(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text


def spoken_number(text: str) -> str:
    """A number in figures as a cardinal, decimals one by one: "-12.35" -> "minus twelve point three five"."""
    whole, _, decimals = text.removeprefix("-").partition(".")
    spoken = cardinal(int(whole)) + (f" point {spoken_digits(decimals)}" if decimals else "")
    return f"minus {spoken}" if text.startswith("-") else spoken


def _spoken_64ths(carriage: Carriage, setting: Fraction) -> str:
    """The nearest 64th, then what is left in thousandths."""
    nearest, rest = in_64ths(carriage, setting)
    words = _sixty_fourths(nearest)
    if not rest:
        return words
    amount = _trimmed(fixed(abs(rest) * 1000, MOST_DECIMALS))
    sign = "minus" if rest < 0 else "plus"
    return f"{words}, {sign} {spoken_number(amount)} thousandth" + ("" if amount == "1" else "s")


def _spoken_digits_of_fraction(shown: str) -> str:
    """A reading in fractions, figure by figure.

    "1 13/64 + 0.002" -> "one and one three over six four, plus zero point zero zero two".
    """
    # With spaces around it: the minus of a reading below zero has none.
    fraction, sign, rest = shown.partition(" + ") if " + " in shown else shown.partition(" - ")
    parts = [" over ".join(map(spoken_digits, part.split("/"))) for part in fraction.split(" ")]
    words = " and ".join(parts)
    return f"{words}, {'plus' if '+' in sign else 'minus'} {spoken_digits(rest)}" if rest else words


def _sixty_fourths(inches: Fraction) -> str:
    """A whole number of 64ths, reduced: 11/8 -> "one and three eighths inches"."""
    sign = "minus " if inches < 0 else ""
    whole, rest = divmod(abs(inches), 1)
    if not rest:
        return f"{sign}{cardinal(whole)} inch" + ("" if whole == 1 else "es")
    part = _PARTS_OF_AN_INCH[rest.denominator] + ("" if rest.numerator == 1 else "s")
    fraction = f"{cardinal(rest.numerator)} {part}"
    return f"{sign}{cardinal(whole)} and {fraction} inches" if whole else f"{sign}{fraction} of an inch"


def safe_count(n: int) -> str:
    """A count that nothing said after it proves: 9 -> "nine", 13 -> "one three"."""
    return cardinal(n) if n <= _LARGEST_SAFE_CARDINAL else spoken_digits(str(n))
