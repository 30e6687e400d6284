"""What `ready` checks about the screens: the terminal's keys and the display."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from contextlib import suppress
from typing import Any, TextIO

from assistant.health import LIMITED, WORKS, Finding


def terminal() -> Finding:
    """Whether the terminal's keys can replace pedal and voice."""
    if sys.stdin is not None and not sys.stdin.closed and sys.stdin.isatty():
        return Finding("terminal keys", WORKS, "space: tap, d: double tap, h: long press, ?: all keys")
    text = "pedal or voice only: the standard input is not a terminal"
    return Finding("terminal keys", LIMITED, text, "start from a terminal")


def display(out: TextIO | None = None, environ: Mapping[str, str] = os.environ) -> Finding:
    """A session's screen: its size, its colour, and the desktop, through which a pedal is heard. out: the terminal."""
    from assistant.screens.view import why_no_view
    from assistant.screens.view_regions import LEAST_COLUMNS, LEAST_LINES
    from assistant.screens.view_terminal import wants_colour

    out = sys.stdout if out is None else out
    size = None
    with suppress(OSError, ValueError):
        if not out.closed and out.isatty():
            size = os.get_terminal_size(out.fileno())
    desktop = _desktop(environ)
    colour = size is not None and wants_colour()
    data: dict[str, Any] = {
        "columns": size.columns if size else None,
        "lines": size.lines if size else None,
        "colour": colour,
        "desktop": desktop,
    }
    if size is None:
        text = f"plain lines: the standard output is not a terminal; {desktop}"
        return Finding("display", LIMITED, text, "start `cut` from a terminal", data)
    found = f"{size.columns} x {size.lines}, {'colour' if colour else 'no colour (NO_COLOR)'}, {desktop}"
    why = why_no_view(out)
    if not why:
        return Finding("display", WORKS, found, "", data)
    if size.columns < LEAST_COLUMNS or size.lines < LEAST_LINES:
        mend = f"make the window {LEAST_COLUMNS} x {LEAST_LINES} or larger"
        return Finding("display", LIMITED, f"plain lines: {why}; {found}", mend, data)
    mend = "use a terminal with a cursor (TERM) and UTF-8, on Linux or macOS, in the foreground"
    return Finding("display", LIMITED, f"plain lines: {why}; {found}", mend, data)


def _desktop(environ: Mapping[str, str]) -> str:
    if sys.platform in ("win32", "darwin"):
        return "the system's desktop"
    if environ.get("XDG_SESSION_TYPE", "").lower() == "wayland" or environ.get("WAYLAND_DISPLAY"):
        return "Wayland"
    return f"X display {environ['DISPLAY']}" if environ.get("DISPLAY") else "no X display"
