"""The region of the thing to do: block letters, and the words below them.

Words that must be shown come first; the letters are as large as these allow, and what else could be said has the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from assistant.drawings import dialling_letters
from assistant.drawings.dialling import Dial, dials_of
from assistant.plans.checks import EDGE_AND_FACE
from assistant.screens import view_letters as letters
from assistant.screens.view_blocks import (
    LEAST_BIG,
    Blocks,
    blocks_of,
    draw_blocks,
    has_room_beside,
    least_rows,
)
from assistant.screens.view_cells import BOLD, width, wrapped
from assistant.screens.view_heading import Heading, heading_of, with_position
from assistant.screens.view_move import is_driven, is_moving, track
from assistant.screens.view_regions import Pane
from assistant.screens.view_sight import Sight
from assistant.screens.view_words import StyledLine, setting_text, word_lines
from assistant.session.effects import View
from assistant.session.kinds import Klass
from assistant.session.state import CHECKS, CUTTING
from assistant.wording.prompts import Words

FIGURE_COLUMNS = 44  # of how the board is held, beside words or the board's end
FIGURE_ROWS = 9  # of the same with all its parts

HoldingLines = Callable[[int, int], list[str]]
"""Lines of the figure of how the board is held, for so many columns and rows."""


def figure_columns(pane: Pane) -> int:
    """How wide the figure of how the board is held is, beside what else this pane shows."""
    return max(FIGURE_COLUMNS, pane.columns * 2 // 5)


@dataclass(frozen=True, slots=True)
class RegionShown:
    """What the region shows.

    shown: the log's texts that are in its words. left_over: lines that must be shown and had no room. with_figure: how
    the board is held is here.
    """

    shown: set[str]
    left_over: list[StyledLine]
    with_figure: bool


def draw_to_do(
    pane: Pane,
    sight: Sight,
    shown: set[str],
    now: datetime | None,
    position: Fraction | None,
    with_letters: bool,
    holding: HoldingLines,
) -> RegionShown:
    """Draw it. shown: texts that are on the page already. now: the time here. position: of a moving carriage, mm."""
    view, words = sight.view, sight.words
    assert view is not None and words is not None
    heading = heading_of(view, words, sight.wait_s)
    # At the smallest size it would be as large as where the carriage goes to.
    if (
        position is not None
        and is_moving(view, words)
        and letters.fits(heading.left, 2, pane.columns - 2, pane.rows - 3)
    ):
        heading = with_position(heading, words, position)
    least = least_rows(heading, pane.columns - 2) if with_letters else 0
    least = least if least <= pane.rows else 0

    figure = _figure_beside(pane, sight, heading, least, now, holding)
    room = pane.columns - 2 - (width(figure[0]) + 2 if figure else 0)
    found = word_lines(sight, room, now)
    lines = list(found.required)
    if not least:
        lines = [(line, BOLD) for line in wrapped(_in_words(heading, view, words), room)] + lines
    elif amounts := _amounts(view, words):
        lines = [(line, 0) for line in wrapped(amounts, room)] + lines
    bar = track(view, words, position, room)
    bar_has_room = least + len(lines) < pane.rows
    if bar and bar_has_room:
        lines = [(bar, BOLD), *lines]

    in_words = set()
    for text, more in found.optional:
        if text not in shown and _may_take_rows(pane, heading, least, len(lines), len(more), text == sight.clamp):
            lines += more
            in_words.add(text)

    left_over: list[StyledLine] = []
    if least + len(lines) > pane.rows:
        kept = 0 if heading.whole and least else max(0, pane.rows - least)
        lines, left_over = lines[:kept], lines[kept:]
    if bar and not bar_has_room:
        left_over.append((bar, BOLD))

    high = pane.rows - max(len(lines), len(figure))
    made = blocks_of(heading, pane.columns - 2, high) if least else None
    if heading.then and not (made and has_room_beside(made, heading.then, pane.columns)):
        # What comes next shares the last row of words, or has a row of its own for which the letters get smaller.
        shares = bool(lines) and width(lines[-1][0]) + len(heading.then) + 3 <= room
        lower = high if shares else min(high, pane.rows - len(lines) - 1)
        smaller = blocks_of(heading, pane.columns - 2, lower) if least else None
        if not shares and (smaller or not made) and len(lines) < pane.rows:
            lines.append(("", 0))
        if smaller:
            high, made = lower, smaller

    then_is_beside = made is not None and _draw_letters(pane, made, heading, high, view, words)
    for n, (line, style) in enumerate(lines):
        pane.put(pane.rows - len(lines) + n, 1, line, style)
    for n, drawn in enumerate(figure):
        pane.put(pane.rows - len(figure) + n, pane.columns - 1 - width(drawn), drawn)
    if heading.then and not then_is_beside and lines:
        pane.put(pane.rows - 1, pane.columns - len(heading.then) - 1, heading.then, BOLD)
    return RegionShown(in_words, left_over, bool(figure))


def _may_take_rows(pane: Pane, heading: Heading, least: int, taken: int, more: int, is_clamp: bool) -> bool:
    """Whether words that needn't be shown may have `more` rows, beside the rows `taken`.

    What to clamp comes before larger letters, anything else doesn't.
    """
    rows = pane.rows - taken - more
    if rows < least:
        return False
    without, beside = (blocks_of(heading, pane.columns - 2, each) for each in (rows + more, rows))
    return is_clamp or not without or (beside is not None and beside.scale >= min(2, without.scale))


def _figure_beside(
    pane: Pane, sight: Sight, heading: Heading, least: int, now: datetime | None, holding: HoldingLines
) -> Sequence[str]:
    """How the board is held, beside the words that ask for it, if these still have room."""
    view = sight.view
    assert view is not None
    if view.mode != CHECKS or view.check != EDGE_AND_FACE:
        return ()
    if any(entry.klass == Klass.CAUTION for entry in sight.opening):  # it needs the room
        return ()
    made = blocks_of(heading, pane.columns - 2, pane.rows - FIGURE_ROWS) if least else None
    figure = holding(figure_columns(pane), pane.rows - (made.rows if made else max(least, LEAST_BIG)))
    if not figure:
        return ()
    beside = word_lines(sight, pane.columns - 2 - width(figure[0]) - 2, now)
    wanted = [*beside.required, *(line for _, more in beside.optional[:1] for line in more)]
    return figure if least + len(wanted) <= pane.rows else ()


def _draw_letters(pane: Pane, made: Blocks, heading: Heading, high: int, view: View, words: Words) -> bool:
    """The block letters, and below them the dials of a handwheel if there is room. As `draw_blocks`."""
    dials = _dials(view, words)
    drawn = [line for each in dials for line in dialling_letters.in_letters(each, pane.columns - 2)]
    drawn = drawn if made.rows + len(drawn) <= high else []
    top = high - len(drawn)
    for n, line in enumerate(drawn):
        pane.put(top + n, 1, line)
    return draw_blocks(pane.part(0, top), made, heading)


def _amounts(view: View, words: Words) -> str:
    """How far to turn a handwheel in each of two moves, of which the block letters only say where they end."""
    dials = _dials(view, words)
    ways = [f"{each.step} {'up' if each.up else 'down'} {' + '.join(filter(None, each.amount))}" for each in dials]
    return ", ".join(ways) if len(dials) > 1 else ""


def _dials(view: View, words: Words) -> Sequence[Dial]:
    """What a hand turns to the setting that is called; nothing where a motor does."""
    if view.mode != CUTTING or not view.pass_ or is_driven(words):
        return ()
    return dials_of(words.carriage, view.previous, view.approach, view.setting)


def _in_words(heading: Heading, view: View, words: Words) -> str:
    """What the block letters would say, had they room."""
    if view.mode == CUTTING and view.pass_:
        return setting_text(view, words)
    return "  ".join((*heading.left, *([heading.right] if heading.right else [])))
