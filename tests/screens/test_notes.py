"""Notes of `kerfcall page`, on a terminal emulator and without a terminal."""

from __future__ import annotations

import io

import pytest

from assistant.screens.notes import Notes

pyte = pytest.importorskip("pyte", reason="pyte is not installed")

INVITATION = "-- Bench page: http://127.0.0.1:8437/\n   To pair a device: code 1234 5678"


class Terminal(io.StringIO):
    """Shows what is written like a terminal of 60 by 12."""

    def __init__(self) -> None:
        super().__init__()
        self.screen = pyte.Screen(60, 12)
        self._stream = pyte.Stream(self.screen)

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        self._stream.feed(text.replace("\n", "\r\n"))
        return len(text)

    @property
    def lines(self) -> list[str]:
        return [line.rstrip() for line in self.screen.display if line.rstrip()]


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    for name, value in (("TERM", "xterm"), ("COLUMNS", "60"), ("LINES", "12")):
        monkeypatch.setenv(name, value)
    return Terminal()


@pytest.mark.skipif("sys.platform == 'win32'", reason="consoles there may not know the controls")
def test_a_list_is_removed_and_what_came_after_it_stays(terminal: Terminal) -> None:
    notes = Notes(terminal)
    notes.note("-- before")
    notes.note(INVITATION)
    notes.note("-- hint")
    terminal.write("typed\n")
    notes.typed("typed\n")
    notes.note("-- " + "long " * 30)
    notes.withdraw(INVITATION)
    notes.note("-- after")
    assert "".join(terminal.lines[3:]).count("long") == 30
    assert [terminal.lines[0], *terminal.lines[1:3], terminal.lines[-1]] == [
        "-- before", "-- hint", "typed", "-- after",
    ]  # fmt: skip
    notes.withdraw(INVITATION)
    assert terminal.lines[-1] == "-- after"


@pytest.mark.skipif("sys.platform == 'win32'", reason="consoles there may not know the controls")
def test_colours_take_no_room(terminal: Terminal) -> None:
    notes = Notes(terminal)
    notes.note("-- before")
    coloured = "\n".join("\x1b[7m" + " " * 40 + "\x1b[49m" * 9 for _ in range(5))
    notes.note(coloured)
    notes.withdraw(coloured)
    assert terminal.lines == ["-- before"]


def test_only_the_newest_list_is_removed_and_none_that_has_scrolled_out(terminal: Terminal) -> None:
    notes = Notes(terminal)
    notes.note(INVITATION)
    notes.note("-- other\n   list")
    notes.withdraw(INVITATION)
    assert terminal.lines == [*INVITATION.split("\n"), "-- other", "   list"]
    notes.note("\n".join("123456789ABC"))
    notes.withdraw("\n".join("123456789ABC"))
    assert terminal.lines == list("23456789ABC")


@pytest.mark.parametrize("term", [None, "dumb", ""])
def test_without_a_terminal_lines_stay(term: str | None, monkeypatch: pytest.MonkeyPatch) -> None:
    out = io.StringIO()
    if term is not None:
        monkeypatch.setenv("TERM", term)
        monkeypatch.setattr(out, "isatty", lambda: True)
    notes = Notes(out)
    notes.note(INVITATION)
    notes.withdraw(INVITATION)
    assert out.getvalue() == INVITATION + "\n"
