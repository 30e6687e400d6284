"""The terminal's keys where each halts what moves: read one by one, on the thread that waits for them."""

from __future__ import annotations

import contextlib
import os
import select
import sys
import time
from types import TracebackType
from typing import Any

from assistant.screens.key_codes import KeyDecoder
from assistant.screens.keys import REST_OF_SEQUENCE_S, KeyMode


def has_terminal() -> bool:
    """Whether somebody sits at a terminal that this process may read."""
    if not all(stream is not None and not stream.closed and stream.isatty() for stream in (sys.stdin, sys.stdout)):
        return False
    if sys.platform == "win32":
        return True
    try:
        # In the background it would be stopped as soon as it reads (SIGTTIN), and could halt nothing.
        return os.tcgetpgrp(sys.stdin.fileno()) == os.getpgrp()
    except OSError:
        return False


def forget_typing() -> None:
    """What was typed before a question was asked doesn't answer it."""
    if sys.platform == "win32":
        import msvcrt

        console: Any = msvcrt
        while console.kbhit():
            console.getwch()
        return
    import termios

    with contextlib.suppress(OSError, termios.error):
        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)


class TypedKeys:
    """The terminal's keys, one by one and without an echo, while entered. What was typed before is dropped.

    pedals: the name of a heard pedal's key, which reaches the terminal too and is no key here; "" if there is none.
    """

    def __init__(self, pedals: str) -> None:
        self._pedals = pedals
        self._decoder = KeyDecoder()
        self._stack = contextlib.ExitStack()
        self._expires: float | None = None

    def __enter__(self) -> TypedKeys:
        forget_typing()
        if sys.platform != "win32":
            mode = KeyMode(sys.stdin.fileno(), None)
            self._stack.callback(mode.restore)
            # Called before the mode is put back: a key that halted must not be read as typing afterwards.
            self._stack.callback(forget_typing)
            mode.set(flush=True)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stack.close()

    def wait(self, within_s: float) -> list[str]:
        """The keys that come within this time, as `KeyDecoder` names them; "any" for one that it doesn't know.

        "ctrl_c" also where the terminal is gone.
        """
        if sys.platform == "win32":
            return self._wait_windows(within_s)
        try:
            if not select.select([sys.stdin.fileno()], [], [], within_s)[0]:
                if self._decoder.pending and self._expires is not None and time.monotonic() > self._expires:
                    return self._decoder.expire()
                return [] if has_terminal() else ["ctrl_c"]
            data = os.read(sys.stdin.fileno(), 4096)
        except OSError:
            data = b""
        if not data:
            return ["ctrl_c"]
        self._expires = time.monotonic() + REST_OF_SEQUENCE_S
        named = self._decoder.feed(data)
        if not self._pedals:
            # Without a pedal any byte is a key, whether it has a name or not, and however many come at once.
            return named or ["any"]
        return [key for key in named if key != self._pedals]

    def _wait_windows(self, within_s: float) -> list[str]:
        import msvcrt

        console: Any = msvcrt
        end = time.monotonic() + within_s
        # On Windows select takes sockets only.
        while not console.kbhit():
            if time.monotonic() >= end:
                return []
            time.sleep(0.01)
        key = console.getwch()
        return ["ctrl_c" if key == "\x03" else "esc" if key == "\x1b" else key]
