"""The work that every voice needs done on its text and its samples."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.speaking.engine import BREATH_S, LONGEST_TEXT, Pcm, at_rate, speakable, trimmed
from tests.hearing.voices import tone


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("  set\tone \n two ", "set one two"),
        ("set\0 one", "set one"),
        ("tray\x1b[2J wall", "tray [2J wall"),
        ("chêne", "chêne"),
        ("", ""),
    ],
)
def test_control_characters_never_reach_a_voice(text: str, said: str) -> None:
    assert speakable(text) == said


def test_a_text_has_a_greatest_length() -> None:
    assert len(speakable("clamp " * 10_000)) == LONGEST_TEXT


def loudest_hz(pcm: Pcm) -> float:
    spectrum = np.abs(np.fft.rfft(pcm.samples.astype(float)))
    return float(np.fft.rfftfreq(pcm.frames, 1 / pcm.rate)[np.argmax(spectrum)])


@pytest.mark.parametrize(("source", "target"), [(16000, 22050), (44100, 22050), (22050, 48000), (22050, 22050)])
def test_another_rate_keeps_length_and_pitch(source: int, target: int) -> None:
    made = at_rate(Pcm(np.rint(tone(440, 0.5, 8000, source)).astype(np.int16), source), target)
    assert made.rate == target
    assert made.seconds == pytest.approx(0.5, abs=1e-3)
    assert loudest_hz(made) == pytest.approx(440, abs=3)


def test_another_rate_of_nothing_is_nothing() -> None:
    assert at_rate(Pcm(np.zeros(0, np.int16), 16000), 22050).frames == 0


def test_silence_before_the_first_sound_is_cut_and_a_breath_follows_the_last() -> None:
    sound = np.concatenate([np.zeros(5000), np.full(1000, 500), np.zeros(9000)]).astype(np.int16)
    made = trimmed(Pcm(sound, 22050))
    assert made.samples[0] == 500
    assert made.frames == 1000 + round(BREATH_S * 22050)


def test_a_silent_render_is_nothing() -> None:
    assert trimmed(Pcm(np.full(1000, 3, np.int16), 22050)).frames == 0
