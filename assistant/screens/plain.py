"""Plain lines on any terminal: what is said, what happened, and where the session is."""

from __future__ import annotations

import math
import shutil
import sys
from dataclasses import replace
from typing import TextIO

from assistant.joinery.settings import reading
from assistant.screens.line_writer import LineWriter
from assistant.screens.view_cells import width, wrapped
from assistant.screens.view_move import (
    CARRIAGE_LOST,
    MOVES,
    OF_THE_DRIVE,
    WAITS,
    by_hand,
    is_lost,
    place,
    stands_for_a_cut,
    way,
)
from assistant.screens.view_sight import ASKING
from assistant.screens.view_words import GAP, asked_first, card_of, check_count, hint_of, next_of, setup_of
from assistant.session.effects import View
from assistant.session.kinds import Klass
from assistant.session.state import CHECKS, CUTTING, ENDED_EARLY, FINISHED, HALTED
from assistant.wording.dial import has_dial
from assistant.wording.joining import YES_NO
from assistant.wording.prompts import Words

MARKS = {
    Klass.SETTING: ">>",
    Klass.CHECK: "??",
    Klass.MOVE: "??",
    Klass.QUESTION: "??",
    Klass.NOTICE: "!!",
    Klass.CAUTION: "!!",
    Klass.REFUSED: "..",
}
INDENT = 3
WHOLE = (Klass.SETTING, Klass.CHECK, Klass.MOVE, Klass.QUESTION, Klass.CLAMP, Klass.CAUTION, Klass.END, Klass.CODE)
"""Announcements that are written in full, since the place line that follows refers to them; else only what happened."""


class PlainScreen:
    """One entry for each announcement and each change of place; no colour, no cursor movement; wrapped on a terminal.

    Lines stay when the state changes, so gestures are explained only in the place line: the newest one is right.
    """

    def __init__(self, out: TextIO, keys: bool | None = None, writer: LineWriter | None = None):
        """keys: whether keys are read here, so that the way to leave is shown; None: if the input is a terminal.

        writer: writes the lines to `out`, in its own time; None: they are written at once.
        """
        self._writer = writer
        self._keys = sys.stdin is not None and sys.stdin.isatty() if keys is None else keys
        self._out = out
        self._last = ""
        self._meant: tuple[str, bool] = "", False
        self._way = self._card = ""
        self._repeats, self._times, self._counted = "", 0, 0
        self._generation: int | None = None

    def said(self, text: str, klass: Klass, record: str) -> None:
        """text: one line for each row; the first must be readable from a distance."""
        kept = text.removesuffix(YES_NO).rstrip() if klass in WHOLE else record
        if not kept:
            return
        entry = f"{MARKS.get(klass, '--')} " + kept.replace("\n", "\n   ")
        if klass not in WHOLE:
            self._write_once(entry)
            return
        # A repeated announcement counts as shown even if the terminal had not taken it the first time.
        self._write(entry, self._generation if klass in ASKING else None)

    def show(self, view: View, line: str | None, words: Words, klass: Klass = Klass.LINE) -> None:
        hint = hint_of(view, words, self._keys).replace(GAP, "; ")
        first = bool(line) and self._write_once(f".. {line}")
        # The place line says how long to wait. It doesn't count down, because lines stay.
        here = place_line(replace(view, wait_s=0.0), words)
        if here != self._last:
            place, meant = place_line(view, words), (view.mode, is_lost(view, words))
            self._write(f"   [{place}]" if meant == self._meant or not hint else f"   [{place}; {hint}]")
            self._last, self._meant = here, meant
            way = words.one(view.way) if view.way else ""
            if way != self._way:
                self._way = way
                self._write(f"   [{way}]")
            # Not with what was said, since it is shown again after each question that is asked meanwhile.
            card = card_of(view, words)
            if card != self._card:
                self._card = card
                if card:
                    self._write(f"   [{card}]")
        elif first and hint and view.mode in (FINISHED, ENDED_EARLY):
            self._write(f"   [{hint}]")
        self._generation = view.generation
        if self._writer is not None:
            self._writer.report(view.generation)

    def note(self, text: str, for_s: float | None = None) -> None:
        """A message for the operator that is no part of the session, such as the list of keys. Lines stay."""
        self._write(text)

    def withdraw(self, text: str) -> None:
        """Lines stay; another note says what became of it."""

    def close(self) -> None:
        """Let the writer finish."""
        self._end_repeats()
        if self._writer is not None:
            self._writer.close()

    def _write_once(self, text: str) -> bool:
        """Write what happened once, and only count the same again. Returns whether it was written.

        Lines can't be taken back. So the count is written whenever it has doubled, which shows each press soon, and
        when something else follows.
        """
        if text != self._repeats:
            self._write(text)
            self._repeats, self._times, self._counted = text, 1, 1
            return True
        self._times += 1
        if self._times >= 2 * self._counted:
            self._write_times()
        return False

    def _end_repeats(self) -> None:
        if self._times > self._counted:
            self._write_times()
        self._repeats = ""

    def _write_times(self) -> None:
        self._counted = self._times
        self._put(f"   ({self._times} times)")

    def _write(self, text: str, says_again: int | None = None) -> None:
        self._end_repeats()
        self._put(text, says_again)

    def _put(self, text: str, says_again: int | None = None) -> None:
        if self._writer is not None:
            self._writer.put("\n".join(self._wrapped(text)) + "\n", says_again)
            return
        try:
            self._out.write("\n".join(self._wrapped(text)) + "\n")
            self._out.flush()
        except (OSError, ValueError):
            # The terminal is gone; the voice and the journal go on without it.
            return

    def _wrapped(self, text: str) -> list[str]:
        if not self._out.isatty():
            return [text]
        columns = max(40, shutil.get_terminal_size().columns - 1)
        lines: list[str] = []
        for line in text.splitlines():
            if width(line) <= columns:
                lines.append(line)
                continue
            lead = line[: len(line) - len(line.lstrip())]
            first, *more = wrapped(line, columns - max(len(lead), INDENT))
            lines += [lead + first, *(" " * INDENT + each for each in more)]
        return lines


def place_line(view: View, words: Words) -> str:
    """Where the session is, in figures: "setup 1/8, pass 3/14, set 12.35 mm, 2 cut here, 2 of 112 in all"."""
    parts = [f"setup {setup_of(view).replace(' of ', '/')}"]
    if view.mode in OF_THE_DRIVE or is_lost(view, words):
        parts.append(_driven(view, words))
    elif view.mode == CUTTING and view.pass_:
        parts.append(f"pass {view.pass_}/{view.passes}")
        if stands_for_a_cut(view, words):
            parts.append(f"STANDS AT {place(words, view.setting)}")
        elif has_dial(words.carriage):
            parts.append(words.shown_call(view.setting, view.previous, view.approach))
        else:
            parts.append(f"SET {reading(words.carriage, view.setting)}")
    elif view.check and view.mode == CHECKS:
        parts.append(f"check: {view.check}")
        if count := check_count(view):
            parts.append(count)
        if view.wait_s:
            parts.append(f"wait {math.ceil(view.wait_s)} s")
    else:
        parts.append(view.mode)
    if first := asked_first(view):
        parts.append(f"will ask first: {'; '.join(first)}")
    if following := next_of(view, words):
        parts.append(following)
    done = "done" if view.mode in OF_THE_DRIVE or is_lost(view, words) else "cut"
    parts.append(f"{view.cut_here} {done} here, {view.cut_in_all} of {view.passes_in_all} in all")
    return ", ".join(parts)


def _driven(view: View, words: Words) -> str:
    """What a driven carriage does, or what it waits for. A line can't follow it, so it has no place while it moves."""
    if view.mode == CUTTING:
        return f"pass {view.pass_}/{view.passes}, {CARRIAGE_LOST}"
    if by_hand(view, words):
        return "to be zeroed by hand" if view.mode in WAITS else "zeroing by hand"
    if view.mode == HALTED and view.reported is not None:
        return f"HALTED AT {place(words, view.reported)}, {way(view, words)} is left"
    return f"{'MOVES' if view.mode in MOVES else 'waits to move'} {way(view, words).upper()}"
