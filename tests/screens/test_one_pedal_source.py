"""The pedal's key, pressed while the program's own terminal window has the focus, counts once."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.pedal.xserver import XServer, needs_x, wait_for


@needs_x
@pytest.mark.skipif(not shutil.which("xterm"), reason="xterm is not installed")
def test_one_press_is_one_gesture_by_the_pedal(xserver: XServer, tmp_path: Path) -> None:
    """Tap, long press (with auto-repeat) and double tap go to the pedal alone; the terminal's other keys work too."""
    out = tmp_path / "events"
    environ = {**os.environ, "DISPLAY": xserver.display, "XDG_SESSION_TYPE": "x11"}
    command = ["xterm", "-e", sys.executable, "-m", "tests.screens.desk_child", str(out)]
    with subprocess.Popen(command, env=environ, stderr=subprocess.DEVNULL) as terminal:
        try:
            wait_for(lambda: out.exists() and "begun" in out.read_text(), within_s=15)
            window = xserver.xdotool("search", "--sync", "--onlyvisible", "--class", "xterm").split()[0]
            xserver.xdotool("windowfocus", "--sync", window)
            time.sleep(0.3)
            xserver.key("Next")
            time.sleep(1.0)
            xserver.xdotool("keydown", "Next", "sleep", "1.5", "keyup", "Next")
            time.sleep(1.0)
            xserver.xdotool("key", "Next", "sleep", "0.1", "key", "Next")
            time.sleep(1.0)
            xserver.xdotool("key", "space")
            time.sleep(0.3)
            xserver.xdotool("key", "q")
            wait_for(lambda: "left" in out.read_text())
        finally:
            terminal.kill()
    assert out.read_text().split("\n")[1:-1] == [
        "tap by pedal",
        "hold by pedal",
        "double by pedal",
        "tap by keys",
        "left",
    ]
