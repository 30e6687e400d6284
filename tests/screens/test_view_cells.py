"""Cells and the bytes between two pages, checked with a terminal emulator (pyte 0.8)."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.screens.view_cells import (
    BOLD,
    FULL,
    MAGENTA,
    RED,
    REVERSE,
    Canvas,
    cells,
    changes,
    cut_to,
    width,
    wrapped,
)

pyte = pytest.importorskip("pyte")
wcwidth = pytest.importorskip("wcwidth")

COLUMNS, ROWS = 17, 5
texts = st.text(st.sampled_from("ab .█░▼가漢é"), min_size=1, max_size=COLUMNS + 3)
styles = st.sampled_from([0, BOLD, REVERSE, RED | BOLD, MAGENTA, BOLD | REVERSE | MAGENTA])
marks = st.lists(st.tuples(st.integers(0, ROWS - 1), st.integers(0, COLUMNS - 1), texts, styles), max_size=8)


def page(marks: list[tuple[int, int, str, int]]) -> Canvas:
    canvas = Canvas(COLUMNS, ROWS)
    for row, column, text, style in marks:
        canvas.put(row, column, text, style)
    return canvas


def emulated(*sent: str) -> list[list[tuple[str, bool, bool, str]]]:
    """What the emulator shows after these bytes: character, bold, reverse, colour of each cell."""
    screen = pyte.Screen(COLUMNS, ROWS)
    screen.reset_mode(7, private=True)  # as the view has it: no wrapping at the end of a line
    stream = pyte.Stream(screen)
    for each in sent:
        stream.feed(each)
    lines = [[screen.buffer[y][x] for x in range(COLUMNS)] for y in range(ROWS)]
    return [[(c.data, c.bold, c.reverse, c.fg) for c in line] for line in lines]


def meant(canvas: Canvas) -> list[list[tuple[str, bool, bool, str]]]:
    def cell(char: str, style: int) -> tuple[str, bool, bool, str]:
        colour = "red" if style & RED else "magenta" if style & MAGENTA else "default"
        full = char == FULL  # is a blank in reverse
        return " " if full else char, bool(style & BOLD), bool(style & REVERSE) != full, colour

    return [[cell(*one) for one in line] for line in canvas.lines]


@settings(max_examples=150, deadline=None)
@given(marks, marks)
def test_what_is_sent_makes_the_terminal_show_the_page(first: list, second: list) -> None:
    """The first page on an unknown terminal, the second on what the first left; wide characters whole."""
    a, b = page(first), page(second)
    assert emulated("leftovers\x1b[1;31m", changes(None, a)) == meant(a)
    assert emulated(changes(None, a), changes(a, b)) == meant(b)


def test_half_a_wide_character_is_a_blank() -> None:
    canvas = page([(0, COLUMNS - 1, "漢", 0), (1, 0, "漢字", 0), (1, 1, "x", 0), (2, 0, "漢字", 0), (2, 2, "x", 0)])
    assert [canvas.text(row).rstrip() for row in range(3)] == ["", " x字", "漢x"]


@given(marks)
def test_the_same_page_sends_nothing(made: list) -> None:
    assert changes(page(made), page(made)) == ""


def test_one_cell_sends_a_few_bytes_and_a_line_that_ends_sooner_is_erased() -> None:
    assert changes(page([(2, 3, "3", 0)]), page([(2, 3, "4", 0)])) == "\x1b[3;4H4"
    assert changes(page([(1, 0, "a long line", 0)]), page([(1, 0, "a", 0)])) == "\x1b[2;3H\x1b[K"


def test_without_colour_bold_and_reverse_stay() -> None:
    before = page([])
    assert changes(before, page([(0, 0, "x", RED | BOLD)]), colour=False) == "\x1b[1H\x1b[1mx\x1b[m"
    assert changes(before, page([(0, 0, "x", MAGENTA | REVERSE)]), colour=False) == "\x1b[1H\x1b[7mx\x1b[m"
    assert changes(before, page([(0, 0, "x", MAGENTA)]), colour=False) == "\x1b[1Hx"
    assert changes(before, page([(0, 0, "x", MAGENTA)])) == "\x1b[1H\x1b[35mx\x1b[m"


@given(st.text(st.characters(codec="utf-8", max_codepoint=0xFFFF), max_size=30))
def test_columns_are_those_of_the_unicode_tables(text: str) -> None:
    """Outside reference: the tables of wcwidth, for printable characters that the interpreter knows.

    No control character ever reaches a terminal.
    """
    assert all(char.isprintable() for char, _ in cells(text) if char)
    for char in text:
        hangul_part = 0x1160 <= ord(char) <= 0x11FF or 0xD7B0 <= ord(char) <= 0xD7FF  # joined to the one before
        if char.isprintable() and not hangul_part and unicodedata.category(char) not in ("Mn", "Me", "Cf", "Cn", "Mc"):
            assert width(char) in (wcwidth.wcwidth(char), 1), hex(ord(char))


def test_text_is_wrapped_between_words_and_cut_with_an_ellipsis() -> None:
    assert wrapped("set three three point one six", 12) == ["set", "three three", "point one", "six"]
    assert wrapped("abcdefgh ij", 3) == ["abc", "def", "gh", "ij"]
    assert wrapped("한국어 한국어", 7) == ["한국어", "한국어"]
    assert cut_to("abcdef", 4) == "abc…" and cut_to("abcd", 4) == "abcd"
    assert width(cut_to("한국어한국어", 6)) <= 6


@given(texts, st.integers(1, 12))
def test_no_line_is_wider_than_asked(text: str, columns: int) -> None:
    assert all(width(line) <= max(columns, 2) for line in wrapped(text, columns))
    assert width(cut_to(text, columns)) <= columns
