"""pyttsx3 in a separate process: every phrase is rendered to a file and measured."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.errors import NoSuchPart
from assistant.patience import STEP, cpu_s_of
from assistant.speaking.engine import Pcm, VoiceFailed, nothing
from assistant.speaking.espeak import EspeakEngine
from assistant.speaking.pyttsx3_child import pick_voice, settled
from assistant.speaking.pyttsx3_engine import Pyttsx3Engine
from assistant.speaking.sound_files import read_sound
from tests.speaking.stand_ins import PHRASES

pytest.importorskip("pyttsx3", reason="pyttsx3 is not installed")


@pytest.fixture(scope="module")
def engine() -> Iterator[Pyttsx3Engine]:
    with Pyttsx3Engine(None, 160) as made:
        yield made


def test_many_phrases_in_a_row_are_all_rendered(engine: Pyttsx3Engine) -> None:
    """pyttsx3's own queue keeps only the last of several texts. Here each is complete, loud and long enough.

    Second opinion on the length: espeak-ng's library called directly, which pyttsx3's Linux driver uses too.
    """
    reference = EspeakEngine("en", 160)
    for text in PHRASES * 3:
        pcm, other = engine.render(text), reference.render(text)
        assert pcm is not None and other is not None
        assert np.abs(pcm.samples.astype(int)).max() > 3000
        assert pcm.seconds == pytest.approx(other.seconds, rel=0.1)


def test_the_rate_is_always_taken() -> None:
    """Later changes of its rate are dropped at random. In a new process the rate applies from the first phrase."""
    with Pyttsx3Engine(None, 100) as slow, Pyttsx3Engine(None, 300) as fast:
        for _ in range(4):
            a, b = slow.render(PHRASES[2]), fast.render(PHRASES[2])
            assert a is not None and b is not None and a.seconds > 2 * b.seconds


def test_a_file_that_came_without_sound_is_made_again(engine: Pyttsx3Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    read = []

    def silent_at_first(path: Path) -> Pcm:
        read.append(path)
        return nothing(engine.rate) if len(read) == 1 else read_sound(path)

    monkeypatch.setattr("assistant.speaking.pyttsx3_engine.read_sound", silent_at_first)
    pcm = engine.render(PHRASES[0])
    assert pcm is not None and pcm.frames and len(read) == 2


def test_an_empty_text_is_nothing(engine: Pyttsx3Engine) -> None:
    pcm = engine.render(" ")
    assert pcm is not None and pcm.frames == 0


def test_a_cancelled_text_is_not_rendered(engine: Pyttsx3Engine) -> None:
    assert engine.render(PHRASES[0], lambda: True) is None


def voice(id: str, *languages: str | bytes) -> SimpleNamespace:
    return SimpleNamespace(id=id, languages=list(languages))


@pytest.mark.parametrize(
    ("voices", "default", "picked"),
    [
        ([voice("anna", "de_DE"), voice("sam", "en_US")], "anna", "sam"),
        ([voice("anna", "de_DE"), voice("sam", "en_US"), voice("kit", "en-GB")], "kit", None),
        ([voice("anna", "de_DE")], "anna", None),
        ([voice("gmw/de", b"\x05de"), voice("gmw/en", b"\x02en-gb")], "gmw/de", "gmw/en"),
        # Some drivers leave the list empty. "en" inside another word does not mean English.
        ([voice("TOKENS/VENDOR_DE-DE_HELEN"), voice("TOKENS/VENDOR_EN-US_SAM")], "", "TOKENS/VENDOR_EN-US_SAM"),
        ([], "anna", None),
    ],
)
def test_a_system_that_speaks_another_language_is_given_an_english_voice(
    voices: list[SimpleNamespace], default: str, picked: str | None
) -> None:
    assert pick_voice(voices, default, "en") == picked


def test_a_file_still_being_written_is_waited_for(tmp_path: Path) -> None:
    path = tmp_path / "said.aiff"
    assert not settled(str(path), within_s=0.1, look_s=0.01)

    def write() -> None:
        for n in range(1, 9):
            path.write_bytes(bytes(100 * n))
            time.sleep(0.02)

    thread = threading.Thread(target=write)
    thread.start()
    assert settled(str(path), within_s=5.0, look_s=0.1)
    thread.join()
    assert path.stat().st_size == 800


def test_nothing_is_printed(engine: Pyttsx3Engine, capfd: pytest.CaptureFixture[str]) -> None:
    engine.render(PHRASES[0])
    assert capfd.readouterr().out == ""


def test_an_unknown_voice_is_named() -> None:
    with Pyttsx3Engine("no-such-voice") as engine, pytest.raises(VoiceFailed, match="no-such-voice"):
        engine.render(PHRASES[0])


def child_of(engine: Pyttsx3Engine) -> int:
    assert engine._process is not None and engine._process.pid is not None
    return engine._process.pid


def test_a_dead_process_fails_one_phrase_and_is_replaced() -> None:
    with Pyttsx3Engine() as engine:
        first = child_of(engine)
        os.kill(first, signal.SIGTERM)
        with pytest.raises(VoiceFailed, match="ended unexpectedly"):
            engine.render(PHRASES[0])
        again = engine.render(PHRASES[0])
        assert again is not None and again.seconds > 1
        assert child_of(engine) != first


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="no way to freeze a process here")
def test_a_process_that_hangs_is_ended_and_replaced() -> None:
    with Pyttsx3Engine(render_s=0.5) as engine:
        os.kill(child_of(engine), signal.SIGSTOP)
        with pytest.raises(VoiceFailed, match=r"gave no answer within \d.\d s, and made no more progress"):
            engine.render(PHRASES[0])
        again = engine.render(PHRASES[0])
        assert again is not None and again.seconds > 1


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="what a process does is known on Linux only")
def test_a_process_that_is_slow_but_at_work_is_waited_for_and_seen_to_move() -> None:
    """It runs a tenth of the time, so one text takes longer than a process that hangs would be given."""
    moves: list[float] = []

    def moved() -> bool:
        moves.append(time.monotonic())
        return False

    with Pyttsx3Engine(render_s=1.5) as engine:
        child, ending = child_of(engine), threading.Event()

        def bursts() -> None:
            while not ending.is_set():
                os.kill(child, signal.SIGSTOP)
                ending.wait(0.4)
                worked_s = cpu_s_of(child) or 0.0
                os.kill(child, signal.SIGCONT)
                # On a busy machine it gets only a part of the time.
                while not ending.wait(0.02) and (cpu_s_of(child) or 0.0) < worked_s + 2 * STEP:
                    pass

        thread = threading.Thread(target=bursts)
        thread.start()
        try:
            said = engine.render(" ".join(PHRASES * 4), moved)
        finally:
            ending.set()
            thread.join()
        assert said is not None and said.seconds > 10
        assert child_of(engine) == child, "it was not replaced"
        assert len(moves) > 2


def test_closing_ends_the_process_and_its_files() -> None:
    engine = Pyttsx3Engine()
    process, folder = engine._process, engine._folder.name
    assert process is not None
    pid = process.pid
    engine.close()
    assert not os.path.exists(folder)
    with pytest.raises(ProcessLookupError):
        os.kill(pid or 0, 0)
    with pytest.raises(VoiceFailed, match="closed"):
        engine.render("one")


def test_a_driver_that_does_not_load_is_a_missing_part(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.speaking.pyttsx3_engine._bundled_library", lambda: ("libno-such.so", None))
    with pytest.raises(NoSuchPart, match="did not load.*pip install pyttsx3"):
        Pyttsx3Engine()
