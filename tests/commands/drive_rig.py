"""A simulated controller behind a pseudo-terminal, a shop file that names it, and the program at a terminal."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from assistant.carriage.simulated import Simulated
from assistant.carriage.simulated_screw import Screw
from tests.carriage.simulated_line import Terminal
from tests.commands.program import Workshop

SHOP = """
unit = "mm"
[blade]
kerf = 3.18
[carriage]
kind = "steps"
steps_per_mm = 400
backlash = 0.08
travel = [-1, 290]
[carriage.drive]
port = "{port}"
home_reads = -1
clear_input = true
"""
WAIT_S = 60


class Bench:
    """A workshop with a driven carriage. `screw` is where it truly stands."""

    def __init__(self, folder: Path, controller: Simulated | None = None, shop: str = SHOP):
        self.controller = controller or Simulated(Screw(play=0.08, home_at=-1.0))
        self.screw = self.controller.screw
        self.terminal = Terminal(self.controller)
        self.workshop = Workshop(folder)
        self.workshop.write("shop.toml", shop.format(port=self.terminal.path))

    def sled(self, away: bool) -> None:
        with self.terminal.at_rest:
            self.controller.sled(away)

    @property
    def moves_sent(self) -> list[str]:
        """Every line that moves something, as the controller got it."""
        with self.terminal.at_rest:
            return [line for line in self.controller.sent if line.startswith(("$J", "$H", "G"))]

    @contextmanager
    def spawned(self, *words: str, **environ: str) -> Iterator[Any]:
        pexpect: Any = pytest.importorskip("pexpect", reason="a program at a terminal needs pexpect")
        kept = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")} | environ
        child = pexpect.spawn(
            sys.executable,
            ["-m", "assistant", *words],
            cwd=self.workshop.folder,
            env=kept,
            encoding="utf-8",
            timeout=WAIT_S,
            dimensions=(50, 300),
        )
        try:
            yield child
        finally:
            child.close(force=True)

    def close(self) -> None:
        self.terminal.close()


def ended(child: Any) -> tuple[int | None, str]:
    """The program's exit code, and what it has written since the last thing that was waited for."""
    import pexpect

    child.expect(pexpect.EOF)
    text = child.before
    child.wait()
    return child.exitstatus, text


def until(condition: Callable[[], bool]) -> None:
    """Wait until this is so; the test fails if it never is."""
    pause = threading.Event()
    for _ in range(WAIT_S * 100):
        if condition():
            return
        pause.wait(0.01)
    raise AssertionError("it never was so")
