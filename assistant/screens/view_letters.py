"""Figures and capitals made of half blocks, big enough to be read from across the room.

At scale 1 a letter is 3.5 lines high, at scale 2 seven lines, and so on. With the 8 mm lines of a laptop that is 28 mm
and 56 mm. Letters a two-hundredth of the distance high are easy to read (common practice, no source): 10 mm at two
metres.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from functools import lru_cache

from assistant.wording.quantities import pieces

# Each row: the character, then its seven lines from the top.
_TABLE = """
0 .##. #..# #..# #..# #..# #..# .##.
1 ..#. .##. ..#. ..#. ..#. ..#. .###
2 .##. #..# ...# ..#. .#.. #... ####
3 #### ...# ..#. .##. ...# #..# .##.
4 #..# #..# #..# #### ...# ...# ...#
5 #### #... ###. ...# ...# #..# .##.
6 .##. #... #... ###. #..# #..# .##.
7 #### ...# ...# ..#. ..#. .#.. .#..
8 .##. #..# #..# .##. #..# #..# .##.
9 .##. #..# #..# .### ...# ...# ###.
A .##. #..# #..# #### #..# #..# #..#
B ###. #..# #..# ###. #..# #..# ###.
C .### #... #... #... #... #... .###
D ###. #..# #..# #..# #..# #..# ###.
E #### #... #... ###. #... #... ####
F #### #... #... ###. #... #... #...
G .### #... #... #.## #..# #..# .###
H #..# #..# #..# #### #..# #..# #..#
I ### .#. .#. .#. .#. .#. ###
J ..## ...# ...# ...# ...# #..# .##.
K #..# #..# #.#. ##.. #.#. #..# #..#
L #... #... #... #... #... #... ####
M #...# ##.## #.#.# #.#.# #...# #...# #...#
N #...# ##..# ##..# #.#.# #..## #..## #...#
O .###. #...# #...# #...# #...# #...# .###.
P ###. #..# #..# ###. #... #... #...
Q .###. #...# #...# #...# #.#.# #..#. .##.#
R ###. #..# #..# ###. #.#. #..# #..#
S .### #... #... .##. ...# ...# ###.
T ##### ..#.. ..#.. ..#.. ..#.. ..#.. ..#..
U #..# #..# #..# #..# #..# #..# .##.
V #...# #...# #...# #...# .#.#. .#.#. ..#..
W #...# #...# #...# #.#.# #.#.# ##.## #...#
X #...# #...# .#.#. ..#.. .#.#. #...# #...#
Y #...# #...# .#.#. ..#.. ..#.. ..#.. ..#..
Z #### ...# ..#. ..#. .#.. #... ####
- ... ... ... ### ... ... ...
+ ... ... .#. ### .#. ... ...
/ ..# ..# .#. .#. .#. #.. #..
? .##. #..# ...# ..#. ..#. .... ..#.
! # # # # # . #
. . . . . . # #
, .. .. .. .. .. .# #.
: . # # . # # .
' # # . . . . .
↑ ..#.. .###. #.#.# ..#.. ..#.. ..#.. ..#..
↓ ..#.. ..#.. ..#.. ..#.. #.#.# .###. ..#..
"""
GLYPHS: dict[str, tuple[str, ...]] = {row[0]: tuple(row[2:].split()) for row in _TABLE.strip().splitlines()}
GLYPHS[" "] = ("..",) * 7
LINES = 7
_MIXED = re.compile(r"(?<=\d) (?=\d+/\d)")  # the space in "3 3/16"
HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def plain_capitals(text: str) -> str:
    """In capitals, without accents. A hyphen joins a fraction to its whole number: "3-3/16"."""
    parts = unicodedata.normalize("NFKD", _MIXED.sub("-", text.upper()))
    return "".join(char for char in parts if not unicodedata.combining(char))


def can_write(text: str) -> bool:
    """Whether every character of `text`, already in plain capitals, has a glyph."""
    return all(char in GLYPHS for char in text)


def columns_of(text: str, scale: int) -> int:
    """The columns that the text takes at this scale."""
    return scale * (sum(len(GLYPHS[char][0]) + 1 for char in text) - 1) if text else 0


def rows_of(scale: int) -> int:
    """The lines that letters take at this scale; at an odd scale they fill only half of the last line."""
    return (LINES * scale + 1) // 2


@lru_cache(maxsize=128)  # the same letters are drawn on many pages
def big(text: str, scale: int) -> tuple[str, ...]:
    """The text in blocks: `rows_of(scale)` lines of `columns_of(text, scale)` characters. KeyError without a glyph."""
    pixels = [".".join(GLYPHS[char][line] for char in text) for line in range(LINES)]
    tall = [line for line in pixels for _ in range(scale)]
    if len(tall) % 2:
        tall.append("." * len(tall[0]))
    return tuple(
        "".join(HALVES[a == "#", b == "#"] * scale for a, b in zip(upper, lower, strict=True))
        for upper, lower in zip(tall[::2], tall[1::2], strict=True)
    )


def largest_scale(lines: Sequence[str], columns: int, rows: int) -> int:
    """The largest scale at which these lines fit, one below the other; 0 if none fits or a glyph is missing."""
    if not all(can_write(line) for line in lines):
        return 0
    scale = 0
    while fits(lines, scale + 1, columns, rows):
        scale += 1
    return scale


def fits_across(lines: Sequence[str], scale: int, columns: int) -> bool:
    """Whether every character has a glyph and no line is too wide."""
    return all(can_write(line) for line in lines) and all(columns_of(line, scale) <= columns for line in lines)


def fits(lines: Sequence[str], scale: int, columns: int, rows: int) -> bool:
    """Whether they fit, with at least half a line between them."""
    # At an odd scale the letters themselves leave half of their last line free.
    high = len(lines) * rows_of(scale) + (len(lines) - 1 if scale % 2 == 0 else 0)
    return high <= rows and all(columns_of(line, scale) <= columns for line in lines)


def in_two_lines(text: str) -> list[str]:
    """The text broken between two words into lines of about equal width; one line for a single word."""
    words = pieces(text)
    breaks = [[" ".join(words[:n]), " ".join(words[n:])] for n in range(1, len(words))]
    if not breaks or not can_write(text):
        return [text]
    return min(breaks, key=lambda lines: max(columns_of(line, 1) for line in lines))
