"""What the view shows of a real pedal, a real microphone, and the pace of a resumed session."""

from __future__ import annotations

import re
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tests.commands.program import PLAN
from tests.hearing.voices import pcm, sine_of, write_wav
from tests.pedal.xserver import XServer, needs_x
from tests.sound_server import SoundServer

pytest.importorskip("pyte")
pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX"),
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
]
if sys.platform != "win32":
    from tests.screens.test_view import MANY, SHOP, TOLD_S, drawn, to_the_first_pass
    from tests.screens.view_rig import Rig, program

LOUD_DBFS = -20.0


def pace_is_shown(page: str) -> bool:
    return re.search(r"(about \d+ min|less than a minute) left", page) is not None


@needs_x
def test_the_pedal_is_seen_going_down_and_what_it_did_is_shown(tmp_path: Path, xserver: XServer) -> None:
    """Down within a blink, so that the foot knows; then heard, lost with its display, and heard again."""
    command = program(tmp_path, plan=PLAN, shop=SHOP, feet=True)
    rig = Rig(command, DISPLAY=xserver.display, XDG_SESSION_TYPE="x11")
    try:
        rig.until("pedal heard")
        time.sleep(TOLD_S)
        xserver.down("Next")
        rig.until("pedal DOWN")
        rig.until("long press -> clamps confirmed")
        xserver.up("Next")
        rig.until("pedal heard")
        xserver.end(for_good=False)
        rig.until("pedal lost: keys", "!! The pedal is not heard any more")
        xserver.start_again()
        rig.until("pedal heard")
        rig.until(lambda page: "!! The pedal is not heard any more" not in page)
    finally:
        rig.close()


def test_the_microphones_level_is_seen(tmp_path: Path, sound_server: SoundServer) -> None:
    """A null sink alone is digital silence. A tone of -20 dBFS fills ten of twelve cells, give or take one."""
    pytest.importorskip("miniaudio", reason="miniaudio has no wheel here")
    options = ("--speaker", str(tmp_path / "said.wav"))
    command = program(tmp_path, *options, plan=PLAN, shop=SHOP, silent=False)
    environ: dict[str, Any] = {**sound_server.where}
    rig = Rig(command, **environ)
    try:
        rig.until("mic SILENT: muted?", within_s=30.0)
        with sound_server.playing(write_wav(tmp_path / "tone.wav", pcm(sine_of(LOUD_DBFS, 20)))):
            rig.until(lambda page: any(f"mic {'█' * n}{'░' * (12 - n)} " in page for n in (9, 10, 11)))
        rig.until("mic SILENT: muted?")
    finally:
        rig.close()


def test_a_resumed_session_knows_its_pace(tmp_path: Path) -> None:
    """Six passes were cut before it was left, so the time left is shown from the first call on."""
    rig = Rig(program(tmp_path, plan=MANY, shop=SHOP))
    try:
        to_the_first_pass(rig)
        for cut in range(1, 7):
            time.sleep(TOLD_S)  # a setting counts once it can have been read
            rig.send(" ")
            rig.until(f"pass {cut + 1} of")
        rig.until(pace_is_shown)
        rig.send("q")
        assert rig.ended() == 1
    finally:
        rig.close()
    command = [
        sys.executable,
        "-m",
        "assistant",
        "resume",
        "--state",
        str(tmp_path / "state"),
        "--no-voice",
        "--no-pedal",
    ]
    rig = Rig(command)
    try:
        rig.until(drawn("UNTOUCHED?"), "6/", pace_is_shown)
    finally:
        rig.close()
