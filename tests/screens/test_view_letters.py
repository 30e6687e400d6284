"""Big letters: each is unique, all have one height, and they can be read from two metres."""

from __future__ import annotations

import itertools
import string

import pytest

from assistant.plans.checks import DEFAULT_CHECKS
from assistant.screens import view_letters as letters

LINE_MM = 6.0  # of a small laptop's terminal with 24 lines more than fills its height: 24 x 6 = 144 mm
DISTANCE_MM = 2000


def test_every_glyph_has_seven_lines_of_one_width_and_no_two_are_alike() -> None:
    assert all(len(lines) == 7 and len({len(line) for line in lines}) == 1 for lines in letters.GLYPHS.values())
    assert all(set("".join(lines)) <= {"#", "."} for lines in letters.GLYPHS.values())
    assert len(set(letters.GLYPHS.values())) == len(letters.GLYPHS)
    assert set(string.digits + string.ascii_uppercase + " .-+/?") <= set(letters.GLYPHS)


def test_figures_differ_in_three_dots_at_least() -> None:
    for a, b in itertools.combinations(string.digits, 2):
        pairs = zip("".join(letters.GLYPHS[a]), "".join(letters.GLYPHS[b]), strict=True)
        assert sum(x != y for x, y in pairs) >= 3, (a, b)


def test_figures_are_equally_wide_so_that_settings_stand_still() -> None:
    assert len({letters.columns_of(digit, 2) for digit in string.digits}) == 1


def test_a_setting_on_a_small_terminal_is_taller_than_a_two_hundredth_of_two_metres() -> None:
    """Common practice, no source: letters of distance / 200 are easy to read."""
    scale = letters.largest_scale(["123.45"], 60, 8)
    assert 3.5 * scale * LINE_MM >= DISTANCE_MM / 200
    assert letters.rows_of(scale) == 7


@pytest.mark.parametrize("scale", [1, 2, 3, 4])
def test_blocks_are_as_large_as_promised(scale: int) -> None:
    drawn = letters.big("-12.3 MM", scale)
    assert len(drawn) == letters.rows_of(scale)
    assert {len(line) for line in drawn} == {letters.columns_of("-12.3 MM", scale)}


def test_a_one_at_scale_one_by_hand() -> None:
    """Seven dots high in four lines, the last half one blank."""
    assert letters.big("1", 1) == (" ▄█ ", "  █ ", "  █ ", " ▀▀▀")
    assert letters.big(".", 2)[-3:] == ("  ", "██", "██")


@pytest.mark.parametrize("name", [check.name for check in DEFAULT_CHECKS])
def test_every_default_check_has_a_big_name_on_eighty_columns(name: str) -> None:
    lines = letters.in_two_lines(letters.plain_capitals(name))
    assert letters.largest_scale([letters.plain_capitals(name)], 78, 8) or letters.largest_scale(lines, 78, 8)


def test_what_has_no_glyph_is_reported_and_accents_are_dropped() -> None:
    assert letters.plain_capitals("staubsäcke é") == "STAUBSACKE E"
    assert not letters.can_write("먼지") and letters.largest_scale(["먼지"], 80, 8) == 0
