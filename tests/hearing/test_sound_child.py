"""Loudspeaker, microphone and level: with a faulty sound library, and with a microphone that is really there."""

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

from assistant.errors import NoSuchPart
from assistant.health import LIMITED, WORKS, Finding
from assistant.hearing import health, sound_child
from assistant.speaking.health import loudspeaker
from tests.hearing.voices import pcm, sine_of, write_wav
from tests.sound_server import SoundServer

BOTH = {"outputs": ["Headset", "Screen"], "inputs": ["Headset"]}


def test_without_a_sound_library_one_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sound_child, "importable", lambda name: False)
    devices = sound_child.found_devices()
    for line in (loudspeaker(devices), health.microphone(devices)):
        assert "no sound library" in line.text and line.mend == "python -m pip install miniaudio"


def test_a_microphone_that_gives_no_sound_is_told() -> None:
    def opener(take: Callable[[bytes, float], None]) -> Any:
        raise NoSuchPart("the microphone can't be started")

    told = sound_child.measured(0.1, opener)
    assert told == {"why": "the microphone can't be started"}
    assert "can't be started" in health.level(BOTH, told).text


@pytest.mark.parametrize(
    ("code", "speaker", "microphone", "words"),
    [
        ("import os; os.abort()", LIMITED, LIMITED, "the sound library failed"),
        ("import time; time.sleep(3600)", LIMITED, LIMITED, "no answer within"),
        ("print('no list')", LIMITED, LIMITED, "can't be read"),
        ("print('[]')", LIMITED, LIMITED, "can't be read"),
        (f"print('{json.dumps(BOTH)}', flush=True); import os; os.abort()", WORKS, WORKS, "microphone failed"),
        (f"print('{json.dumps(BOTH)}', flush=True); import time; time.sleep(3600)", WORKS, WORKS, "no answer within"),
    ],
)
def test_a_sound_library_that_crashes_or_hangs_only_stands_in(
    code: str, speaker: str, microphone: str, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sound_child, "CHILD", code)
    devices, measured = sound_child.asked(1.0)
    lines = [loudspeaker(devices), health.microphone(devices), health.level(devices, measured)]
    assert [line.state for line in lines] == [speaker, microphone, LIMITED]
    assert any(words in line.text for line in lines)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="what a child does is known on Linux only")
def test_a_child_that_is_slow_but_at_work_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """More than twice as long as one that hangs would be."""
    work = "import time\nwhile time.process_time() < 2: pass\n"
    monkeypatch.setattr(sound_child, "CHILD", f"{work}print('{json.dumps(BOTH)}')")
    devices, _ = sound_child.asked(0.8)
    assert devices == BOTH


def test_a_hanging_child_ends_with_its_program(tmp_path: Path) -> None:
    hangs = "print('hangs', flush=True)\nimport time\ntime.sleep(600)\n"
    (tmp_path / "miniaudio.py").write_text(hangs, encoding="utf-8")
    child_code = sound_child.CHILD.replace("sys.path[:]", "sys.path[1:]")
    code = f"import sys\nsys.path.insert(0, {str(tmp_path)!r})\n{child_code}"
    with subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as child:
        assert child.stdin is not None and child.stdout is not None
        assert child.stdout.readline() == b"hangs\n" and child.poll() is None
        child.stdin.close()
        assert child.wait(60) == 1


def test_the_child_runs_from_any_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    devices, _ = sound_child.asked()
    assert "outputs" in devices or devices["why"] == sound_child.NO_LIBRARY


# --- a microphone that is really there


@pytest.fixture
def server(sound_server: SoundServer) -> SoundServer:
    """The monitor of a null sink is the only microphone."""
    pytest.importorskip("miniaudio", reason="miniaudio has no wheel here")
    return sound_server


def test_a_microphone_that_is_muted_is_told(server: SoundServer) -> None:
    """A null sink to which nothing plays is digital silence."""
    done = subprocess.run(
        [sys.executable, "-m", "assistant", "ready", "--json"],
        env=server.environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=60,
    )
    assert not done.stderr
    parts = {part["part"]: part for part in json.loads(done.stdout)["parts"]}
    assert (parts["loudspeaker"]["state"], parts["microphone"]["state"]) == (WORKS, WORKS)
    assert parts["level"]["state"] == LIMITED and "silent" in parts["level"]["text"]
    assert "voice" not in parts["your answers"]["data"].get("by", [])


@pytest.fixture
def level_of(server: SoundServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[np.ndarray], Finding]:
    """The line of the level while this is played."""
    for name, value in server.where.items():
        monkeypatch.setenv(name, value)

    def measured(samples: np.ndarray) -> Finding:
        played = write_wav(tmp_path / "played.wav", pcm(samples))
        with server.playing(played, latency_ms=50):
            time.sleep(0.5)
            return health.level(*sound_child.asked())

    return measured


@pytest.mark.parametrize(("dbfs", "state"), [(-20.0, WORKS), (-60.0, WORKS), (-80.0, LIMITED)])
def test_the_level_of_what_is_played_is_measured(
    level_of: Callable[[np.ndarray], Finding], dbfs: float, state: str
) -> None:
    found = level_of(sine_of(dbfs, 20))
    assert found.state == state, found
    assert found.data["loudest_dbfs"] == pytest.approx(dbfs, abs=1.5)


def test_clipping_is_measured(level_of: Callable[[np.ndarray], Finding]) -> None:
    found = level_of(np.clip(sine_of(6, 20), -1, 1))
    assert found.state == LIMITED and "clipping" in found.text, found
