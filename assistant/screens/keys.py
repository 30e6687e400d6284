"""The terminal's keys replace the pedal's gestures and the voice.

Threads: one thread reads the keyboard, gives each key its meaning and posts the event. The terminal's own mode is put
back at the end, however the program ends: close, exit, an exception, Ctrl-Z, SIGTERM.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import select
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any, TextIO

from assistant.errors import NoSuchPart
from assistant.runner.contracts import Clock, CodeWish, Post
from assistant.screens.job_note import JobNote
from assistant.screens.key_codes import KeyDecoder
from assistant.screens.key_meanings import JOB_DROPPED, MISHAP_DROPPED, KeyKind, KeyMeanings, ListWish, event_of
from assistant.screens.mishap_note import MishapNote

REST_OF_SEQUENCE_S = 0.3  # if the rest of an escape sequence takes longer, it was the Escape key
BACKGROUND_LOOK_S = 0.2  # how often a program in the background checks whether it is in front again
PASTE_ON, PASTE_OFF = "\x1b[?2004h", "\x1b[?2004l"
NO_PAGE = "-- There is no bench page; `kerfcall cut --page` or `resume --page` opens one."
NO_TERMINAL = (
    "The keyboard can't be used: the standard input is not a terminal. "
    "To fix it: start from a terminal, without a pipe or file as input."
)


print_at_once = partial(print, flush=True)


class TerminalKeys:
    """Posts Gesture and Heard with source "keys", and Leave; `?` shows the list of keys."""

    def __init__(
        self,
        clock: Clock,
        post: Post,
        pedal_alive: Callable[[], bool],
        pedal_key: str,
        click: Callable[[], None],
        show: Callable[[str], None] = print_at_once,
        code: Callable[[CodeWish], None] | None = None,
        halted_by_key: Callable[[], bool] | None = None,
        job: JobNote | None = None,
        mishaps: MishapNote | None = None,
    ) -> None:
        """Starts reading the keyboard.

        pedal_alive: whether a pedal listener is alive now. pedal_key: the key's name in the shop file. click: called at
        once for every key with a meaning. show: prints a note for the operator. code: called for the bench page's
        pairing code; None without a page. halted_by_key: called before anything else for every key but
        that of a pedal that is heard; halts a driven carriage and returns whether it moved or was about to. Then the
        key means nothing else, but for Ctrl-C, which leaves as well. None without such a carriage. job: the table of
        the job, for a note. mishaps: the list of what can go wrong, for a note. Raises NoSuchPart if the standard input
        is not a terminal.
        """
        self._clock = clock
        self._post = post
        self._pedal_alive = pedal_alive
        self._click = click
        self._show = show
        self._code = code
        self._halted_by_key = halted_by_key
        self._job = job
        self._mishaps = mishaps
        self._meanings = KeyMeanings(pedal_key, driven=halted_by_key is not None)
        self._closing = threading.Event()
        stdin = sys.stdin
        if stdin is None or stdin.closed or not stdin.isatty():
            raise NoSuchPart(NO_TERMINAL)
        self._source: _Posix | _Windows = _Windows() if sys.platform == "win32" else _Posix(stdin, sys.stdout)
        self._thread = threading.Thread(target=self._run, name="keys", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop reading and put the terminal's mode back. Safe from any thread, and more than once."""
        self._closing.set()
        self._source.wake()
        if threading.current_thread() is not self._thread:
            self._thread.join(2.0)
        self._source.close()

    def _run(self) -> None:
        try:
            for key in self._source.keys(self._closing):
                self._press(key)
        finally:
            self._source.restore()

    def _press(self, key: str) -> None:
        halted = False
        # A pedal held down repeats its key on the terminal too; the pedal's own listener halts at each new press.
        of_the_pedal = key == self._meanings.pedal_key and self._pedal_alive()
        if self._halted_by_key is not None and not of_the_pedal:
            with contextlib.suppress(Exception):  # a drive that failed must not cost the keys
                halted = self._halted_by_key()
        at = self._clock.at()
        if halted and key != "ctrl_c":
            self._meanings.halted(key, at)
            with contextlib.suppress(Exception):
                self._click()
            return
        meaning = self._meanings.press(key, at, self._pedal_alive())
        if meaning is None:
            return
        with contextlib.suppress(Exception):  # a failed click or note must not cost the event
            match meaning.kind:
                case KeyKind.NOTE:
                    self._show(meaning.word)
                case KeyKind.JOB:
                    self._show_job(ListWish(meaning.word))
                case KeyKind.MISHAPS:
                    self._show_mishaps(ListWish(meaning.word))
                case KeyKind.FIGURE:
                    self._ask_figure()
                case KeyKind.CODE if self._code is not None:
                    self._code(CodeWish(meaning.word))
                case KeyKind.CODE:
                    self._show(NO_PAGE)
                case _:
                    self._click()
        if event := event_of(meaning, at, self._clock.utc()):
            self._post(event)
        if meaning.kind == KeyKind.LEAVE:
            self._source.allow_interrupt()

    def _show_job(self, wish: ListWish) -> None:
        if wish == ListWish.DROP:
            self._show(JOB_DROPPED)
        if self._job is not None:
            (self._job.show if wish == ListWish.SHOW else self._job.withdraw)()

    def _show_mishaps(self, wish: ListWish) -> None:
        if wish == ListWish.DROP:
            self._show(MISHAP_DROPPED)
        if self._mishaps is None:
            return
        if wish == ListWish.DROP:
            self._mishaps.withdraw()
        elif not self._mishaps.show():
            self._meanings.no_number()

    def _ask_figure(self) -> None:
        if self._mishaps is not None and not self._mishaps.ask_figure():
            self._meanings.no_number()


class KeyMode:
    """The terminal in key mode: no echo, no lines, Ctrl-C as a key. `set` and `restore` can be called repeatedly.

    Neither waits for a terminal that nobody reads; such a terminal isn't asked for bracketed paste.
    """

    def __init__(self, fd: int, out: TextIO | None) -> None:
        """fd: a terminal's. out: asked for bracketed paste if it is a terminal; None: not asked."""
        import termios

        self._termios: Any = termios
        self.errors: tuple[type[Exception], ...] = (OSError, ValueError, termios.error)
        self._fd = fd
        self._out = out if out is not None and not out.closed and out.isatty() else None
        self._own = termios.tcgetattr(fd)
        self.interrupt_is_key = True
        self._lock = threading.RLock()

    def in_foreground(self) -> bool:
        """Whether this process may use the terminal; using it from the background would stop the process."""
        try:
            return os.tcgetpgrp(self._fd) == os.getpgrp()
        except OSError:
            return True  # not the controlling terminal, so there is no job control and nothing can stop us

    def set(self, flush: bool = False) -> None:
        """Switch to key mode. flush: discard earlier typing. Raises OSError or termios.error: no terminal."""
        t = self._termios
        mode = [list(part) if isinstance(part, list) else part for part in self._own]
        mode[0] &= ~t.IXON  # Ctrl-S would freeze the screen
        mode[0] |= t.ICRNL
        mode[3] &= ~(t.ICANON | t.ECHO)
        mode[6][t.VMIN], mode[6][t.VTIME] = 1, 0
        if self.interrupt_is_key:
            # No character interrupts, so Ctrl-C can be read like any key.
            mode[6][t.VINTR] = os.fpathconf(self._fd, "PC_VDISABLE").to_bytes(1, "little")
        with self._lock:
            t.tcsetattr(self._fd, t.TCSANOW, mode)
            if flush:
                t.tcflush(self._fd, t.TCIFLUSH)
            self._write(PASTE_ON)

    def restore(self) -> None:
        """Put back the mode found at the beginning. Never raises."""
        if not self.in_foreground():
            return
        with self._lock, contextlib.suppress(*self.errors):
            self._write(PASTE_OFF)
            self._termios.tcsetattr(self._fd, self._termios.TCSANOW, self._own)

    def _write(self, text: str) -> None:
        """Opens the terminal again to write: O_NONBLOCK on the shared descriptor would apply to the shell as well."""
        if self._out is None:
            return
        with contextlib.suppress(OSError, ValueError):
            fd = os.open(os.ttyname(self._out.fileno()), os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
            try:
                os.write(fd, text.encode())
            finally:
                os.close(fd)


class _Posix:
    """Reads a terminal on Linux and macOS."""

    def __init__(self, stdin: TextIO, stdout: TextIO | None) -> None:
        self._fd = stdin.fileno()
        self._mode = KeyMode(self._fd, stdout)
        if not self._mode.in_foreground():
            raise NoSuchPart("The keyboard can't be used: the program runs in the background of its terminal.")
        self._awake, self._waker = os.pipe()  # ends the reader's wait; signal handlers write to it as well
        os.set_blocking(self._waker, False)
        self._hung_up = False
        self._open = True
        self._signals: dict[int, Any] = {}
        self._mode.set(flush=True)
        atexit.register(self._mode.restore)
        self._catch_signals()

    def keys(self, closing: threading.Event) -> Iterator[str]:
        """Key names until closing; "ctrl_c" when the terminal is closed."""
        decoder = KeyDecoder()
        while not closing.is_set():
            if not self._mode.in_foreground():
                closing.wait(BACKGROUND_LOOK_S)
                continue
            ready = select.select([self._fd, self._awake], [], [], REST_OF_SEQUENCE_S if decoder.pending else None)[0]
            if not ready:
                yield from decoder.expire()
            if self._awake in ready:
                os.read(self._awake, 64)
                if not closing.is_set() and not self._hung_up and self._mode.in_foreground():
                    with contextlib.suppress(*self._mode.errors):
                        self._mode.set()  # after Ctrl-Z and fg, the shell has put back its own mode
            if self._fd in ready and self._mode.in_foreground() and not self._hung_up:
                try:
                    data = os.read(self._fd, 4096)
                except OSError:
                    data = b""
                # Ready, but nothing to read: the terminal is gone. A signal may have reported it already.
                self._hung_up = self._hung_up or not data
                yield from decoder.feed(data)
            if self._hung_up:
                yield "ctrl_c"
                return

    def wake(self) -> None:
        with contextlib.suppress(OSError):
            os.write(self._waker, b"w")

    def allow_interrupt(self) -> None:
        """From now on Ctrl-C interrupts, so that a program that doesn't leave can be ended."""
        self._mode.interrupt_is_key = False
        with contextlib.suppress(*self._mode.errors):
            self._mode.set()

    def restore(self) -> None:
        self._mode.restore()

    def close(self) -> None:
        if not self._open:
            return
        self._open = False
        self._mode.restore()
        atexit.unregister(self._mode.restore)
        self._release_signals()
        waker, self._waker = self._waker, -1
        os.close(waker)
        os.close(self._awake)

    def _catch_signals(self) -> None:
        """Catch only signals that no other code handles, and only in the main thread, where Python allows it."""
        if threading.current_thread() is not threading.main_thread():
            return
        handlers = {
            signal.SIGTSTP: self._on_stop,
            signal.SIGCONT: self._on_continue,
            signal.SIGTERM: self._on_end,
            signal.SIGHUP: self._on_hang_up,
        }
        for number, handler in handlers.items():
            if signal.getsignal(number) is signal.SIG_DFL:
                self._signals[number] = handler
                signal.signal(number, handler)

    def _release_signals(self) -> None:
        if threading.current_thread() is threading.main_thread():
            for number, handler in self._signals.items():
                if signal.getsignal(number) == handler:
                    signal.signal(number, signal.SIG_DFL)

    def _on_stop(self, number: int, frame: object) -> None:
        self._mode.restore()
        signal.signal(signal.SIGTSTP, signal.SIG_DFL)
        os.kill(os.getpid(), signal.SIGTSTP)
        signal.signal(signal.SIGTSTP, self._on_stop)  # reached after the process was continued

    def _on_continue(self, number: int, frame: object) -> None:
        self.wake()

    def _on_end(self, number: int, frame: object) -> None:
        self._mode.restore()
        signal.signal(number, signal.SIG_DFL)
        os.kill(os.getpid(), number)

    def _on_hang_up(self, number: int, frame: object) -> None:
        self._hung_up = True
        self.wake()


class _Windows:
    """Reads the console on Windows; Ctrl-C stays an interrupt of the main thread there."""

    LOOK_EVERY_S = 0.02
    SPECIAL = {"H": "up", "P": "down", "K": "left", "M": "right", "G": "home", "O": "end", "I": "page_up"}
    SPECIAL |= {"Q": "page_down", "R": "insert", "S": "delete", "\x85": "f11", "\x86": "f12"}
    SPECIAL |= {chr(0x3B + n): f"f{n + 1}" for n in range(10)}

    def keys(self, closing: threading.Event) -> Iterator[str]:
        import msvcrt

        console: Any = msvcrt
        decoder = KeyDecoder()
        while not closing.is_set():
            if not console.kbhit():
                time.sleep(self.LOOK_EVERY_S)
                continue
            char = console.getwch()
            # These two announce a special key, whose code is the next character (msvcrt).
            if char in ("\x00", "\xe0"):
                if name := self.SPECIAL.get(console.getwch()):
                    yield name
            elif char == "\x1b":
                yield "esc"
            else:
                yield from decoder.feed(char.encode(errors="replace"))

    def wake(self) -> None:
        """Nothing to do: the reader looks every LOOK_EVERY_S."""

    def allow_interrupt(self) -> None:
        """Nothing to do: Ctrl-C is never taken as a key here."""

    def restore(self) -> None:
        """Nothing to do: the console's mode was not changed."""

    def close(self) -> None:
        """Nothing to do: the console's mode was not changed."""
