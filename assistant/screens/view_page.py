"""The whole page: how its lines are shared out, and each part. Pure: a sight and a size make a canvas.

From the top: which board; how to clamp it; the setting, or the question, in big letters; the same in words; what the
pedal does now; the board; progress; what was said; what is lost; what was heard; microphone and pedal.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from assistant.joinery.settings import reading
from assistant.plans.model import Job
from assistant.screens import view_letters as letters
from assistant.screens.view_board import LEAST_ROWS, BoardPicture
from assistant.screens.view_cells import BOLD, RED, REVERSE, Canvas, cut_to, width, wrapped
from assistant.screens.view_pace import shown_left
from assistant.screens.view_sight import ASKING, LastInput, LogEntry, Sight
from assistant.screens.view_words import WordLines, hint_of, unbroken, which_of, word_lines, zone_of
from assistant.session.effects import View
from assistant.session.state import CHECKS, CUTTING, ENDED_EARLY, FINISHED, QUESTION, STANDING_BY
from assistant.wording import dial
from assistant.wording.prompts import Words

LEAST_COLUMNS, LEAST_LINES = 80, 24  # a new terminal window's usual size (common practice, no source)
HEADINGS = {STANDING_BY: "STANDING BY", FINISHED: "ALL CUT", ENDED_EARLY: "ENDED EARLY"}
QUESTIONS = {
    "back": "BACK TO {pass_}?",
    "go to": "GO TO {pass_}?",
    "end": "END IT?",
    "carriage": "UNTOUCHED?",
    "zeroed": "ZEROED?",
    "clamped": "STILL CLAMPED?",
    "registered": "CLAMPED AGAIN?",
}
# (zone, lines): given out in this order while any are left, after the words that must be shown.
SHARES = (
    ("board", 5),
    ("big", 8),
    ("log", 1),
    ("board", 6),
    ("log", 4),
    ("big", 14),
    ("board", 10),
    ("big", 24),
    ("log", 1000),
)
LEAST_BIG = 4  # lines: the smallest letters
FIXED = 5  # header, hint, progress, heard, gauges
MOST_FAULTS = 2
METER_CELLS = 12
METER_FROM, METER_TO = -70.0, -10.0  # dBFS: a quiet room, and speech close to clipping
SILENT = -85.0  # dBFS: no microphone with its gain up is so quiet


@dataclass(frozen=True, slots=True)
class Gauges:
    """voice: works | off (not asked for) | missing. level: of the microphone, in cells of the meter; None: no sound.

    silent: so quiet that it must be muted. pedal: heard | off | lost. down: its key is pressed. keys: whether the
    terminal's keys are read.
    """

    voice: str = "off"
    level: int | None = None
    silent: bool = False
    pedal: str = "off"
    down: bool = False
    keys: bool = True


def gauges_of(voice: str, level: float | None, pedal: str, down: bool, keys: bool = True) -> Gauges:
    """The gauges for these inputs. level: of the microphone, dBFS; None if it gives no sound."""
    if level is None:
        return Gauges(voice, None, False, pedal, down, keys)
    share = (level - METER_FROM) / (METER_TO - METER_FROM)
    return Gauges(voice, min(max(round(share * METER_CELLS), 0), METER_CELLS), level <= SILENT, pedal, down, keys)


class PageComposer:
    """Composes pages; keeps the picture of the board from one page to the next."""

    def __init__(self) -> None:
        self._board: tuple[tuple[int, int], BoardPicture] | None = None

    def compose(self, sight: Sight, gauges: Gauges, columns: int, rows: int) -> Canvas:
        """A page of exactly this size; if it is too small, the least important parts are dropped."""
        canvas = Canvas(columns, rows)
        if sight.view is None or sight.words is None:
            _log(canvas, 0, rows - 1, sight.log)
            _gauges(canvas, rows - 1, gauges, sight)
            return canvas
        heading = heading_of(sight.view, sight.words, sight.wait_s)
        faults = sight.faults[:MOST_FAULTS]
        words = word_lines(sight, max(1, columns - 2))
        lines = rows - FIXED - len(faults)
        way = _way_lines(sight, words, lines, max(1, columns - 2), heading.least_rows)
        lines -= len(way)
        if lines < LEAST_BIG + len(words.required):
            _compose_low(canvas, sight, gauges, heading, words)
            return canvas
        least = heading.least_rows if heading.least_rows + len(words.required) <= lines else LEAST_BIG
        share = shared_out(lines, len(words.required), len(words.lines), least)
        row = _header(canvas, 0, sight.view, sight.words.job)
        for line in way:
            _line(canvas, row, f" {line}")
            row += 1
        row = _big(canvas, row, share["big"], heading)
        for n, (line, style) in enumerate(words.in_rows(share["words"], columns - 2)):
            canvas.put(row + n, 1, line, style)
        row = _hint(canvas, row + share["words"], sight.view, gauges.keys)
        row = self._draw_board(canvas, row, share["board"], sight.view, sight.words.job)
        row = _progress(canvas, row, sight)
        # What is lost stays below the log, and the words above already show some of the log's texts whole.
        elsewhere = {text for _, text in sight.faults} | words.texts(share["words"])
        row = _log(canvas, row, share["log"], tuple(entry for entry in sight.log if entry.text not in elsewhere))
        for _, text in faults:
            row = _fault(canvas, row, text)
        _heard(canvas, row, sight.heard)
        _gauges(canvas, row + 1, gauges, sight)
        if sight.note:
            _overlay(canvas, sight.laid_over)
        return canvas

    def _draw_board(self, canvas: Canvas, row: int, rows: int, view: View, job: Job) -> int:
        if rows and view.setup:
            key = (id(job), job.setups[view.setup - 1].pattern)
            if self._board is None or self._board[0] != key:
                self._board = key, BoardPicture(job.pattern_of(view.setup), job.carriage.stop_side)
            self._board[1].draw(canvas, row, rows, view.cut, view.pass_ if view.mode == CUTTING else 0)
        return row + rows


def shared_out(lines: int, required: int = 2, words: int = 0, least: int = LEAST_BIG) -> dict[str, int]:
    """Zone -> lines; all `lines` are given out as far as the zones want them. A board with too few lines gets none.

    required, words: lines of words that must be shown, and all there are. least: lines that the big letters always get.
    """
    share = {"big": 0, "words": 0, "board": 0, "log": 0}
    left = max(0, lines)
    for zone, wanted in (("big", least), ("words", required), ("words", words), *SHARES):
        more = min(wanted - share[zone], left)
        # Letters grow by whole lines. Lines that would only space them out go to the other zones.
        short = zone == "board" and share[zone] + more <= LEAST_ROWS or zone == "big" and share[zone] + more < wanted
        if more <= 0 or short:
            continue
        share[zone] += more
        left -= more
    return share


@dataclass(frozen=True, slots=True)
class Heading:
    """What the big letters say.

    left: lines in capitals. right: beside them, smaller. alone: which of the left lines stays if there is room for only
    one. whole: the lines are shown together or not at all.
    """

    left: tuple[str, ...]
    right: str = ""
    alone: int = 0
    whole: bool = False

    @property
    def least_rows(self) -> int:
        return len(self.left) * LEAST_BIG if self.whole else LEAST_BIG


def heading_of(view: View, words: Words, wait_s: int = 0) -> Heading:
    """The called setting with its pass; else the open check or question with its figure; else the mode.

    wait_s: until the open check can be confirmed.
    """
    if view.mode == CUTTING and view.pass_:
        lines = big_setting(view, words)
        # What is left beyond a 64th means nothing alone; where a move ends does.
        whole = len(lines) > 1 and not dial.has_dial(words.carriage)
        return Heading(lines, f"{view.pass_}/{view.passes}", alone=-1, whole=whole)
    asked = dict(view.asked.figures) if view.asked else {}
    if view.mode == QUESTION:
        name = QUESTIONS.get(view.question, view.question.upper() + "?").format(pass_=asked.get("pass_", ""))
        figure = big_place(words, asked["carriage_at"]) if view.question == "carriage" else ""
        return Heading((name, figure) if figure else (name,))
    if view.mode == CHECKS and view.check:
        zone = zone_of(view, words)
        if zone:
            return Heading(zone, whole=True)
        figure = check_figure(words, asked)
        name = letters.plain_capitals(view.check)
        return Heading((name, figure) if figure else (name,), f"WAIT {wait_s}" if wait_s else "")
    return Heading((HEADINGS.get(view.mode, letters.plain_capitals(view.mode)),))


def big_setting(view: View, words: Words) -> tuple[str, ...]:
    """What to set, a line each.

    For a handwheel the move and where it ends, in turns and marks: "UP 1+22", "TO 9+21", or the place to go to first;
    else the setting as the carriage shows it, with what is left beyond a 64th below it: "1-3/8", "+ 0.002".
    """
    carriage, start = words.carriage, view.previous or Fraction(0)
    if not dial.has_dial(carriage):
        return tuple(re.sub(r" (?=[+-] )", "\n", big_place(words, view.setting)).split("\n"))
    if view.approach is None or view.approach == start:
        return dial.big_move(carriage, start, view.setting), f"TO {big_place(words, view.setting)}"
    first, last = dial.ways(start, view.approach, view.setting)
    return tuple(
        f"{way.upper()} TO {big_place(words, place)}" for way, place in ((first, view.approach), (last, view.setting))
    )


def big_place(words: Words, setting: Any) -> str:
    """As the carriage shows it; for a handwheel without words: full turns, then the mark."""
    if dial.has_dial(words.carriage):
        return dial.big_place(words.carriage, setting)
    return unbroken(reading(words.carriage, setting))


def check_figure(words: Words, asked: dict[str, Any]) -> str:
    """The figure that a check asks for, in capitals; "" if it asks for none."""
    figures = Words(words.job, figures=True)
    if "{depth}" in asked.get("say", ""):
        return letters.plain_capitals(figures.depth(asked["depth"]))
    if "{sockets}" in asked.get("say", ""):
        return f"COUNT {asked['sockets']}"
    return ""


# --- the parts, each drawn from a line on; they return the line after it


def _line(canvas: Canvas, row: int, text: str, style: int = 0) -> None:
    canvas.put(row, 0, cut_to(text, canvas.columns), style)


def _fault(canvas: Canvas, row: int, text: str) -> int:
    _line(canvas, row, f" !! {text}", BOLD | RED)
    return row + 1


def _header(canvas: Canvas, row: int, view: View, job: Job) -> int:
    canvas.put(row, 0, " " * canvas.columns, REVERSE)
    right = f" {view.mode}   setup {view.setup} of {view.setups} "
    left = f" {job.title}"
    if view.setup:
        setup, which = job.setups[view.setup - 1], which_of(job, view.setup).removesuffix(" together")
        left = f" {setup.board}{f' {which}' if which else ''}, part {setup.part}"
    canvas.put(row, 0, cut_to(left, canvas.columns - width(right)), REVERSE | BOLD)
    canvas.put(row, max(0, canvas.columns - width(right)), right, REVERSE | BOLD)
    title = cut_to(job.title, canvas.columns - width(left) - width(right) - 6)
    if view.setup and width(title) > 8:
        canvas.put(row, width(left) + 3, title, REVERSE)
    return row + 1


def _way_lines(sight: Sight, words: WordLines, lines: int, room: int, big: int) -> list[str]:
    """How to clamp the board, whole; in one line, which may be cut off, if the words below give it in full."""
    assert sight.view is not None and sight.words is not None
    if not sight.view.way:
        return [""]
    way = sight.words.one(sight.view.way)
    clamp = next((clamp_lines for text, clamp_lines in words.optional if text == sight.clamp), ())
    if clamp and 1 + big + len(words.required) + len(clamp) <= lines:
        return [way]
    return wrapped(way, room)


def _big(canvas: Canvas, row: int, rows: int, heading: Heading) -> int:
    """The biggest letters that fit, with the right part at half their scale, or in plain text if it won't fit."""
    room = canvas.columns - 2
    beside = f" {heading.right}" if heading.right else ""
    for lines in _candidates(heading):
        for right in (beside, ""):
            scale = _scale(lines, right, room, rows)
            if scale:
                _blocks(canvas, row, rows, lines, right, scale)
                if beside and not right:
                    canvas.put(row + rows - 1, canvas.columns - len(beside) - 1, beside, BOLD | REVERSE)
                return row + rows
    text = "  ".join((*heading.left, *([heading.right] if heading.right else [])))
    for n, line in enumerate(wrapped(text, room)[:rows]):
        canvas.put(row + n, 1, line, BOLD)
    return row + rows


def _candidates(heading: Heading) -> list[list[str]]:
    """The lines as they are; a long name in two lines; one line alone. If whole: as they are, or split ranges."""
    if heading.whole:
        broken = "\n".join(heading.left).replace(" TO ", " TO\n").split("\n")
        return [list(heading.left), broken]
    name, *figure = heading.left
    alone = heading.left[heading.alone]
    found = [[name, *figure], [*letters.in_two_lines(name), *figure], [alone], letters.in_two_lines(alone)]
    return [lines for n, lines in enumerate(found) if lines not in found[:n]]


def _scale(lines: list[str], right: str, columns: int, rows: int) -> int:
    """The largest scale at which the lines fit with the right part beside them; 0 if they are better without it."""
    scale = alone = letters.largest_scale(lines, columns, rows)
    if not right:
        return scale
    while scale > 1 and _with_right(lines, right, scale) > columns:
        scale -= 1
    # A setting isn't made small for the sake of its pass: it is better alone.
    if scale and (_with_right(lines, right, scale) > columns or scale < min(alone, 2)):
        return 0
    return scale


def _with_right(lines: list[str], right: str, scale: int) -> int:
    longest = max(letters.columns_of(line, scale) for line in lines)
    return longest + letters.columns_of(right, max(1, scale // 2)) + 1


def _blocks(canvas: Canvas, row: int, rows: int, lines: list[str], right: str, scale: int) -> None:
    """The lines in the middle of their zone, the right part on the same baseline."""
    high = letters.rows_of(scale)
    step = high + (1 if len(lines) * (high + 1) - 1 <= rows else 0)
    top = row + max(0, rows - (len(lines) - 1) * step - high) // 2
    for n, line in enumerate(lines):
        _letters(canvas, top + n * step, 1, letters.big(line, scale))
    if right:
        small = max(1, scale // 2)
        left = canvas.columns - 1 - letters.columns_of(right, small)
        _letters(canvas, top + high - letters.rows_of(small), left, letters.big(right, small))


def _letters(canvas: Canvas, row: int, column: int, drawn: list[str]) -> None:
    for n, line in enumerate(drawn):
        canvas.put(row + n, column, line, BOLD)


def _compose_low(canvas: Canvas, sight: Sight, gauges: Gauges, heading: Heading, words: WordLines) -> None:
    """A page too low for all its parts: what to set or answer, how to clamp the board, then the rest."""
    view, room = sight.view, max(1, canvas.columns - 2)
    assert view is not None and sight.words is not None
    lines = [*words.required] or [(line, BOLD) for line in wrapped("  ".join(heading.left), room)]
    if view.way:
        lines += [(line, 0) for line in wrapped(sight.words.one(view.way), room)]
    row = 0
    alone = heading.left[heading.alone]
    fits = canvas.rows - len(lines) >= LEAST_BIG and not heading.whole
    if fits and letters.largest_scale([alone], room, LEAST_BIG):
        row = _big(canvas, 0, LEAST_BIG, Heading((alone,), heading.right))
    for line, style in lines[: canvas.rows - row]:
        _line(canvas, row, f" {line}", style)
        row += 1
    rest: list[Callable[[int], object]] = [
        lambda at: _hint(canvas, at, view, gauges.keys),
        *(functools.partial(_fault, canvas, text=text) for _, text in sight.faults[:MOST_FAULTS]),
        lambda at: _gauges(canvas, at, gauges, sight),
        lambda at: _progress(canvas, at, sight),
        lambda at: _heard(canvas, at, sight.heard),
    ]
    for at, draw in zip(range(row, canvas.rows), rest, strict=False):
        draw(at)
    if sight.note:
        _overlay(canvas, sight.laid_over)


def _hint(canvas: Canvas, row: int, view: View, keys: bool) -> int:
    """What each gesture does now; a key only where keys are read."""
    _line(canvas, row, f" {hint_of(view, keys)}")
    return row + 1


def _progress(canvas: Canvas, row: int, sight: Sight) -> int:
    view = sight.view
    assert view is not None
    left = shown_left(sight.left_s)
    here, whole = f"{view.cut_here}/{view.passes}", f"{view.cut_in_all}/{view.passes_in_all}"
    texts = width(f" here {here}   all {whole}   {left}") + 4
    each = max(4, min(30, (canvas.columns - texts) // 2))
    parts = [
        f"here {_bar(view.cut_here, view.passes, each)} {here}",
        f"all {_bar(view.cut_in_all, view.passes_in_all, each)} {whole}",
        left,
    ]
    _line(canvas, row, " " + "   ".join(part for part in parts if part))
    return row + 1


def _bar(done: int, of: int, columns: int) -> str:
    full = columns * done // of if of else 0
    return "█" * full + "░" * (columns - full)


def _log(canvas: Canvas, row: int, rows: int, log: tuple[LogEntry, ...]) -> int:
    """The newest at the bottom. What is asked or set is above already. A long entry is shown from its beginning."""
    lines: list[str] = []
    for entry in reversed(log):
        if entry.klass in ASKING:
            continue
        first, *more = wrapped(entry.counted_text, canvas.columns - 4) or [""]
        new = [f" {entry.mark} {first}", *(f"    {line}" for line in more)]
        if lines and len(lines) + len(new) > rows:
            break
        lines = new + lines
    for n, line in enumerate(lines[:rows]):
        last = n == rows - 1 and len(lines) > rows
        _line(canvas, row + n, cut_to(f"{line} …", canvas.columns - 1) if last else line)
    return row + rows


def _heard(canvas: Canvas, row: int, heard: LastInput) -> None:
    if heard.given:
        canvas.put(row, 0, " heard ", BOLD)
        canvas.put(row, 7, cut_to(f"{heard.given} -> {heard.made}", canvas.columns - 8))


def _gauges(canvas: Canvas, row: int, gauges: Gauges, sight: Sight) -> None:
    keys = " ?: keys " if gauges.keys else ""
    end = canvas.columns - len(keys)
    at = canvas.put(row, 1, f"mic {_microphone(gauges, sight.speaking)}")
    pedal = "DOWN " if gauges.down else "heard"
    if gauges.pedal != "heard":
        pedal = f"{gauges.pedal}{': keys' if gauges.keys else ''}"
    at = canvas.put(row, at + 3, f"pedal {pedal}", BOLD | REVERSE if gauges.down else 0)
    given = sight.hands.given
    if gauges.pedal == "heard":  # the row is full at 80 columns, and the pedal has just been named
        given = given.removeprefix("pedal ")
    if given:
        canvas.put(row, at + 3, cut_to(f"{given} -> {sight.hands.made}", max(0, end - at - 3)))
    canvas.put(row, max(0, end), keys)


def _microphone(gauges: Gauges, speaking: bool) -> str:
    if gauges.voice != "works":
        return gauges.voice
    if gauges.level is None:
        return "no sound"
    if gauges.silent:
        return f"{'SILENT: muted?':{METER_CELLS}}"
    bar = "█" * gauges.level + "░" * (METER_CELLS - gauges.level)
    return f"{bar} {'waits' if speaking else 'open '}"


def _overlay(canvas: Canvas, text: str) -> None:
    """A list between two rules over the lower part of the page."""
    lines = text.splitlines()
    if not lines[0].startswith(" "):  # a heading: the lines below it don't need their indent
        lines = [line.removeprefix("  ") for line in lines]
    # In a line that is too long, wide gaps are closed up before anything is cut off.
    lines = [line if width(line) <= canvas.columns else re.sub(r"(?<=\S) {3,}", "  ", line) for line in lines]
    lines = [cut_to(line, canvas.columns) for line in lines]
    top = max(0, canvas.rows - len(lines) - 3)
    rule = "─" * canvas.columns
    for n, line in enumerate((rule, *lines, rule)):
        canvas.put(top + n, 0, line + " " * (canvas.columns - width(line)))
