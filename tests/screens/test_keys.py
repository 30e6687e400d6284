"""A real pseudo-terminal with a real program in it: keys in, events out, the terminal's mode put back."""

from __future__ import annotations

import contextlib
import io
import os
import select
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any

import pytest

from assistant.errors import NoSuchPart
from assistant.screens.keys import TerminalKeys, _Windows

posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")
PROMPT = "shell-is-ready> "
GAP_S = 0.75  # longer than what counts as auto-repeat


class Terminal:
    """A pseudo-terminal whose session leader is the program under test."""

    def __init__(
        self, alive: str = "no", end: str = "close", command: list[str] | None = None, begun: str = "begun"
    ) -> None:
        import termios

        self.master, self.slave = os.openpty()
        self.termios: Any = termios
        self.mode = termios.tcgetattr(self.slave)
        self.seen = ""
        slave = self.slave

        def take_terminal() -> None:
            import fcntl

            fcntl.ioctl(slave, termios.TIOCSCTTY, 0)

        self.process = subprocess.Popen(
            command or [sys.executable, "-m", "tests.screens.keys_child", alive, end],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env={**os.environ, "PS1": PROMPT, "TERM": "dumb"},
            start_new_session=True,
            preexec_fn=take_terminal,
        )
        self.until(begun)

    def send(self, data: bytes) -> None:
        os.write(self.master, data)

    def until(self, text: str, within_s: float = 30.0) -> str:
        """Everything shown up to and including `text`; it is removed from what is kept."""
        end = time.monotonic() + within_s
        while text not in self.seen:
            self._read(end - time.monotonic())
            assert time.monotonic() < end, f"{text!r} did not come; seen: {self.seen!r}"
        before, _, self.seen = self.seen.partition(text)
        return before + text

    def nothing_for(self, seconds: float) -> bool:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self._read(end - time.monotonic())
        return "click" not in self.seen and "gesture" not in self.seen and "heard" not in self.seen

    def _read(self, within_s: float) -> None:
        if select.select([self.master], [], [], max(0.0, min(0.1, within_s)))[0]:
            with contextlib.suppress(OSError):
                self.seen += os.read(self.master, 4096).decode(errors="replace")

    def mode_is_back(self) -> bool:
        return bool(self.termios.tcgetattr(self.slave) == self.mode)

    def local(self, flag: str) -> bool:
        return bool(self.termios.tcgetattr(self.slave)[3] & getattr(self.termios, flag))

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        for fd in (self.master, self.slave):
            with contextlib.suppress(OSError):
                os.close(fd)


@pytest.fixture
def terminal(request: pytest.FixtureRequest) -> Iterator[Terminal]:
    terminal = Terminal(**getattr(request, "param", {}))
    yield terminal
    terminal.close()


def ending(end: str) -> Any:
    return pytest.mark.parametrize("terminal", [{"end": end}], indirect=True)


def moving(alive: str = "no") -> Any:
    command = [sys.executable, "-m", "tests.screens.keys_child", alive, "close", "moves"]
    return pytest.mark.parametrize("terminal", [{"command": command}], indirect=True)


@posix
@moving()
@pytest.mark.parametrize("key", [b"h", b" ", b"y", b"q", b"x", b"\x1b[B", b"?", b"\x1b[6~"])
def test_while_the_carriage_moves_any_key_halts_it_and_means_nothing_else(terminal: Terminal, key: bytes) -> None:
    """Also a key without a meaning, the key to leave, and the pedal's where no pedal is heard."""
    terminal.send(key)
    assert "halt\r\n" in terminal.until("click")
    time.sleep(GAP_S)
    terminal.send(b"d")
    between = terminal.until("gesture double keys")
    assert "nothing moves" in between and between.count("gesture") == 1 and "leave" not in between


@posix
@moving()
def test_ctrl_c_halts_it_and_leaves(terminal: Terminal) -> None:
    terminal.send(b"\x03")
    shown = terminal.until("ended")
    assert shown.index("halt") < shown.index("leave")


@posix
@moving(alive="yes")
def test_a_pedal_held_down_repeats_its_key_here_and_that_halts_nothing(terminal: Terminal) -> None:
    """It is what lets the carriage move. Its listener sees each new press itself."""
    terminal.send(b"\x1b[6~" * 5)
    time.sleep(0.3)
    terminal.send(b"x")
    terminal.until("halt\r\n")
    time.sleep(GAP_S)
    terminal.send(b"d")
    after = terminal.until("gesture double keys")
    assert after.count("nothing moves") == 1, "x halted it, and d was the next key"


@posix
def test_gestures_and_phrases_are_posted_with_a_click_first(terminal: Terminal) -> None:
    for key, words in {
        b" ": "gesture tap keys",
        b"d": "gesture double keys",
        b"h": "gesture hold keys",
        b"\r": "gesture tap keys",
        b"y": "heard yes None -1 keys",
        b"n": "heard no None -1 keys",
        b"s": "heard stand by None -1 keys",
        b"l": "heard how many None -1 keys",
    }.items():
        terminal.send(key)
        assert "click" in terminal.until(words)
    terminal.send(b"g12\r")
    assert "Go to pass" in terminal.until("heard go to 12 -1 keys")
    terminal.send(b"?")
    assert "kept down counts once" in terminal.until("this list")


@posix
def test_what_went_wrong_and_a_figure_are_posted_once_they_are_typed(terminal: Terminal) -> None:
    terminal.send(b"x8\r")
    assert "click" in terminal.until("heard mishap too deep -1 keys")
    terminal.send(b"#15\r")
    assert "click" in terminal.until("heard figure 15 -1 keys")
    terminal.send(b"x8h")
    terminal.until("Nothing was reported; nothing else was done.")
    terminal.send(b"#1h")
    assert "gesture" not in terminal.until("No figure was given; nothing else was done.")


@posix
@pytest.mark.parametrize(
    "terminal",
    [{"command": [sys.executable, "-m", "tests.screens.keys_child", "no", "close", "notes"]}],
    indirect=True,
)
def test_where_nothing_can_be_told_the_next_key_means_what_it_always_means(terminal: Terminal) -> None:
    terminal.send(b"x")
    terminal.until("Stand by first (s).")
    terminal.send(b"s")
    terminal.until("heard stand by None -1 keys")
    terminal.send(b"#")
    terminal.until("No figure is asked for now.")
    terminal.send(b"h")
    terminal.until("gesture hold keys")


@posix
def test_nothing_is_echoed_and_arrows_and_pastes_do_nothing(terminal: Terminal) -> None:
    terminal.send(b"\x1b[A\x1bOB\x1b[5~\x1b[15~\x1bd")
    terminal.send(b"\x1b[200~h y h\r\x1b[201~")
    assert terminal.nothing_for(0.6)
    assert "y h" not in terminal.seen and "[A" not in terminal.seen
    terminal.send(b"h")
    terminal.until("gesture hold keys")


@posix
def test_the_terminal_is_asked_to_mark_pastes_and_to_stop_at_the_end(terminal: Terminal) -> None:
    terminal.send(b"q")
    shown = terminal.until("ended")
    assert "\x1b[?2004l" in shown


@posix
def test_the_pedals_own_key_replaces_the_pedal_and_its_auto_repeat_does_not(terminal: Terminal) -> None:
    for _ in range(10):
        terminal.send(b"\x1b[6~")
        time.sleep(0.03)
    terminal.until("gesture tap keys")
    assert terminal.nothing_for(0.3)
    time.sleep(GAP_S)
    terminal.send(b"\x1b[6~")
    terminal.until("gesture tap keys")


@posix
@pytest.mark.parametrize("terminal", [{"alive": "yes"}], indirect=True)
def test_while_the_pedal_is_heard_its_key_means_nothing_in_the_terminal(terminal: Terminal) -> None:
    terminal.send(b"\x1b[6~")
    assert terminal.nothing_for(0.5)
    terminal.send(b" ")
    terminal.until("gesture tap keys")


@posix
@pytest.mark.parametrize("key", [b"q", b"\x03"])
def test_q_and_ctrl_c_leave_and_the_mode_is_put_back(terminal: Terminal, key: bytes) -> None:
    assert not terminal.local("ECHO") and not terminal.local("ICANON")
    terminal.send(key)
    terminal.until("ended")
    assert terminal.process.wait(10) == 0
    assert terminal.mode_is_back()


@posix
@pytest.mark.parametrize("terminal", [{"end": "raise"}, {"end": "exit"}], indirect=True)
def test_the_mode_is_put_back_after_an_exception_and_without_a_close(terminal: Terminal) -> None:
    terminal.send(b"q")
    terminal.process.wait(10)
    assert terminal.mode_is_back()


@posix
@ending("stay")
def test_a_second_ctrl_c_interrupts_a_program_that_does_not_leave(terminal: Terminal) -> None:
    terminal.send(b"\x03")
    terminal.until("leave")
    deadline = time.monotonic() + 5
    while terminal.termios.tcgetattr(terminal.slave)[6] != terminal.mode[6] and time.monotonic() < deadline:
        time.sleep(0.02)
    terminal.send(b"\x03")
    terminal.until("KeyboardInterrupt")
    terminal.process.wait(10)
    assert terminal.mode_is_back()


@posix
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT] if sys.platform != "win32" else [])
def test_the_mode_is_put_back_when_a_signal_ends_the_program(terminal: Terminal, number: int) -> None:
    terminal.process.send_signal(number)
    assert terminal.process.wait(10) == -number
    assert terminal.mode_is_back()


@posix
def test_after_a_stop_the_keys_take_the_terminal_again(terminal: Terminal) -> None:
    """Stopped by the signal that can't be caught. A shell then sets its own mode."""
    terminal.process.send_signal(signal.SIGSTOP)
    os.waitpid(terminal.process.pid, os.WUNTRACED)
    terminal.termios.tcsetattr(terminal.slave, terminal.termios.TCSADRAIN, terminal.mode)
    terminal.process.send_signal(signal.SIGCONT)
    deadline = time.monotonic() + 5
    while terminal.local("ICANON") and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not terminal.local("ICANON") and not terminal.local("ECHO")
    terminal.send(b"h")
    terminal.until("gesture hold keys")


@posix
@pytest.mark.skipif(not shutil.which("bash"), reason="bash is not installed")
def test_ctrl_z_gives_the_terminal_back_to_the_shell_and_fg_takes_it_again() -> None:
    terminal = Terminal(command=["bash", "--norc", "--noprofile", "-i"], begun=PROMPT)
    try:
        terminal.send(b"stty -g; %s -m tests.screens.keys_child no close\r" % sys.executable.encode())
        own = terminal.until("begun")
        terminal.send(b"\x1a")
        terminal.until("Stopped")
        terminal.until(PROMPT)
        terminal.send(b"stty -g\r")
        terminal.until("stty -g")
        mode = terminal.until(PROMPT).split()[0]
        assert mode in own
        terminal.send(b"fg\r")
        terminal.until("keys_child no close")
        time.sleep(0.5)
        terminal.send(b"h")
        terminal.until("gesture hold keys")
        terminal.send(b"q")
        terminal.until("ended")
        terminal.send(b"exit\r")
        assert terminal.process.wait(10) == 0
    finally:
        terminal.close()


@posix
@pytest.mark.skipif(not shutil.which("bash"), reason="bash is not installed")
def test_in_the_background_the_keys_do_not_start_and_the_shell_keeps_its_terminal() -> None:
    terminal = Terminal(command=["bash", "--norc", "--noprofile", "-i"], begun=PROMPT)
    try:
        terminal.send(b"%s -m tests.screens.keys_child no close &\r" % sys.executable.encode())
        terminal.until("NoSuchPart: The keyboard can't be used: the program runs in the background")
        terminal.send(b"exit\r")
        terminal.process.wait(10)
    finally:
        terminal.close()


@posix
def test_a_closed_terminal_leaves(terminal: Terminal) -> None:
    os.close(terminal.master)
    assert terminal.process.wait(10) is not None


@pytest.mark.parametrize("stdin", [io.StringIO("h\n"), None])
def test_without_a_terminal_the_keys_do_not_start_and_say_so(monkeypatch: pytest.MonkeyPatch, stdin: object) -> None:
    monkeypatch.setattr(sys, "stdin", stdin)
    with pytest.raises(NoSuchPart, match=r"standard input is not a terminal.*To fix it: start from a terminal"):
        TerminalKeys(None, lambda event: None, lambda: False, "page_down", lambda: None)  # type: ignore[arg-type]


def test_the_windows_reader_names_special_keys_and_swallows_their_codes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Against the scan codes of the console's extended keys: 0xE0 and Q is page down."""
    import threading
    import types

    typed = list("h\xe0Q\x00;\xe0\x93 \x1b")
    closing = threading.Event()

    def kbhit() -> bool:
        if not typed:
            closing.set()
        return bool(typed)

    monkeypatch.setitem(sys.modules, "msvcrt", types.SimpleNamespace(kbhit=kbhit, getwch=lambda: typed.pop(0)))
    assert list(_Windows().keys(closing)) == ["h", "page_down", "f1", "space", "esc"]
