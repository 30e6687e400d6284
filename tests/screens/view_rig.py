"""A program in a pseudo-terminal, its page read back by a terminal emulator (pyte)."""

from __future__ import annotations

import contextlib
import os
import select
import struct
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyte

SHELL = "what stood here before"
ALTERNATE = 1049


class Emulator(pyte.Screen):
    """pyte's, with the alternate screen that it lacks: entering blanks the page, leaving brings back what was there."""

    def __init__(self, columns: int, rows: int) -> None:
        self.alternate = False
        self._before: Any = None
        super().__init__(columns, rows)

    def set_mode(self, *modes: int, **kwargs: Any) -> None:
        if kwargs.get("private") and ALTERNATE in modes and not self.alternate:
            self.alternate = True
            self._before = {y: dict(line) for y, line in self.buffer.items()}, (self.cursor.y, self.cursor.x)
            self.erase_in_display(2)
        super().set_mode(*modes, **kwargs)

    def reset_mode(self, *modes: int, **kwargs: Any) -> None:
        if kwargs.get("private") and ALTERNATE in modes and self.alternate:
            self.alternate = False
            self.erase_in_display(2)
            lines, (self.cursor.y, self.cursor.x) = self._before
            for y, line in lines.items():
                self.buffer[y].update(line)
        super().reset_mode(*modes, **kwargs)

    @property
    def text(self) -> str:
        """The page; a blank in reverse is a full block, but for those that set off a word."""
        return "\n".join(self._line(y).rstrip() for y in range(self.lines))

    def _line(self, y: int) -> str:
        row = [self.buffer[y][x] for x in range(self.columns)]
        shown = ""
        for x, cell in enumerate(row):
            if not cell.reverse or cell.data != " ":
                shown += cell.data
                continue
            around = [*row[max(0, x - 1) : x], *row[x + 1 : x + 2]]
            word = any(other.reverse and other.data != " " for other in around)
            shown += " " if word else "█"
        return shown


def fill(terminal: str) -> None:
    """Write invisible bytes until this unread terminal accepts no more."""
    fd = os.open(terminal, os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
    quiet = 0
    while quiet < 10:  # the kernel makes room again while it hands on what it has
        quiet += 1
        for size in (4096, 1):
            with contextlib.suppress(BlockingIOError):
                while os.write(fd, bytes(size)):
                    quiet = 0
        time.sleep(0.03)
    os.close(fd)


def is_stuck(terminal: str) -> bool:
    """Whether this terminal accepts not a single byte more."""
    fd = os.open(terminal, os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        return os.write(fd, bytes(1)) == 0
    except BlockingIOError:
        return True
    finally:
        os.close(fd)


class Rig:
    """A pseudo-terminal of this size with the program as its session leader."""

    def __init__(self, command: list[str], columns: int = 80, rows: int = 24, **environ: Any) -> None:
        """environ: variables to set; None removes a variable."""
        import termios

        self.termios: Any = termios
        self.master, self.slave = os.openpty()
        self.screen = Emulator(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        self.sent = b""
        self.resize(columns, rows)
        self.mode = termios.tcgetattr(self.slave)
        os.write(self.slave, SHELL.encode() + b"\r\n")
        left_out = ("DISPLAY", "WAYLAND_DISPLAY", "XDG_SESSION_TYPE", "NO_COLOR", "LC_ALL")
        kept = {name: value for name, value in os.environ.items() if name not in left_out}
        kept |= {"TERM": "xterm-256color", "PYTHONUTF8": "1"}
        for name, value in environ.items():
            kept.pop(name, None)
            if value is not None:
                kept[name] = value
        self.process = subprocess.Popen(
            command,
            stdin=self.slave,
            stdout=self.slave,
            stderr=self.slave,
            env=kept,
            start_new_session=True,
            preexec_fn=self._take_terminal,
        )

    def _take_terminal(self) -> None:
        import fcntl

        fcntl.ioctl(self.slave, self.termios.TIOCSCTTY, 0)

    def resize(self, columns: int, rows: int) -> None:
        import fcntl

        fcntl.ioctl(self.master, self.termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        if (self.screen.columns, self.screen.lines) != (columns, rows):
            self.screen.resize(rows, columns)

    def send(self, keys: str) -> None:
        os.write(self.master, keys.encode())

    def fill(self) -> None:
        """Becomes a terminal that nobody reads."""
        fill(os.ttyname(self.slave))

    @property
    def is_stuck(self) -> bool:
        """Whether the terminal accepts nothing."""
        return is_stuck(os.ttyname(self.slave))

    def read(self, seconds: float) -> None:
        """Read everything that comes within this time."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            if not select.select([self.master], [], [], min(left, 0.05))[0]:
                continue
            try:
                data = os.read(self.master, 65536)
            except OSError:
                return
            self.sent += data
            self._stream.feed(data)

    def until(self, *wanted: str | Callable[[str], bool], within_s: float = 40.0) -> str:
        """The page as soon as it shows all of these texts, and all of these functions are true of it.

        A page can come in several pieces, so name everything that the test looks for on it.
        """
        end = time.monotonic() + within_s
        text, read_to = "", -1
        while True:
            if read_to != len(self.sent):  # a page read back takes longer than most waits
                text, read_to = self.screen.text, len(self.sent)
            missing = [one for one in wanted if not (one in text if isinstance(one, str) else one(text))]
            if not missing:
                return text
            assert time.monotonic() < end, f"{missing!r} did not come; the page:\n{text}"
            self.read(0.05)

    def ended(self, within_s: float = 40.0) -> int:
        """The exit code."""
        end = time.monotonic() + within_s
        while self.process.poll() is None:
            assert time.monotonic() < end, f"it does not end; the page:\n{self.screen.text}"
            self.read(0.05)
        while select.select([self.master], [], [], 0.2)[0]:  # what the terminal still holds, however much it is
            self.read(0.05)
        return int(self.process.returncode)

    def mode_is_back(self) -> bool:
        """Whether keys and page are the shell's again."""
        plain = not self.screen.alternate and not self.screen.cursor.hidden
        return plain and bool(self.termios.tcgetattr(self.slave) == self.mode)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for fd in (self.master, self.slave):
            with contextlib.suppress(OSError):
                os.close(fd)


def program(folder: Path, *options: str, plan: str, shop: str, silent: bool = True, feet: bool = False) -> list[str]:
    """`cut` of this plan with this shop file, its journal in `folder`. silent: without voice. feet: with a pedal."""
    (folder / "plan.toml").write_text(plan, encoding="utf-8")
    (folder / "shop.toml").write_text(shop, encoding="utf-8")
    files = [str(folder / "plan.toml"), "--shop", str(folder / "shop.toml"), "--state", str(folder / "state")]
    without = (["--no-voice"] if silent else []) + ([] if feet else ["--no-pedal"])
    return [sys.executable, "-m", "assistant", "cut", *files, *without, *options]
