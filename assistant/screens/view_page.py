"""The whole page: what is in each region. Pure: a sight and a size make a canvas.

`view_regions` says where each region is. Nothing is drawn outside its region but a list laid over the page.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial

from assistant.drawings import holding_letters
from assistant.drawings.holding import holding_of
from assistant.plans.model import Job
from assistant.screens import view_letters as letters
from assistant.screens.view_blocks import (
    LEAST_BIG,
    blocks_of,
    draw_blocks,
    draw_line,
)
from assistant.screens.view_board import LEAST_ROWS, BoardPicture
from assistant.screens.view_cells import (
    BLUE,
    BOLD,
    CYAN,
    FULL,
    GREEN,
    MAGENTA,
    RED,
    REVERSE,
    YELLOW,
    Canvas,
    cut_to,
    width,
    wrapped,
)
from assistant.screens.view_gauges import Gauges, draw_inputs
from assistant.screens.view_heading import Heading, heading_of
from assistant.screens.view_move import OF_THE_DRIVE, calls_a_pass
from assistant.screens.view_pace import shown_left
from assistant.screens.view_regions import Pane, regions_of
from assistant.screens.view_sight import ASKING, LogEntry, Sight
from assistant.screens.view_to_do import FIGURE_COLUMNS, draw_to_do, figure_columns
from assistant.screens.view_words import (
    GOES_HOME,
    HALTS,
    NOTHING,
    OLD_BLADE,
    WENT_WRONG,
    WHILE_HELD,
    Gestures,
    Status,
    StatusTone,
    StyledLine,
    done_here,
    entry_lines,
    gestures_of,
    setting_text,
    setup_of,
    status_of,
    word_lines,
)
from assistant.session.effects import View
from assistant.session.kinds import Press
from assistant.session.state import CHECKS, CUTTING, MOVE_ASKED
from assistant.session.table import which_of
from assistant.wording.halves import which_half

TONE_COLOURS = {
    StatusTone.CUTTING: GREEN,
    StatusTone.CHECK: YELLOW,
    StatusTone.QUESTION: MAGENTA,
    StatusTone.STANDING_BY: CYAN,
    StatusTone.SAW_OFF: BLUE,
    StatusTone.OVER: 0,
    StatusTone.MOVING: YELLOW,
    StatusTone.LOST: RED,
}
BAND = 2  # columns of the state's colour at each end of head and keys
GESTURE_PLACES = (0.0, 0.3125, 0.625)
"""Where the meanings of tap, double tap and long press begin in the last row, as shares of its width."""
IN_BLOCKS = {
    "pass cut, call next": "CUT",
    "say again": "AGAIN",
    "stand by": "STAND BY",
    "confirmed": "CONFIRM",
    "where we are": "WHERE",
    WENT_WRONG: "MISHAP",
    "one more": "ADD 1",
    "never mind": "NO",
    OLD_BLADE: "OLD ONE",
    WHILE_HELD: "MOVES",
    HALTS: "HALTS",
    GOES_HOME: "HOME",
    "home it": "HOME",
    "moves it": "MOVES",
}
"""Short words for what a gesture means, where others than their capitals."""


class PageComposer:
    """Composes pages; keeps the pictures of the board from one page to the next."""

    def __init__(self) -> None:
        self._board: tuple[tuple[int, int], BoardPicture] | None = None
        self._held: tuple[tuple[object, ...], list[str]] | None = None

    def compose(self, sight: Sight, gauges: Gauges, columns: int, rows: int, now: datetime | None = None) -> Canvas:
        """A page of exactly this size; if it is small, the least important parts are dropped. now: the time here."""
        canvas = Canvas(columns, rows)
        regions = regions_of(columns, rows)
        if sight.view is None or sight.words is None:
            _log(Pane(canvas, 0, max(0, rows - 2), columns), sight.log)
            draw_inputs(Pane(canvas, max(0, rows - 2), 1, columns), gauges, sight)
            return canvas
        if not regions:
            _compose_low(canvas, sight, gauges)
            return canvas
        if not self._drawn(canvas, sight, gauges, now, with_letters=True):
            canvas = Canvas(columns, rows)
            self._drawn(canvas, sight, gauges, now, with_letters=False)
        if sight.note:
            _overlay(canvas, sight.laid_over, regions["keys"].rows)
        return canvas

    def _drawn(self, canvas: Canvas, sight: Sight, gauges: Gauges, now: datetime | None, with_letters: bool) -> bool:
        """Draws every region. Returns whether all that must be shown had room.

        with_letters: the thing to do in block letters; else in words, which leave the most room for others.
        """
        view, words = sight.view, sight.words
        assert view is not None and words is not None
        regions = regions_of(canvas.columns, canvas.rows)
        panes = {name: Pane.of(canvas, region) for name, region in regions.items()}
        status = status_of(sight)
        named = _head(panes["head"], status, view, words.job)
        shown, faults = _faults(panes["faults"], sight)
        do = _above_list(panes["do"], sight)
        drawn = draw_to_do(do, sight, shown, now, gauges.position, with_letters, partial(self._holding, sight))
        shown |= drawn.shown
        here, more = self._draw_board(panes["board"], sight, drawn.left_over, named, shown, not drawn.with_figure)
        _progress(panes["progress"], sight)
        elsewhere = {text for _, text in sight.faults} | shown | here
        entries = tuple(entry for entry in sight.log if entry.text not in elsewhere)
        _below(panes, sight, entries, faults, more)
        draw_inputs(panes["inputs"], gauges, sight)
        _keys(panes["keys"], status, gestures_of(view, sight.wait_s, words), sight.wait_s)
        return len(faults) + len(more) <= panes["log"].rows or not more

    # --- the board

    def _holding(self, sight: Sight, columns: int, rows: int) -> list[str]:
        view, words = sight.view, sight.words
        assert view is not None and words is not None
        key = id(words.job), view.setup, view.check, bool(view.cut), columns, rows
        if self._held is None or self._held[0] != key:
            holding = holding_of(words.job, words.job.setups[view.setup - 1], view)
            drawn = holding_letters.in_letters(holding, columns, rows)
            while drawn and not drawn[-1].strip():
                drawn.pop()
            self._held = key, drawn
        return self._held[1]

    def _draw_board(
        self, pane: Pane, sight: Sight, left_over: Sequence[StyledLine], named: str, shown: set[str], with_figure: bool
    ) -> tuple[set[str], list[StyledLine]]:
        """How it is held, words that had no room above, and its end with what is cut of it.

        Before the first cut, what the session began with has its place too. shown: texts that are on the page already.
        Returns the texts of the log that are shown here, and the lines that had no room.
        """
        view, words = sight.view, sight.words
        assert view is not None and words is not None
        if not view.setup:
            return set(), [*left_over]
        way = words.one(view.way) if view.way else ""
        held = f"{named}: {way}" if named else way
        # Nobody is to reach for the clamps before the carriage stands where they are set.
        with_figure = with_figure and _has_room_to_hold(pane) and view.mode not in OF_THE_DRIVE
        figure = self._holding(sight, figure_columns(pane), pane.rows) if with_figure else []
        at = pane.columns - figure_columns(pane)
        if figure and len(wrapped(held, at - 4)) + len(left_over) <= pane.rows:
            for n, line in enumerate(figure):
                pane.put(n, at, line)
            pane = pane.part(0, pane.rows, 0, at - 2)
        texts = [(line, 0) for line in wrapped(held, pane.columns - 2)]
        lines: list[StyledLine] = [*texts, *left_over]
        here: set[str] = set()
        for entry in sight.opening if view.mode in (CHECKS, MOVE_ASKED) else ():
            whole = entry_lines(entry, pane.columns - 2)
            if entry.text not in shown and len(lines) + len(whole) <= pane.rows:
                lines += whole
                here.add(entry.text)
        if len(lines) > pane.rows:  # what is asked comes first
            lines = [*left_over, *texts]
        lines, more = lines[: pane.rows], [(f" {line}", style) for line, style in lines[pane.rows :]]
        for n, (line, style) in enumerate(lines):
            pane.put(n, 1, line, style)
        picture = pane.part(len(lines), pane.rows - len(lines))
        if picture.rows <= LEAST_ROWS:
            return here, more
        key = (id(words.job), words.job.setups[view.setup - 1].pattern)
        if self._board is None or self._board[0] != key:
            self._board = key, BoardPicture(words.job.pattern_of(view.setup), words.job.carriage.stop_side)
        self._board[1].draw(picture, 0, picture.rows, view.cut, view.pass_ if calls_a_pass(view, words) else 0)
        return here, more


def _has_room_to_hold(board: Pane) -> bool:
    """Whether the figure of how the board is held has room beside its end."""
    return board.rows >= holding_letters.LEAST_ROWS and board.columns >= 2 * FIGURE_COLUMNS


def _above_list(pane: Pane, sight: Sight) -> Pane:
    """As much of the pane as a list laid over the page leaves free: half a figure could be read as another one."""
    if not sight.note:
        return pane
    keys = regions_of(pane.canvas.columns, pane.canvas.rows)["keys"].rows
    top = _top_of_list(sight.laid_over, pane.canvas.rows, keys)
    return pane.part(0, max(0, top - pane.top))


# --- the regions


def _below(
    panes: dict[str, Pane],
    sight: Sight,
    entries: tuple[LogEntry, ...],
    faults: Sequence[StyledLine],
    more: Sequence[StyledLine],
) -> None:
    """The log. What had no room above is shown here, before it: faults, which are never cut short, and words."""
    pane = panes["log"]
    lines = [*faults, *more]
    heard = bool(sight.heard.given) and len(lines) < pane.rows
    rows = pane.rows - heard
    short = len(lines) - rows
    if short > 0:  # over the lower part of the board
        board = panes["board"]
        over = board.part(board.rows - short, short)
        for n, (line, style) in enumerate(lines[:short]):
            over.put(n, 0, f"{line:{over.columns}}", style)
        lines = lines[short:]
    for n, (line, style) in enumerate(lines):
        pane.put(n, 0, line, style)
    _log(pane.part(len(lines), rows - len(lines)), entries)
    if heard:
        row = pane.part(pane.rows - 1, 1)
        row.put(0, 1, "heard", BOLD)
        row.put(0, 7, cut_to(f"{sight.heard.given} -> {sight.heard.made}", row.columns - 8))


def _head(pane: Pane, status: Status, view: View, job: Job) -> str:
    """The state in its colour, the board and its end, pass and setup. Returns the board if its name has no room."""
    colour = TONE_COLOURS[StatusTone.LOST if status.lost else status.tone]
    for row in range(pane.rows):
        pane.put(row, 0, " " * pane.columns, REVERSE)
        pane.put(row, 0, FULL * BAND, colour | BOLD if colour else REVERSE)
        pane.put(row, pane.columns - BAND, FULL * BAND, colour | BOLD if colour else REVERSE)
    style = REVERSE | BOLD
    word = f"{status.word}, {status.lost}" if status.lost else status.word
    at = f"pass {view.pass_} of {view.passes}" if view.pass_ else done_here(view)
    of = f"setup {setup_of(view)}"
    names = _names(view, job)
    if pane.rows >= LEAST_BIG:
        left = draw_line(pane, 0, BAND + 2, status.word, style) + 3
        right = pane.columns - BAND - 2 - letters.columns_of(at.upper(), 1)
        draw_line(pane, 0, right, at.upper(), style)
        lines = [status.lost] if status.lost else []
        lines += [*wrapped(names[0], right - left - 3)[:2], f"{at}, {of}", job.title]
        for n, line in enumerate(lines[: pane.rows]):
            pane.put(n, left, cut_to(line, right - left - 3), style)
        return ""
    right_text = f"{at}  {of} "
    room_end = pane.columns - BAND - width(right_text)
    pane.put(0, room_end, right_text, style)
    left = pane.put(0, BAND + 1, word, style) + 2
    room = room_end - left - 2
    name = next((each for each in names if width(each) <= room), "")
    left = pane.put(0, left, name or cut_to(names[0], room), style) + 3
    if width(job.title) <= room_end - left - 2:
        pane.put(0, left, job.title, REVERSE)
    return "" if name else names[0].rpartition(", end ")[0] or names[0]


def _names(view: View, job: Job) -> tuple[str, str]:
    """The board with its end: in full, and without its part."""
    if not view.setup:
        return job.title, job.title
    setup, which = job.setups[view.setup - 1], which_of(job, view.setup).removesuffix(" together")
    name = f"{setup.board}{f' {which}' if which else ''}"
    end = "" if job.slotted else f", end {setup.end}"
    end += which_half(setup)
    return f"{name}, part {setup.part}{end}", f"{name}{end}"


def _faults(pane: Pane, sight: Sight) -> tuple[set[str], list[StyledLine]]:
    """What is lost, each as a whole; while nothing is, what the session began with.

    Returns the texts of the log that are shown, and the lines that had no room.
    """
    row, shown, more = 0, set(), []
    for _, text in reversed(sight.faults):
        lines = [f" !! {line}" if n == 0 else f"    {line}" for n, line in enumerate(wrapped(text, pane.columns - 5))]
        if row + len(lines) > pane.rows:
            more += [(line, BOLD) for line in lines]
            continue
        for line in lines:
            pane.put(row, 0, line, BOLD)
            if line.startswith(" !!"):
                pane.put(row, 0, " !!", BOLD | RED | REVERSE)
            row += 1
    if not sight.faults:
        for entry in sight.opening:
            whole = entry_lines(entry, pane.columns - 2)
            if row + len(whole) <= pane.rows:
                shown.add(entry.text)
                for line, style in whole:
                    pane.put(row, 1, line, style)
                    row += 1
    return shown, more


def _progress(pane: Pane, sight: Sight) -> None:
    view = sight.view
    assert view is not None
    left = shown_left(sight.left_s)
    here, whole = f"{view.cut_here}/{view.passes}", f"{view.cut_in_all}/{view.passes_in_all}"
    texts = width(f" here {here}   all {whole}   {left}") + 5
    each = max(4, (pane.columns - texts) // 2)
    parts = [
        f"here {_bar(view.cut_here, view.passes, each)} {here}",
        f"all {_bar(view.cut_in_all, view.passes_in_all, each)} {whole}",
        left,
    ]
    pane.put(0, 1, "   ".join(part for part in parts if part))


def _bar(done: int, of: int, columns: int) -> str:
    full = columns * done // of if of else 0
    return "█" * full + "░" * (columns - full)


def _log(pane: Pane, log: tuple[LogEntry, ...]) -> None:
    """The newest at the bottom; what came longest ago goes first. A long entry is shown from its beginning."""
    lines: list[str] = []
    for entry in reversed(log):
        if entry.klass in ASKING:  # what is asked or set is above already
            continue
        begin = f" {entry.clock} {entry.mark} " if entry.clock else f" {entry.mark} "
        first, *more = wrapped(entry.counted_text, pane.columns - len(begin) - 1) or [""]
        new = [begin + first, *(" " * len(begin) + line for line in more)]
        if lines and len(lines) + len(new) > pane.rows:
            break
        lines = new + lines
    for n, line in enumerate(lines[: pane.rows]):
        last = n == pane.rows - 1 and len(lines) > pane.rows
        pane.put(n, 0, cut_to(f"{line} …" if last else line, pane.columns))


def _keys(pane: Pane, status: Status, meant: Gestures, wait_s: int) -> None:
    """What tap, double tap and long press mean now, each always in its place."""
    colour = TONE_COLOURS[StatusTone.LOST if status.lost else status.tone]
    for row in range(pane.rows):
        pane.put(row, 0, " " * pane.columns, REVERSE)
        pane.put(row, pane.columns - 1, FULL, colour | BOLD if colour else REVERSE)
    named = (("tap", meant.tap), ("double tap", meant.double), ("long press", meant.long))
    for place, (name, meaning) in zip(GESTURE_PLACES, named, strict=True):
        style = REVERSE if meaning == NOTHING else REVERSE | BOLD
        at = int(place * pane.columns)
        pane.put(0, at, "│" if at else " ", REVERSE)
        pane.put(0, at + 1, f"{name}: {meaning}", style)
    if pane.rows > LEAST_BIG:
        _keys_in_blocks(pane.part(1, pane.rows - 1), meant, wait_s)


def _keys_in_blocks(pane: Pane, meant: Gestures, wait_s: int) -> None:
    named = ((Press.TAP, meant.tap), (Press.DOUBLE, meant.double), (Press.LONG, meant.long))
    for place, (press, meaning) in zip(GESTURE_PLACES, named, strict=True):
        short = IN_BLOCKS.get(meaning, meaning.upper())
        if press == Press.LONG and wait_s:
            short = f"WAIT {wait_s}"
        if meaning != NOTHING:
            draw_line(pane, 0, int(place * pane.columns) + 1, f"{press.name} {short}", REVERSE | BOLD)


def _compose_low(canvas: Canvas, sight: Sight, gauges: Gauges) -> None:
    """A page too low for all its parts: what to set or answer, how to clamp the board, then the rest."""
    view, words, room = sight.view, sight.words, max(1, canvas.columns - 2)
    assert view is not None and words is not None
    heading = heading_of(view, words, sight.wait_s)
    pane = Pane(canvas, 0, canvas.rows, canvas.columns)
    lines: list[StyledLine] = []
    if view.mode == CUTTING and view.pass_:
        text = f"{setting_text(view, words)}   pass {view.pass_} of {view.passes}"
        lines = [(line, BOLD) for line in ([text] if width(text) <= room else wrapped(text, room))]
    lines += word_lines(sight, room).required or ([] if lines else [(each, BOLD) for each in heading.left])
    if view.way:
        lines += [(line, 0) for line in wrapped(words.one(view.way), room)]
    row = 0
    fits = canvas.rows - len(lines) >= LEAST_BIG and not heading.whole
    made = blocks_of(Heading((heading.left[heading.alone],), heading.right), room, LEAST_BIG) if fits else None
    if made is not None:
        draw_blocks(pane.part(0, LEAST_BIG), made, Heading(made.lines))
        row = LEAST_BIG
    for line, style in lines[: canvas.rows - row]:
        pane.put(row, 0, cut_to(f" {line}", canvas.columns), style)
        row += 1
    meant = gestures_of(view, sight.wait_s, words)
    hint = f" tap: {meant.tap}   double tap: {meant.double}   long press: {meant.long}"
    rest: list[Callable[[Pane], object]] = [
        lambda at: at.put(0, 0, f"{cut_to(hint, at.columns):{at.columns}}", REVERSE),
        *(partial(_low_fault, text=text) for _, text in sight.faults),
        lambda at: draw_inputs(at, gauges, sight),
        lambda at: _progress(at, sight),
    ]
    for at, draw in zip(range(row, canvas.rows), rest, strict=False):
        draw(pane.part(at, 1))
    if sight.note:
        _overlay(canvas, sight.laid_over, 0)


def _low_fault(pane: Pane, text: str) -> None:
    pane.put(0, 0, cut_to(f" !! {text}", pane.columns), BOLD)


def _top_of_list(text: str, rows: int, above: int) -> int:
    return max(0, rows - len(text.splitlines()) - 2 - above)


def _overlay(canvas: Canvas, text: str, above: int) -> None:
    """A list between two rules over the lower part of the page, above so many lines."""
    lines = text.splitlines()
    if not lines[0].startswith(" "):  # a heading: the lines below it don't need their indent
        lines = [line.removeprefix("  ") for line in lines]
    # In a line that is too long, wide gaps are closed up before anything is cut off.
    lines = [line if width(line) <= canvas.columns else re.sub(r"(?<=\S) {3,}", "  ", line) for line in lines]
    lines = [cut_to(line, canvas.columns) for line in lines]
    top = _top_of_list(text, canvas.rows, above)
    rule = "─" * canvas.columns
    for n, line in enumerate((rule, *lines, rule)):
        canvas.put(top + n, 0, line + " " * (canvas.columns - width(line)))
