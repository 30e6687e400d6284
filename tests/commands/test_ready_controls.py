"""Pedal, terminal keys, display; and that there is a way to answer at all."""

from __future__ import annotations

import importlib.util
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.commands import ready_controls
from assistant.commands.ready_line import BROKEN, STANDS_IN, WORKS, Line
from assistant.plans.model import PedalSettings
from tests.pedal.xserver import XServer, needs_x

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")
WAYS = ("pedal", "terminal keys", "microphone", "level", "recogniser")


def test_without_pedal_terminal_and_voice_there_is_no_way_to_answer() -> None:
    down = {part: Line(part, STANDS_IN, "") for part in WAYS}
    assert ready_controls.answers(*down.values()).state == BROKEN
    for part in WAYS[:2]:
        line = ready_controls.answers(*(down | {part: Line(part, WORKS, "")}).values())
        assert (line.state, line.data) == (WORKS, {"by": [part]})


def test_voice_is_a_way_only_with_microphone_level_and_recogniser() -> None:
    up = {part: Line(part, WORKS if part in WAYS[2:] else STANDS_IN, "") for part in WAYS}
    assert ready_controls.answers(*up.values()).text == "by voice"
    for part in WAYS[2:]:
        assert ready_controls.answers(*(up | {part: Line(part, STANDS_IN, "")}).values()).state == BROKEN


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="there the desktop is always there")
def test_a_pedal_without_a_display_is_stood_in_for_and_its_key_is_named(no_display: None) -> None:
    line = ready_controls.pedal(PedalSettings(key="f13"))
    assert line.state == STANDS_IN and "no display server" in line.text and "f13" in line.text and line.mend
    assert line.data == {"key": "f13"}


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a pedal's own device is read on Linux only")
def test_a_pedals_own_device_that_is_not_there_is_stood_in_for(no_display: None) -> None:
    line = ready_controls.pedal(PedalSettings(key="b", device="ffff:fffe"))
    assert line.state == STANDS_IN and "there is no device ffff:fffe" in line.text and "plug it in" in line.mend


@pytest.mark.skipif(not importlib.util.find_spec("evdev"), reason="python-evdev is not installed")
def test_a_pedals_own_device_works_without_a_display(
    no_display: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.pedal.fake_kernel import FakeKernel

    fake = FakeKernel(tmp_path)
    fake.plug("event0", [109, 48])
    monkeypatch.setattr("assistant.pedal.trial.try_out.__defaults__", (fake,))
    line = ready_controls.pedal(PedalSettings(key="b", device="3553:b001"))
    assert line.state == WORKS and "b, read alone from Foot Switch (3553:b001)" in line.text


@needs_x
def test_a_pedal_on_a_real_display_works(monkeypatch: pytest.MonkeyPatch) -> None:
    server = XServer()
    try:
        monkeypatch.setenv("DISPLAY", server.display)
        monkeypatch.setenv("XDG_SESSION_TYPE", "x11")
        line = ready_controls.pedal(PedalSettings(key="page_down"))
        assert (line.state, line.data) == (WORKS, {"key": "page_down"}) and line.text.startswith("page_down")
    finally:
        server.end()


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A pseudo-terminal; it is in the foreground as far as the look goes."""
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
    [(80, 24, WORKS, "80 x 24, colour"), (200, 50, WORKS, "200 x 50"), (79, 24, STANDS_IN, "too small")],
)
def test_the_terminal_and_its_size(terminal: int, columns: int, rows: int, state: str, words: str) -> None:
    sized(terminal, columns, rows)
    with open(terminal, "w", encoding="utf-8", closefd=False) as out:
        line = ready_controls.display(out, {"DISPLAY": ":7"})
    assert line.state == state and words in line.text
    assert ("80 x 24 or larger" in line.mend) is (state == STANDS_IN)
    if sys.platform.startswith("linux"):
        assert line.data == {"columns": columns, "lines": rows, "colour": True, "desktop": "X display :7"}


@posix
def test_a_terminal_that_can_not_show_a_page_or_wants_no_colour(terminal: int, monkeypatch: pytest.MonkeyPatch) -> None:
    sized(terminal, 80, 24)
    monkeypatch.setenv("NO_COLOR", "1")
    with open(terminal, "w", encoding="utf-8", closefd=False) as out:
        assert "no colour (NO_COLOR)" in ready_controls.display(out, {}).text
        monkeypatch.setenv("TERM", "dumb")
        assert ready_controls.display(out, {}).state == STANDS_IN


def test_no_terminal_means_plain_lines() -> None:
    with open(os.devnull, "w", encoding="utf-8") as out:
        line = ready_controls.display(out, {"XDG_SESSION_TYPE": "wayland"})
    assert line.state == STANDS_IN and "no terminal" in line.text and line.data["columns"] is None
    if sys.platform.startswith("linux"):
        assert line.data["desktop"] == "Wayland"
    assert ready_controls.display(out, {}).state == STANDS_IN, "a closed one"
