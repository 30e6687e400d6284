"""Loudspeaker, microphone and level: whatever the sound library does, and with a microphone that is really there."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.commands import ready_sound
from assistant.commands.ready_line import STANDS_IN, WORKS, Line
from assistant.errors import NoSuchPart
from assistant.hearing.contract import RATE
from tests.hearing.voices import pcm, sine_of, write_wav
from tests.sound_server import SoundServer

BOTH = {"outputs": ["Headset", "Screen"], "inputs": ["Headset"]}


def level(sound: np.ndarray) -> Line:
    return ready_sound.level_line(ready_sound.figures(pcm(sound)))


def spoken(dbfs: float, room_dbfs: float = -70) -> np.ndarray:
    """Half a second of speech's level in a second and a half of room."""
    sound = np.random.default_rng(1).standard_normal(round(1.5 * RATE)) * 10 ** (room_dbfs / 20)
    sound[RATE // 2 : RATE] += sine_of(dbfs, 0.5)
    return sound


@pytest.mark.parametrize(
    ("sound", "state", "words"),
    [
        (np.zeros(RATE), STANDS_IN, "silent"),
        (sine_of(-90), STANDS_IN, "silent"),
        (np.clip(sine_of(3), -1, 0.99), STANDS_IN, "clipping"),
        (np.clip(sine_of(3), -0.5, 0.5), STANDS_IN, "clipping"),
        (sine_of(-3.01), STANDS_IN, "clipping"),
        (sine_of(-6), WORKS, "steady sound"),
        (spoken(-50), STANDS_IN, "too quiet for speech"),
        (sine_of(-80), STANDS_IN, "too quiet, even for a room"),
        (spoken(-20), WORKS, "speech"),
        (sine_of(-60), WORKS, "nobody spoke"),
        (sine_of(-30), WORKS, "steady sound"),
    ],
)
def test_a_level_is_told_with_what_is_wrong_with_it(sound: np.ndarray, state: str, words: str) -> None:
    line = level(sound)
    assert line.state == state and words in line.text, line
    assert bool(line.mend) is (state == STANDS_IN)


def test_a_level_has_a_figure_and_a_bar() -> None:
    """-20 dBFS lies three quarters up from -80 to 0."""
    line = level(sine_of(-20))
    assert line.text.startswith("-20 dBFS [" + "#" * 15 + "." * 5 + "]")
    assert line.data["rms_dbfs"] == pytest.approx(-20, abs=0.05)
    assert len(line.text) < 56


def test_a_moment_of_nothing_at_the_beginning_is_not_taken_for_a_pause_in_speech() -> None:
    """A sound server's first buffers may be empty."""
    sound = sine_of(-60)
    sound[: RATE // 5] = 0
    assert level(sound).data["spoken"] is False


def test_devices_are_named() -> None:
    speaker, microphone, measured = ready_sound.lines(BOTH, ready_sound.figures(pcm(sine_of(-60))))
    assert (speaker.state, speaker.text) == (WORKS, "Headset and 1 more")
    assert (microphone.state, microphone.data) == (WORKS, {"devices": ["Headset"]})
    assert measured.state == WORKS


def test_the_loudspeaker_that_the_shop_file_asks_for_is_named() -> None:
    other = BOTH["outputs"][1]
    speaker = ready_sound.lines(BOTH, {}, other.upper()[:-1])[0]
    assert (speaker.state, speaker.text) == (WORKS, f"{other}, as the shop file asks")
    speaker = ready_sound.lines(BOTH, {}, "porch")[0]
    assert speaker.state == STANDS_IN and '"porch"' in speaker.text and other in speaker.text
    assert ready_sound.lines({"outputs": [], "inputs": []}, {}, "porch")[0].text.endswith("none found")


def test_without_devices_text_pedal_and_keys_stand_in() -> None:
    lines = ready_sound.lines({"outputs": [], "inputs": []}, {})
    assert [line.state for line in lines] == [STANDS_IN] * 3
    assert "none found" in lines[0].text and "none found" in lines[1].text


def test_without_a_sound_library_one_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ready_sound, "importable", lambda name: False)
    lines = ready_sound.lines(ready_sound.found_devices(), {})
    assert "no sound library" in lines[0].text and lines[0].mend == "python -m pip install miniaudio"


def test_a_microphone_that_gives_no_sound_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def opener(take: Callable[[bytes, float], None]) -> Any:
        raise NoSuchPart("the microphone can't be started")

    told = ready_sound.measured(0.1, opener)
    assert told == {"why": "the microphone can't be started"}
    assert "can't be started" in ready_sound.lines(BOTH, told)[2].text


@pytest.mark.parametrize(
    ("code", "speaker", "microphone", "words"),
    [
        ("import os; os.abort()", STANDS_IN, STANDS_IN, "the sound library failed"),
        ("import time; time.sleep(3600)", STANDS_IN, STANDS_IN, "no answer within"),
        ("print('no list')", STANDS_IN, STANDS_IN, "nothing that can be read"),
        ("print('[]')", STANDS_IN, STANDS_IN, "nothing that can be read"),
        (f"print('{json.dumps(BOTH)}', flush=True); import os; os.abort()", WORKS, WORKS, "microphone failed"),
        (f"print('{json.dumps(BOTH)}', flush=True); import time; time.sleep(3600)", WORKS, WORKS, "no answer within"),
    ],
)
def test_a_sound_library_that_crashes_or_hangs_only_stands_in(
    code: str, speaker: str, microphone: str, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ready_sound, "CHILD", code)
    lines = ready_sound.lines(*ready_sound.asked(1.0))
    assert [line.state for line in lines] == [speaker, microphone, STANDS_IN]
    assert any(words in line.text for line in lines)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="what a child does is known on Linux only")
def test_a_child_that_is_slow_but_at_work_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three times as long as one that hangs would be."""
    work = "import time\nwhile time.process_time() < 3: pass\n"
    monkeypatch.setattr(ready_sound, "CHILD", f"{work}print('{json.dumps(BOTH)}')")
    devices, _ = ready_sound.asked(1.0)
    assert devices == BOTH


def test_the_child_runs_from_any_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    devices, _ = ready_sound.asked()
    assert "outputs" in devices or devices["why"] == ready_sound.NO_LIBRARY


# --- a microphone that is really there


@pytest.fixture
def server(sound_server: SoundServer) -> SoundServer:
    """The monitor of a null sink is the only microphone."""
    pytest.importorskip("miniaudio", reason="miniaudio has no wheel here")
    return sound_server


def ready(server: SoundServer) -> dict[str, dict[str, Any]]:
    done = subprocess.run(
        [sys.executable, "-m", "assistant", "ready", "--json"],
        env=server.environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=60,
    )
    assert not done.stderr
    return {part["part"]: part for part in json.loads(done.stdout)["parts"]}


def test_a_microphone_that_is_muted_is_told(server: SoundServer) -> None:
    """A null sink to which nothing plays is digital silence."""
    parts = ready(server)
    assert (parts["loudspeaker"]["state"], parts["microphone"]["state"]) == (WORKS, WORKS)
    assert parts["level"]["state"] == STANDS_IN and "silent" in parts["level"]["text"]
    assert "voice" not in parts["your answers"]["data"].get("by", [])


@pytest.mark.parametrize(("dbfs", "state"), [(-20.0, WORKS), (-60.0, WORKS), (-80.0, STANDS_IN)])
def test_the_level_of_what_is_played_is_measured(server: SoundServer, tmp_path: Path, dbfs: float, state: str) -> None:
    played = write_wav(tmp_path / "tone.wav", pcm(sine_of(dbfs, 20)))
    with server.playing(played, latency_ms=50):
        time.sleep(0.5)
        found = ready(server)["level"]
    assert found["state"] == state, found
    assert found["data"]["loudest_dbfs"] == pytest.approx(dbfs, abs=1.5)


def test_clipping_is_measured(server: SoundServer, tmp_path: Path) -> None:
    played = write_wav(tmp_path / "loud.wav", pcm(np.clip(sine_of(6, 20), -1, 1)))
    with server.playing(played, latency_ms=50):
        time.sleep(0.5)
        found = ready(server)["level"]
    assert found["state"] == STANDS_IN and "clipping" in found["text"], found
