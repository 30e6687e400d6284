"""A terminal used for a whole page: the alternate screen, its size, writing to it, and putting everything back.

Writes go through our own open file on the terminal, so that it can be set to non-blocking without affecting the shell.
Anything that others write to the standard error would break the page, so it is kept and written out at the end.
"""

from __future__ import annotations

import atexit
import codecs
import contextlib
import os
import select
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from typing import Any, TextIO

# The alternate screen; no cursor; no wrapping at the last column.
ENTER = "\x1b[?1049h\x1b[?25l\x1b[?7l"
# A terminal without an alternate screen is cleared instead of being left with half a page.
LEAVE = "\x1b[0m\x1b[2J\x1b[H\x1b[?7h\x1b[?25h\x1b[?1049l"
CUT_SHORT = "\x18"  # ends a control sequence that was only partly sent
LOOK_EVERY_S = 0.2  # how often to check whether a write has been given up meanwhile
MOST_KEPT = 64 * 1024  # bytes of the standard error
UNFIT = ("", "dumb", "unknown")


def why_no_page(out: TextIO, columns: int, rows: int) -> str:
    """Why `out` can't hold a page of at least this size, in a few words; "" if it can.

    It must be a terminal that can place the cursor and show block characters, and be ours just now.
    """
    if sys.platform == "win32":
        return "on Windows there is no page"
    if out is None or out.closed or not out.isatty():
        return "the output is not a terminal"
    kind = os.environ.get("TERM", "")
    if kind in UNFIT:
        return f"the terminal's kind (TERM) is {kind or 'not set'}; one that can place the cursor is needed"
    try:
        encoding = codecs.lookup(out.encoding or "").name
    except LookupError:
        encoding = "unknown"
    if encoding != "utf-8":
        return f"the encoding is {encoding}; UTF-8 is needed"
    try:
        size = os.get_terminal_size(out.fileno())
        foreground = os.tcgetpgrp(out.fileno()) == os.getpgrp()
    except OSError:
        return "the terminal does not give its size"
    if not foreground:
        return "the program is in the background"
    if size.columns < columns:
        return f"{size.columns} columns; {columns} are needed"
    return f"{size.lines} rows; {rows} are needed" if size.lines < rows else ""


def wants_colour() -> bool:
    """NO_COLOR, set to anything but the empty text, asks for no colour (no-color.org)."""
    return not os.environ.get("NO_COLOR")


class PageTerminal:
    """`enter` and `write` belong to one thread. Everything else is safe from any thread, and from a signal handler."""

    def __init__(self, out: TextIO) -> None:
        """out: a terminal, see `why_no_page`. Raises OSError where it can't be opened."""
        out.flush()
        self._fd = os.open(os.ttyname(out.fileno()), os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
        self._lock = threading.Lock()
        self._entered = False
        self._open = True
        self._by_half = False
        self._kept = _KeptErrors(out)
        atexit.register(self.close)

    @property
    def entered(self) -> bool:
        """Whether the page is ours."""
        return self._entered

    def size(self) -> tuple[int, int]:
        """Columns, lines; (0, 0) for a terminal that is gone."""
        try:
            size = os.get_terminal_size(self._fd)
        except OSError:
            return 0, 0
        return size.columns, size.lines

    def in_foreground(self) -> bool:
        """Whether we may write to the page: a shell may have the terminal."""
        try:
            return os.tcgetpgrp(self._fd) == os.getpgrp()
        except OSError:
            return True  # not the controlling terminal: there is no shell to disturb

    def enter(self, given_up: Callable[[], bool]) -> bool:
        """Take the page, if we may now. Returns whether it is ours. What it shows is unknown then."""
        if self._open and not self._entered and self.in_foreground():
            self._entered = True
            self.write(ENTER, given_up)
        return self._entered

    def write(self, text: str, given_up: Callable[[], bool]) -> bool:
        """Write all of it, however slow the terminal is, until `given_up`. Returns whether all was written."""
        data = memoryview(text.encode(errors="replace"))
        with self._lock:
            while data and self._entered and not given_up():
                try:
                    sent = os.write(self._fd, data)
                except BlockingIOError:
                    select.select([], [self._fd], [], LOOK_EVERY_S)
                    continue
                except OSError:
                    return False
                data = data[sent:]
            self._by_half = bool(data)
        return not data

    def leave(self) -> None:
        """Give the page back: what the terminal showed before is there again.

        A terminal that takes nothing just now is made to discard what it hasn't taken yet.
        """
        if not self._entered:
            return
        self._entered = False  # a writer gives up
        got = self._lock.acquire(timeout=1.0)
        try:
            self._send_now(CUT_SHORT + LEAVE if self._by_half or not got else LEAVE)
        finally:
            if got:
                self._lock.release()

    def _send_now(self, text: str) -> None:
        import termios

        data = text.encode()
        for _ in range(2):  # the second time into a terminal that was made to discard the rest
            with contextlib.suppress(OSError, termios.error):
                data = data[os.write(self._fd, data) :]
            if not data:
                return
            with contextlib.suppress(OSError, termios.error):
                termios.tcflush(self._fd, termios.TCOFLUSH)

    def close(self) -> None:
        """Leave for good, and write out the kept standard error. Calling it again does nothing."""
        if not self._open:
            return
        self.leave()
        self._open = False
        atexit.unregister(self.close)
        os.close(self._fd)
        self._kept.release()


class _KeptErrors:
    """The standard error, kept in a file while the page is shown; if there is too much, only the end is kept."""

    def __init__(self, out: TextIO) -> None:
        self._saved = -1
        self._file: Any = None
        with contextlib.suppress(OSError, ValueError):
            if sys.stderr is None or not os.isatty(2) or os.ttyname(2) != os.ttyname(out.fileno()):
                return
            sys.stderr.flush()
            self._file = tempfile.TemporaryFile()  # noqa: SIM115 (closed in `release`)
            self._saved = os.dup(2)
            os.dup2(self._file.fileno(), 2)

    def release(self) -> None:
        if self._saved < 0:
            return
        with contextlib.suppress(OSError, ValueError):
            sys.stderr.flush()
        saved, self._saved = self._saved, -1
        os.dup2(saved, 2)
        os.close(saved)
        with self._file as file:
            file.seek(max(0, file.seek(0, os.SEEK_END) - MOST_KEPT))
            kept = file.read()
        if kept:
            with contextlib.suppress(OSError):
                os.write(2, kept)


class StopSignals:
    r"""Ctrl-Z, Ctrl-\ and coming back: give the page back before the shell has the terminal, and take it again after.

    Wraps the handlers that are already there, such as those of the keys, and calls them in between.
    """

    def __init__(self, leave: Callable[[], None], come_back: Callable[[], None]) -> None:
        import signal

        self._signal = signal
        self._leave, self._come_back = leave, come_back
        self._before: dict[int, Any] = {}
        if threading.current_thread() is not threading.main_thread():
            return
        for number, handler in (
            (signal.SIGTSTP, self._on_stop),
            (signal.SIGCONT, self._on_continue),
            (signal.SIGQUIT, self._on_quit),
        ):
            self._before[number] = signal.signal(number, handler)

    def release(self) -> None:
        """Put back what was there before."""
        for number, before in self._before.items():
            self._signal.signal(number, before if before is not None else self._signal.SIG_DFL)
        self._before.clear()

    def _on_stop(self, number: int, frame: Any) -> None:
        self._leave()
        before = self._before.get(number)
        if callable(before):
            before(number, frame)
        else:
            self._signal.signal(number, self._signal.SIG_DFL)
            os.kill(os.getpid(), number)
        # Reached when the process goes on; the handler below may have replaced us.
        self._signal.signal(number, self._on_stop)
        self._come_back()

    def _on_continue(self, number: int, frame: Any) -> None:
        before = self._before.get(number)
        if callable(before):
            before(number, frame)
        self._come_back()

    def _on_quit(self, number: int, frame: Any) -> None:
        self._leave()
        self._signal.signal(number, self._signal.SIG_DFL)
        os.kill(os.getpid(), number)
        time.sleep(LOOK_EVERY_S)  # until the signal has ended this process
