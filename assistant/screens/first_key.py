"""A terminal while the pedal's key is being learned: kept quiet, and read if nothing else can hear the key."""

from __future__ import annotations

import contextlib
import os
import select
import sys
import time
from collections.abc import Iterator

from assistant.screens.key_codes import KeyDecoder
from assistant.screens.keys import REST_OF_SEQUENCE_S, KeyMode


def is_terminal() -> bool:
    """Whether there is a terminal with a mode that we can set."""
    return sys.platform != "win32" and sys.stdin is not None and not sys.stdin.closed and sys.stdin.isatty()


@contextlib.contextmanager
def quiet_terminal() -> Iterator[None]:
    """The pedal's key also reaches this terminal: don't echo it, and leave none of it for the shell."""
    if not is_terminal():
        yield
        return
    import termios

    mode = KeyMode(sys.stdin.fileno(), None)
    mode.interrupt_is_key = False
    if not mode.in_foreground():
        yield
        return
    mode.set()
    try:
        yield
    finally:
        with contextlib.suppress(OSError, termios.error):
            termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)
        mode.restore()


def first_key(seconds: float) -> str | None:
    """The name of the first key typed into this terminal within `seconds`."""
    decoder, end, fd = KeyDecoder(), time.monotonic() + seconds, sys.stdin.fileno()
    with quiet_terminal():
        while (left := end - time.monotonic()) > 0:
            # An escape byte may begin a key's sequence or be the Esc key, which only time tells.
            wait = REST_OF_SEQUENCE_S if decoder.pending else left
            keys = decoder.feed(os.read(fd, 256)) if select.select([fd], [], [], wait)[0] else decoder.expire()
            if keys:
                return keys[0]
    return None
