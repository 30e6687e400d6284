"""Louder and quieter by decibels without clipping, slower and quicker by the rate asked for; real speech measured."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import numpy as np
import pytest

from assistant.plans.model import VoiceSettings
from assistant.plans.voice_range import LOUDEST_DB, SOFTEST_DB, STEP_DB, stepped_rate
from assistant.session.events import Heard
from assistant.speaking.cache import SpeechCache
from assistant.speaking.espeak import EspeakEngine
from assistant.speaking.file_speaker import FileSpeaker
from assistant.speaking.mixer import KNEE, TOP, Mixer
from assistant.speaking.renderer import Renderer
from tests.runner.adapters import started
from tests.speaking.stand_ins import PHRASES, RATE, FlatVoice, HandClock, Posted, steady


def mixed(samples: np.ndarray, loudness_db: float) -> np.ndarray:
    mixer = Mixer(RATE)
    mixer.set_loudness(loudness_db)
    mixer.mix(0)
    mixer.reserve("warming").samples = steady(0.01, 0).samples
    mixer.mix(RATE // 100)
    mixer.reserve("said").samples = samples
    return mixer.mix(len(samples))[0].astype(float)


def level_db(samples: np.ndarray) -> float:
    return float(20 * np.log10(np.sqrt(np.mean(samples**2))))


@pytest.mark.parametrize("loudness_db", [SOFTEST_DB, -STEP_DB, STEP_DB, LOUDEST_DB])
def test_speech_is_louder_by_so_many_decibels_and_never_clips(loudness_db: int) -> None:
    """Real speech. Where its peaks are bent, the level can fall short by 1 dB at most."""
    for text in PHRASES:
        pcm = EspeakEngine().render(text)
        assert pcm is not None
        made = mixed(pcm.samples, loudness_db)
        gained = level_db(made) - level_db(pcm.samples.astype(float))
        assert loudness_db - 1 <= gained <= loudness_db + 0.1, text
        assert np.abs(made).max() <= TOP < 32767


def test_even_a_full_scale_sound_stays_under_the_limit_and_keeps_its_order() -> None:
    ramp = np.arange(-32768, 32768, dtype=np.int32).astype(np.int16)
    made = mixed(ramp, LOUDEST_DB)
    assert np.abs(made).max() <= TOP and np.all(np.diff(made) >= 0)
    small = np.abs(ramp.astype(float)) * 10 ** (LOUDEST_DB / 20) < KNEE
    assert np.allclose(made[small], ramp[small] * 10 ** (LOUDEST_DB / 20), atol=0.5)


def test_what_sounds_already_becomes_louder_without_a_crack() -> None:
    mixer = Mixer(RATE)
    mixer.reserve("sounding").samples = steady(0.3, 6000).samples
    before = mixer.mix(220)[0]
    mixer.set_loudness(LOUDEST_DB)
    after = np.concatenate([before, mixer.mix(220)[0], mixer.mix(220)[0]]).astype(int)
    assert after[0] == 6000 and after[-1] == pytest.approx(6000 * 10 ** (6 / 20), abs=1)
    assert np.abs(np.diff(after)).max() < 100


def test_a_quicker_voice_says_the_same_in_less_time() -> None:
    """espeak-ng's own rate is in words a minute: two steps of 12 in a hundred make speech shorter by a fifth or so."""
    engine = EspeakEngine(words_a_minute=160)
    usual = engine.render(PHRASES[2])
    engine.set_rate(stepped_rate(160, 2))
    quick = engine.render(PHRASES[2])
    engine.set_rate(160)
    again = engine.render(PHRASES[2])
    assert usual and quick and again
    assert 0.7 < quick.seconds / usual.seconds < 0.9 and abs(again.seconds - usual.seconds) < 0.02


def test_what_was_rendered_ahead_is_rendered_anew_and_the_old_pace_is_not_said() -> None:
    voice, cache = FlatVoice(), SpeechCache()
    renderer = Renderer(voice, cache)
    try:
        renderer.prepare(["0.1 100"])
        until(lambda: renderer.ready("0.1 100") is not None)
        renderer.set_rate(180)
        until(lambda: renderer.ready("0.1 100") is not None)
        assert voice.begun == ["0.1 100", "0.1 100"] and voice.words_a_minute == 180
        done = threading.Event()
        renderer.set_rate(200)
        renderer.want("0.2 100", lambda pcm: done.set(), lambda: True)
        assert done.wait(5) and voice.words_a_minute == 200
    finally:
        renderer.close()


def until(true: object, within_s: float = 20.0) -> None:
    last = time.monotonic() + within_s
    while not true():  # type: ignore[operator]
        assert time.monotonic() < last
        time.sleep(0.005)


def test_what_is_said_into_a_file_is_as_loud_as_asked(tmp_path: Path) -> None:
    clock = HandClock()
    voice = FlatVoice()
    speaker = FileSpeaker(tmp_path / "said.wav", clock, Posted(), VoiceSettings(), engine=voice)
    speaker.say("a", "0.5 1000", True)
    clock.now = 1.0
    speaker.set_voice(LOUDEST_DB, 180)
    speaker.say("b", "0.5 1000", True)
    clock.now = 2.0
    speaker.close(1.0)
    samples = np.frombuffer((tmp_path / "said.wav").read_bytes()[44:], np.int16)
    assert set(samples[:1000]) == {1000} and samples.max() == round(1000 * 10 ** (6 / 20))
    assert voice.words_a_minute == 180


def test_the_voice_is_changed_before_the_answer_is_spoken() -> None:
    runner, log, _ = started()
    state = runner.state
    runner.handle(Heard(5.0, "", "louder", None, "turn the volume up", 5.0, state.generation, "voice"))
    assert log.of("set voice", "say", "commit") == [("set voice", STEP_DB, 175), ("say", "Louder.", False)]
