"""`soundcheck` live: through a sound server of our own, and in conversation with a microphone that has said it all."""

from __future__ import annotations

import contextlib
import io
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import CouldNotRun
from assistant.hearing import soundcheck_live
from assistant.hearing.contract import RATE
from assistant.hearing.levels import level_of
from assistant.hearing.own_scores import OwnScores
from assistant.hearing.recorder import Recorder
from assistant.hearing.soundcheck import prompts
from assistant.plans.checks import DEFAULT_CHECKS
from tests.commands.test_soundcheck import BACK, SPEECH, STAND_BY, command, room
from tests.hearing.voices import floats, need, padded, pcm, saw_noise, spoken, write_wav
from tests.sound_server import SoundServer, running


def environment(**more: str) -> dict[str, str]:
    return {**os.environ, "PULSE_SERVER": "unix:/nowhere", "XDG_RUNTIME_DIR": "/nowhere", **more}


@pytest.mark.skipif(
    not sys.platform.startswith("linux") or Path("/dev/snd/controlC0").exists(), reason="this machine has a sound card"
)
def test_no_microphone_is_exit_code_3_with_what_to_do():
    done = subprocess.run(
        [sys.executable, "-m", "assistant", *command()],
        capture_output=True,
        text=True,
        env=environment(),
        stdin=subprocess.DEVNULL,
        timeout=60,
    )
    assert done.returncode == 3
    assert "no microphone was found; connect one" in done.stderr and "Traceback" not in done.stderr


PATIENCE_S = 240.0  # for words of a program that hears and speaks on a machine with much else to do


class Loop:
    """Sounds into the microphone, through a sound server."""

    def __init__(self, server: SoundServer) -> None:
        self.environment = server.environment
        self._server = server

    def play(self, sound: bytes, folder: Path) -> None:
        """Plays the sound to its end."""
        self._server.play(write_wav(folder / "played.wav", sound))

    def hiss(self, folder: Path) -> contextlib.AbstractContextManager[None]:
        """A room's noise, on and on: a null sink alone is digital silence."""
        return self._server.playing(write_wav(folder / "hiss.wav", pcm(room(120 * RATE))))


@pytest.fixture
def loop() -> Iterator[Loop]:
    pytest.importorskip("miniaudio", reason="miniaudio has no wheel here")
    need("espeak-ng")
    with running(RATE) as server:
        yield Loop(server)


class Program:
    """`soundcheck` at work, line by line."""

    def __init__(self, loop: Loop, folder: Path, *words: str) -> None:
        env = {**loop.environment, "XDG_DATA_HOME": str(folder / "data"), "XDG_CONFIG_HOME": str(folder / "config")}
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-m", "assistant", "soundcheck", *words],
            env=env,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        self.seen, self._read_to = "", 0
        self._bytes: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        while chunk := os.read(self.process.stdout.fileno(), 4096):
            self._bytes.put(chunk)

    def until(self, words: str) -> None:
        """Waits until it has printed these words, after the last words waited for."""
        end = time.monotonic() + PATIENCE_S
        while (found := self.seen.find(words, self._read_to)) < 0:
            assert time.monotonic() < end, f"{words!r} did not come:\n{self.seen}"
            gone = not self._reader.is_alive() and self._bytes.empty()
            assert not gone, f"ended without {words!r}:\n{self.seen}"
            with contextlib.suppress(queue.Empty):
                self.seen += self._bytes.get(timeout=0.2).decode()
        self._read_to = found + len(words)

    def enter(self, text: str = "") -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{text}\n".encode())
        self.process.stdin.flush()

    def end(self) -> int:
        """Waits until it has ended and all that it printed has been read. Returns its exit code."""
        code = self.process.wait(PATIENCE_S)
        self._reader.join(PATIENCE_S)
        while not self._bytes.empty():
            self.seen += self._bytes.get().decode()
        return code

    def close(self) -> None:
        """Ends it, whatever it is doing, and leaves nothing open that a later test would be blamed for."""
        self.process.kill()
        self.process.wait()
        self._reader.join(PATIENCE_S)
        for stream in (self.process.stdin, self.process.stdout):
            assert stream is not None
            with contextlib.suppress(BrokenPipeError):
                stream.close()


def answer_prompts(program: Program, loop: Loop, folder: Path, texts: tuple[str, ...]) -> None:
    for n, text in enumerate(texts, 1):
        program.until(f'{n}/{len(texts)}  say: "{text}"')
        time.sleep(0.5)
        loop.play(pcm(floats(spoken("en-us", text)) * SPEECH), folder)


@pytest.mark.timeout(900)
@pytest.mark.long
def test_live_through_a_real_capture_device(loop, tmp_path):
    with loop.hiss(tmp_path):
        program = Program(loop, tmp_path, "--rounds", "2", "--phrases", "standing by for now", "return to previous")
        try:
            program.until("Kerfcall can't start or stop the saw")
            program.until("Press Enter when the saw is at full speed")
            saw = threading.Thread(target=loop.play, args=(pcm(saw_noise(8 * RATE) * 0.02), tmp_path / "saw"))
            (tmp_path / "saw").mkdir()
            saw.start()
            time.sleep(1)
            program.enter()
            program.until("Switch the saw off")
            saw.join()
            program.enter()
            answer_prompts(program, loop, tmp_path, (BACK, STAND_BY) * 2)
            program.until("Overall:")
            assert program.end() == 0, program.seen
        finally:
            program.close()
    assert "2/2" in program.seen and "Deleted" not in program.seen
    assert "Microphone: Monitor of Null Output" in program.seen
    (folder,) = (tmp_path / "data" / "kerfcall" / "voice").iterdir()
    assert sorted(OwnScores.load(folder).texts) == [BACK, STAND_BY]
    assert (folder / "noise.json").exists()


def test_ctrl_c_in_the_middle_keeps_nothing(loop, tmp_path):
    with loop.hiss(tmp_path):
        program = Program(loop, tmp_path, "--no-saw", "--phrases", "standing by for now", "return to previous")
        try:
            program.until("1/6  say:")
            loop.play(pcm(floats(spoken("en-us", BACK)) * SPEECH), tmp_path)
            program.until("2/6  say:")
            program.process.send_signal(signal.SIGINT)
            program.until("nothing was kept")
            assert program.end() == 130
        finally:
            program.close()
    assert "Traceback" not in program.seen
    assert not (tmp_path / "data").exists()


def test_a_silent_microphone_is_named_at_once(loop, tmp_path):
    """The null sink with nothing playing is a muted microphone."""
    program = Program(loop, tmp_path, "--phrases", "standing by for now")
    try:
        program.until("the microphone is silent")
        assert program.end() == 3
    finally:
        program.close()


class Played:
    """A microphone that has given all its sound already."""

    def __init__(self, sound: bytes) -> None:
        self.closed = False
        self._sound = sound

    def __call__(self, on_chunk):
        for n in range(0, len(self._sound), 960):
            on_chunk(self._sound[n : n + 960], 0.0)
        return self

    def close(self) -> None:
        self.closed = True


def take(monkeypatch, sound: bytes, *answers: str, with_saw: bool = False):
    """Runs the conversation with this sound and these answers. Returns what was shown and what was recorded."""
    played = Played(sound)
    monkeypatch.setattr(soundcheck_live, "Recorder", lambda: Recorder(played))
    # Nothing waits in a real queue: what comes is what comes.
    monkeypatch.setattr(Recorder, "skip", lambda self: None)
    lines = iter(answers)
    out = io.StringIO()
    try:
        live = soundcheck_live.take(PROMPTS, with_saw, out, lambda: next(lines, ""))
    finally:
        assert played.closed
    return out.getvalue(), live


PROMPTS = prompts(DEFAULT_CHECKS, "marigold", ["standing by for now", "return to previous"])


def test_nothing_said_is_asked_again_and_given_up(monkeypatch):
    with pytest.raises(CouldNotRun, match="nothing was heard for 2 phrases in a row.*nothing was kept"):
        take(monkeypatch, pcm(room(70 * RATE)))


def test_a_phrase_that_nobody_says_is_asked_three_times_and_passed_over(monkeypatch):
    speech = floats(spoken("en-us", "standing by for now")) * SPEECH
    sound = np.concatenate([room(30 * RATE), speech + room(len(speech)), room(2 * RATE)])
    out, live = take(monkeypatch, pcm(sound))
    assert out.count(f'1/2  say: "{BACK}"') == 3 and out.count("2/2  say:") == 1
    assert [one.said for one in live.sayings] == [False, True]
    assert len(live.quiet) == 2 * 4 * RATE and live.saw is None


def test_the_saw_is_left_out_by_an_s_or_by_nobody_answering(monkeypatch):
    speech = floats(padded(spoken("en-us", "standing by for now"), 0.5, 1.0)) * SPEECH
    sound = pcm(np.concatenate([room(5 * RATE), *[speech + room(len(speech))] * 2]))
    for answers in (("s\n",), ()):
        out, live = take(monkeypatch, sound, *answers, with_saw=True)
        assert live.saw is None and "Skipping the saw's noise." in out
        assert "Kerfcall can't start or stop the saw" in out and "Stand out of the" in out and "guard in place" in out


def test_a_blade_that_runs_down_is_waited_for_and_no_phrase(monkeypatch):
    speech = floats(padded(spoken("en-us", "standing by for now"), 0.5, 1.0)) * SPEECH
    saw = saw_noise(9 * RATE) * 0.05
    sound = pcm(np.concatenate([room(4 * RATE), saw, room(2 * RATE), *[speech + room(len(speech))] * 2]))
    out, live = take(monkeypatch, sound, "\n", "\n", with_saw=True)
    assert "Waiting until it is as quiet as before" in out
    assert live.saw is not None and level_of(live.saw).rms == pytest.approx(-26, abs=0.5)
    assert all(0.5 < (one.end - one.first) / RATE < 1.5 for one in live.sayings)
    with pytest.raises(CouldNotRun, match="did not get quiet within 30 s"):
        take(monkeypatch, pcm(np.concatenate([room(4 * RATE), saw_noise(40 * RATE) * 0.05])), "\n", "\n", with_saw=True)
