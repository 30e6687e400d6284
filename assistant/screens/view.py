"""The terminal view: the session on a full page, to be read from the bench.

Threads: the runner's thread hands over what there is to see and goes on. The view's thread takes the newest, composes a
page and sends what differs from the last page. A terminal that is slow, or not read at all, holds up only the view's
thread, and pages that it missed are never sent.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import TextIO

from assistant.runner.contracts import Inputs
from assistant.screens.line_writer import LineWriter
from assistant.screens.plain import PlainScreen, place_line
from assistant.screens.view_cells import Canvas, changes
from assistant.screens.view_gauges import Gauges, gauges_of
from assistant.screens.view_move import is_moving
from assistant.screens.view_pace import time_lines
from assistant.screens.view_page import PageComposer
from assistant.screens.view_regions import LEAST_COLUMNS, LEAST_LINES
from assistant.screens.view_sight import Gathering, Sight
from assistant.screens.view_terminal import PageTerminal, StopSignals, wants_colour, why_no_page
from assistant.session.effects import View
from assistant.session.events import Event
from assistant.session.facts import Record
from assistant.session.kinds import Klass
from assistant.session.state import ENDED_EARLY, FINISHED
from assistant.wording.prompts import Words

TICK_S = 0.5  # how often size, microphone and pedal are checked
MOVING_TICK_S = 0.1  # the same while the carriage moves
SETTLE_S = 0.02  # from the first news of a turn to a page: by then all the news is in, and its sound has gone out
FRAME_S = 0.05  # the shortest time between two pages
NOTE_S = 20.0  # how long a list covers the page
END_S = 1.0  # for the last page, to a terminal that may no longer be read
MOST_TIMES = 10  # lines of where the time went that are left on the shell's page, the newest setups first


def why_no_view(out: TextIO) -> str:
    """Why the view can't be shown on `out`: "23 rows; 24 are needed"; "" if it can.

    It takes a terminal of at least 80 by 24, in the foreground, with UTF-8.
    """
    return why_no_page(out, LEAST_COLUMNS, LEAST_LINES)


class TerminalView:
    """A screen and a watcher of the runner. Every method but `close` returns at once, from any thread."""

    def __init__(self, out: TextIO, session: str, displayed: Callable[[int], None] | None = None) -> None:
        """Takes the terminal. out: see `why_no_view`. session: its id, shown at the end. Raises OSError.

        displayed: called on the view's thread with the generation of what is open, once the terminal has taken it.
        gauges: microphone and pedal, nothing before `settle`; called on the view's thread.
        """
        self.gauges: Callable[[], Gauges] = Gauges
        self._out, self._session, self._displayed = out, session, displayed
        self._reported = -1
        self._lock = threading.Lock()
        self._gathering = Gathering()
        self._note_ends = 0.0
        self._composer = PageComposer()
        self._colour = wants_colour()
        self._plain: PlainScreen | None = None
        self._shown: tuple[Sight, Gauges, int, int, int, str] | None = None
        self._canvas: Canvas | None = None
        self._moving = False  # the carriage, on the page now
        self._unknown = False  # the terminal's contents are unknown: the next page is sent whole
        self._away = False  # a shell has the terminal
        self._wake, self._closing = threading.Event(), threading.Event()
        self._terminal = PageTerminal(out)
        self._stops: StopSignals | None = None
        self._thread = threading.Thread(target=self._run, name="view", daemon=True)
        self._thread.start()

    # --- from the runner's thread and others

    def show(self, view: View, line: str | None, words: Words, klass: Klass = Klass.LINE) -> None:
        with self._lock:
            self._gathering.show(view, line, words, klass)
        self._wake.set()
        if self._plain is not None:
            self._plain.show(view, line, words, klass)

    def said(self, text: str, klass: Klass, record: str) -> None:
        with self._lock:
            self._gathering.said(text, klass, record)
        self._wake.set()
        if self._plain is not None:
            self._plain.said(text, klass, record)

    def turn(self, event: Event, records: Sequence[Record]) -> None:
        with self._lock:
            self._gathering.turn(event, records)
        self._wake.set()

    def note(self, text: str, for_s: float | None = None) -> None:
        """A line for the log, or a list over the page until the next answer or for `for_s` seconds (default 20 s)."""
        with self._lock:
            self._gathering.note(text)
            if "\n" in text:
                self._note_ends = time.monotonic() + (NOTE_S if for_s is None else for_s)
        self._wake.set()
        if self._plain is not None:
            self._plain.note(text)

    def withdraw(self, text: str) -> None:
        """Remove this list if it covers the page. Lines stay."""
        with self._lock:
            if self._gathering.sight.note == text:
                self._gathering.end_note()
        self._wake.set()

    def before(self, records: Sequence[Record]) -> None:
        """The facts of the resumed session: they give the pace so far."""
        with self._lock:
            self._gathering.pace.take(records)

    def look(self) -> None:
        """Microphone or pedal may have changed: check at once."""
        self._wake.set()

    # --- the terminal's states; from the main thread

    def settle(self, inputs: Callable[[], Inputs]) -> None:
        """Show the inputs from now on. Give the page back on Ctrl-Z, and take it again afterwards.

        Call this after all other signal handlers are set, because these handlers call those.
        """

        def gauges() -> Gauges:
            now = inputs()
            return gauges_of(now.voice, now.level, now.pedal, now.down, now.keys, now.position)

        self.gauges = gauges
        self._stops = StopSignals(self._give_page_back, self._take_page_again)

    def _give_page_back(self) -> None:
        self._away = True
        self._terminal.leave()

    def _take_page_again(self) -> None:
        self._away, self._unknown = False, True
        self._wake.set()

    def close(self) -> None:
        """Give the terminal back, and write on it where the session stands. Calling it again does nothing."""
        if self._closing.is_set():
            return
        self._closing.set()
        self._wake.set()
        if self._stops is not None:
            self._stops.release()
        self._thread.join(END_S)
        self._terminal.close()
        if self._plain is not None:
            self._plain.close()
            return
        # The page is gone from the terminal, so plain lines say how the session ended.
        sight = self._gathering.sight
        screen = PlainScreen(self._out, writer=LineWriter(self._out))
        for text in time_lines(sight.times)[:MOST_TIMES] if sight.times is not None else ():
            screen.note(f"-- {text}.")
        if sight.closing and sight.view is not None and sight.view.mode in (FINISHED, ENDED_EARLY):
            screen.said(sight.closing, Klass.END, "")
        if sight.view is not None and sight.words is not None:
            screen.note(f"-- Session {self._session}: {place_line(sight.view, sight.words)}")
        screen.close()

    # --- the view's thread

    def _run(self) -> None:
        try:
            while not self._closing.is_set():
                self._wake.wait(MOVING_TICK_S if self._moving else TICK_S)
                self._closing.wait(SETTLE_S)
                # Before the page is made: what comes meanwhile must wake it again.
                self._wake.clear()
                self._draw()
                self._closing.wait(FRAME_S)
        except Exception as error:  # the session goes on, and so does the screen, in plain lines
            self._terminal.leave()
            self._plain = PlainScreen(self._out, writer=LineWriter(self._out, self._displayed))
            self._plain.note(f"!! The terminal view failed ({error!r}); plain lines from here on.")

    def _draw(self) -> None:
        if self._away or not (self._terminal.entered or self._terminal.enter(self._closing.is_set)):
            return
        if self._unknown:
            self._unknown, self._canvas, self._shown = False, None, None
        columns, rows = self._terminal.size()
        with self._lock:
            if self._gathering.sight.note and time.monotonic() > self._note_ends:
                self._gathering.end_note()
            if not self._gathering.whole:  # the rest of this turn wakes us
                return
            sight = self._gathering.sight
        gauges, now = self.gauges(), datetime.now()
        self._moving = sight.view is not None and sight.words is not None and is_moving(sight.view, sight.words)
        if not self._moving:
            # Nothing shows it then, and no page is to be made for it.
            gauges = replace(gauges, position=None)
        # While the time is on the page, each minute makes a new one.
        seen = sight, gauges, columns, rows, sight.wait_s, f"{now:%H:%M}" if sight.times is not None else ""
        if seen == self._shown or not columns or not rows:
            return
        page = self._composer.compose(sight, gauges, columns, rows, now)
        same_size = self._canvas is not None and (self._canvas.columns, self._canvas.rows) == (columns, rows)
        sent = changes(self._canvas if same_size else None, page, self._colour)
        whole = self._terminal.write(sent, self._closing.is_set)
        # A page that was only partly sent leaves the terminal unknown, so the next is sent whole.
        self._shown, self._canvas = (seen, page) if whole else (None, None)
        # What is open can be read now, unless a list covers it.
        if not whole or sight.view is None or sight.note or self._displayed is None:
            return
        if sight.view.generation != self._reported:
            self._reported = sight.view.generation
            self._displayed(self._reported)
