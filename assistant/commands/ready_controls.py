"""`kerfcall ready`: pedal, terminal keys, display, and whether there is any way to answer at all."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from typing import Any, TextIO

from assistant.commands.ready_line import BROKEN, STANDS_IN, WORKS, Line
from assistant.errors import KerfcallError
from assistant.plans.model import PedalSettings


def pedal(settings: PedalSettings) -> Line:
    """Whether the pedal's key can be heard wherever the focus is."""
    from assistant.pedal.trial import try_out
    from assistant.pedal.watch import STANDS_IN as WHAT_STANDS_IN

    data = {"key": settings.key}
    try:
        source = try_out(settings)
    except KerfcallError as error:
        said = str(error).removeprefix("The pedal is not heard: ").replace(f"; {WHAT_STANDS_IN}", "").rstrip(".")
        text, _, mend = said.partition(" To mend it: ")
        return Line("pedal", STANDS_IN, f"terminal keys for {settings.key}: {text.rstrip('.')}", mend, data)
    where = f"read alone from {source.name} ({source.nodes[0].stable})" if source.nodes else "heard in every window"
    return Line("pedal", WORKS, f"{settings.key}, {where}; --pedal tries it", "", data)


def terminal() -> Line:
    """Whether the terminal's keys can stand in for pedal and voice."""
    if sys.stdin is not None and not sys.stdin.closed and sys.stdin.isatty():
        return Line("terminal keys", WORKS, "space: tap, d: double tap, h: hold, ?: all keys")
    text = "pedal or voice: the standard input is no terminal"
    return Line("terminal keys", STANDS_IN, text, "start from a terminal")


def display(out: TextIO | None = None, environ: Mapping[str, str] = os.environ) -> Line:
    """The screen of a session: its size, its colour, and the desktop, by which a pedal is heard. out: the terminal."""
    from assistant.screens.view import LEAST_COLUMNS, LEAST_LINES, suits
    from assistant.screens.view_terminal import wants_colour

    out = sys.stdout if out is None else out
    size = _size(out)
    desktop = _desktop(environ)
    colour = size is not None and wants_colour()
    data: dict[str, Any] = {
        "columns": size[0] if size else None,
        "lines": size[1] if size else None,
        "colour": colour,
        "desktop": desktop,
    }
    if size is None:
        text = f"plain lines: the standard output is no terminal; {desktop}"
        return Line("display", STANDS_IN, text, "start `cut` from a terminal", data)
    told = f"{size[0]} x {size[1]}, {'colour' if colour else 'no colour (NO_COLOR)'}, {desktop}"
    if suits(out):
        return Line("display", WORKS, told, "", data)
    if size[0] < LEAST_COLUMNS or size[1] < LEAST_LINES:
        mend = f"make the window {LEAST_COLUMNS} x {LEAST_LINES} or larger"
        return Line("display", STANDS_IN, f"plain lines: too small; {told}", mend, data)
    mend = "use a terminal with a cursor (TERM) and UTF-8, on Linux or macOS, in the foreground"
    return Line("display", STANDS_IN, f"plain lines: this terminal can't show a page; {told}", mend, data)


def _size(out: TextIO) -> tuple[int, int] | None:
    try:
        if out.closed or not out.isatty():
            return None
        size = os.get_terminal_size(out.fileno())
    except (OSError, ValueError):
        return None
    return size.columns, size.lines


def _desktop(environ: Mapping[str, str]) -> str:
    if sys.platform in ("win32", "darwin"):
        return "the system's desktop"
    if environ.get("XDG_SESSION_TYPE", "").lower() == "wayland" or environ.get("WAYLAND_DISPLAY"):
        return "Wayland"
    return f"X display {environ['DISPLAY']}" if environ.get("DISPLAY") else "no X display"


def answers(foot: Line, keys: Line, microphone: Line, level: Line, hearing: Line) -> Line:
    """Whether there is any way at all to answer."""
    ways = [name for name, line in (("pedal", foot), ("terminal keys", keys)) if line.state == WORKS]
    if all(line.state == WORKS for line in (microphone, level, hearing)):
        ways.append("voice")
    data = {"by": ways}
    if ways:
        return Line("your answers", WORKS, f"by {', '.join(ways)}", "", data)
    text = "neither pedal, terminal keys nor voice"
    return Line("your answers", BROKEN, text, "start from a terminal: its keys do", data)
