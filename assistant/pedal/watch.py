"""Guards a listener of the keyboard library, so that it can't die unnoticed, print, or raise into its caller.

A listener that has ended can't be started again; the caller starts another.
"""

from __future__ import annotations

import contextlib
import importlib.util
import logging
import os
import re
import socket
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

from assistant.errors import NoSuchPart
from assistant.patience import Patience, cpu_s_of_thread

OPEN_WITHIN_S, LONGEST_OPENING_S = 2.0, 30.0  # without moving, and in all
REPLACED_BY = "the terminal's keys replace it (space: tap, d: double tap, h: long press)"
NO_ANSWER = f"the display server does not answer; {REPLACED_BY}"
OWN_DEVICE = "name the pedal's own device ([pedal] device)"
OFFSETS = 32  # recent events, of which the quickest sets the server's clock; only a few, because clocks drift
ANOTHER_CLOCK_S = 60.0  # no machine is held up for so long: the server's clock has started again
LOST = f"The pedal is not heard any more: the display server has ended; {REPLACED_BY}."
INSTALL = "python -m pip install python-xlib six && python -m pip install --no-deps pynput"


def why_no_keyboard(environ: Mapping[str, str], platform: str) -> str:
    """Why keys can't be heard here, as far as we can know without the library; "" if nothing prevents it.

    platform: a value of sys.platform.
    """
    if importlib.util.find_spec("pynput") is None:
        return f"pynput is not installed; {REPLACED_BY}. To fix it: {_install(platform)}"
    if platform in ("win32", "darwin"):
        return ""
    if importlib.util.find_spec("Xlib") is None or importlib.util.find_spec("six") is None:
        return f"pynput lacks python-xlib or six; {REPLACED_BY}. To fix it: {_install(platform)}"
    if environ.get("XDG_SESSION_TYPE", "").lower() == "wayland":
        return (
            "this desktop is Wayland, which hides the keys of other windows from every program; "
            f"{REPLACED_BY}. To fix it: log in to an X11 (Xorg) desktop, or {OWN_DEVICE}"
        )
    if not environ.get("DISPLAY"):
        return (
            f"there is no display server (DISPLAY is not set); {REPLACED_BY}. "
            f"To fix it: start from a terminal window on the desktop, or {OWN_DEVICE}"
        )
    if not _answers(environ["DISPLAY"]):
        return f"the display server {environ['DISPLAY']} does not answer; {REPLACED_BY}"
    return ""


def _answers(display: str) -> bool:
    """Whether a display server takes connections. The X library would leave sockets open if there is none."""
    match = re.fullmatch(r"(?:unix)?(.*):(\d+)(?:\.\d+)?", display)
    if not match:
        return True  # an unusual display name: let the library try
    host, number = match[1], int(match[2])
    if host.startswith("/"):  # a path to the socket, as on macOS
        return True
    if host:
        port = 6000 + number  # X11's ports
        ways: list[tuple[Any, Any]] = [(socket.AF_INET, (host, port)), (socket.AF_INET6, (host, port))]
    else:
        local = f"/tmp/.X11-unix/X{number}"  # every X server's socket, on Linux also without a file
        ways = [(socket.AF_UNIX, local), (socket.AF_UNIX, "\0" + local)]
    for family, address in ways:
        with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_STREAM) as probe:
            probe.settimeout(OPEN_WITHIN_S)
            probe.connect(address)
            return True
    return False


def _install(platform: str) -> str:
    return "python -m pip install pynput" if platform in ("win32", "darwin") else INSTALL


class KeyWatch:
    """Hears every key until `close` or the end of the display server.

    on_press, on_release: called with the library's key object on the library's thread; they must be short. on_end:
    called once when the listener ends, for any reason.
    """

    lost = LOST

    def __init__(
        self,
        on_press: Callable[[Any], None],
        on_release: Callable[[Any], None],
        on_end: Callable[[], None],
    ) -> None:
        """Raises NoSuchPart where keys can't be heard; its text says what replaces the pedal and what to do."""
        if reason := why_no_keyboard(os.environ, sys.platform):
            raise NoSuchPart(f"The pedal is not heard: {reason}.")
        self._ready = threading.Event()
        self._ended = threading.Event()
        self._levels: Any = None
        self.late_s = 0.0
        """How long ago the key of the current callback moved, s, as far as is known. A busy machine may deliver a
        release and the next press together, and only their own times distinguish that from a bounce."""
        self._offsets: deque[float] = deque(maxlen=OFFSETS)
        self._listener = self._start(on_press, on_release, on_end)
        thread = self._listener.ident
        patience = Patience(OPEN_WITHIN_S, LONGEST_OPENING_S, lambda: cpu_s_of_thread(thread), step=0.001)
        while not (self._ended.is_set() or patience.over()):
            if self._ready.wait(0.01):
                break
        else:
            self.close()
            raise NoSuchPart(f"The pedal is not heard: {NO_ANSWER}.")
        # On macOS only: without permission to hear keys the library just logs a warning.
        if getattr(type(self._listener), "IS_TRUSTED", True) is False:
            self.close()
            raise NoSuchPart(
                f"The pedal is not heard: macOS gives this program no keys; {REPLACED_BY}. To fix it: allow the "
                "terminal program under Privacy & Security, Accessibility and Input Monitoring, then start again."
            )
        self._levels = _second_connection(sys.platform)

    def _start(
        self, on_press: Callable[[Any], None], on_release: Callable[[Any], None], on_end: Callable[[], None]
    ) -> Any:
        logging.getLogger("pynput").setLevel(logging.CRITICAL + 1)  # its tracebacks would cover the screen
        try:
            from pynput import keyboard  # connects to the display server
        except Exception as error:  # the library raises ImportError, Xlib its own kinds
            raise NoSuchPart(f"The pedal is not heard: {NO_ANSWER}.") from error
        watch = self

        class Guarded(keyboard.Listener):  # type: ignore[misc]
            # A private method, since the library gives its callbacks no time. The server's is in the event.
            def _handle_message(self, *given: Any) -> None:
                event = given[1] if len(given) > 1 else None  # on X11; other systems give no time
                watch._note_time(getattr(event, "time", None))
                super()._handle_message(*given)

            def _mark_ready(self) -> None:
                super()._mark_ready()
                watch._ready.set()

            def run(self) -> None:
                with contextlib.suppress(Exception):  # a dead display server would print a traceback
                    super().run()
                for each in _sockets(self):
                    with contextlib.suppress(OSError):
                        each.close()
                watch._ended.set()
                with contextlib.suppress(Exception):
                    on_end()

        listener = Guarded(on_press=_guarded(on_press), on_release=_guarded(on_release))
        listener.start()
        return listener

    @property
    def alive(self) -> bool:
        """Whether keys can be heard. A display server that hangs without ending looks the same."""
        return not self._ended.is_set() and self._listener.is_alive()

    def _note_time(self, server_ms: int | None) -> None:
        """An event has come; server_ms: on the display server's clock, whose zero is unknown."""
        if server_ms is None:
            return
        offset = time.monotonic() - server_ms / 1000
        if self._offsets and abs(offset - self._offsets[-1]) > ANOTHER_CLOCK_S:
            self._offsets.clear()  # its milliseconds are 32 bits, which last 49 days
        self._offsets.append(offset)
        self.late_s = offset - min(self._offsets)

    def is_down(self, symbols: frozenset[int]) -> bool | None:
        """Whether the display server says that a key with one of these keysyms is down; None where that can't be read.

        Not for use by two threads at once.
        """
        if self._levels is None:
            return None
        try:
            codes = {code for symbol in symbols for code, _ in self._levels.keysym_to_keycodes(symbol)}
            bits = self._levels.query_keymap()
            return any(bits[code // 8] >> code % 8 & 1 for code in codes) if codes else None
        except Exception:  # the library raises its own kinds when the server has gone
            return None

    def close(self) -> None:
        """Stop hearing keys. Returns within a second."""
        if self._ready.is_set() and not self._ended.is_set():
            with contextlib.suppress(Exception):
                self._listener.stop()
        for each in _sockets(self._listener):  # otherwise the listener's thread would wait for one more key
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
        levels, self._levels = self._levels, None
        if levels is not None:
            with contextlib.suppress(Exception):
                levels.close()
            with contextlib.suppress(OSError):  # the library leaves it open when the server has gone
                levels.display.socket.close()
        if threading.current_thread() is not self._listener:
            self._ended.wait(1.0)


def _second_connection(platform: str) -> Any:
    """Reads which keys are down, beside the listener's own connections, which wait for events. None: no X11."""
    if platform in ("win32", "darwin"):
        return None
    try:
        from Xlib import display

        return display.Display()
    except Exception:
        return None


def _guarded(call: Callable[[Any], None]) -> Callable[[Any], None]:
    def run(key: Any) -> None:
        with contextlib.suppress(Exception):  # an exception here would end the listener
            call(key)

    return run


def _sockets(listener: Any) -> list[socket.socket]:
    """The X11 connections of a listener; none on other systems."""
    displays = [getattr(listener, name, None) for name in ("_display_stop", "_display_record")]
    found = [getattr(getattr(display, "display", None), "socket", None) for display in displays]
    return [each for each in found if isinstance(each, socket.socket)]
