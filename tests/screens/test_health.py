"""What `ready` finds out about terminal and display."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator

import pytest

from assistant.health import LIMITED, WORKS
from assistant.screens import health

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A pseudo-terminal that counts as being in the foreground."""
    master, slave = os.openpty()
    monkeypatch.setattr(os, "tcgetpgrp", lambda fd: os.getpgrp())
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    yield slave
    os.close(master)
    os.close(slave)


def sized(fd: int, columns: int, rows: int) -> None:
    import termios

    termios.tcsetwinsize(fd, (rows, columns))


@posix
@pytest.mark.parametrize(
    ("columns", "rows", "state", "words"),
    [
        (80, 23, LIMITED, "23 rows; 24 are needed"),
        (80, 24, WORKS, "80 x 24, colour"),
        (200, 50, WORKS, "200 x 50"),
        (79, 24, LIMITED, "79 columns; 80 are needed"),
    ],
)
def test_the_terminal_and_its_size(terminal: int, columns: int, rows: int, state: str, words: str) -> None:
    sized(terminal, columns, rows)
    with open(terminal, "w", encoding="utf-8", closefd=False) as out:
        line = health.display(out, {"DISPLAY": ":7"})
    assert line.state == state and words in line.text
    assert ("80 x 24 or larger" in line.mend) is (state == LIMITED)
    if sys.platform.startswith("linux"):
        assert line.data == {"columns": columns, "lines": rows, "colour": True, "desktop": "X display :7"}


@posix
def test_a_terminal_that_cannot_show_a_page_or_asks_for_no_colour(
    terminal: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    sized(terminal, 80, 24)
    monkeypatch.setenv("NO_COLOR", "1")
    with open(terminal, "w", encoding="utf-8", closefd=False) as out:
        assert "no colour (NO_COLOR)" in health.display(out, {}).text
        monkeypatch.setenv("TERM", "dumb")
        assert health.display(out, {}).state == LIMITED


def test_no_terminal_means_plain_lines() -> None:
    with open(os.devnull, "w", encoding="utf-8") as out:
        line = health.display(out, {"XDG_SESSION_TYPE": "wayland"})
    assert line.state == LIMITED and "not a terminal" in line.text and line.data["columns"] is None
    if sys.platform.startswith("linux"):
        assert line.data["desktop"] == "Wayland"
    assert health.display(out, {}).state == LIMITED, "a closed one"
