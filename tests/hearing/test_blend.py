"""The sound that is decoded: suppressed, with as much of the original sound as its noise allows."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing import ear as ear_module
from assistant.hearing.blend import RESIDUAL_DB, blended, clearness
from assistant.hearing.contract import CLEAR_DB, RATE, Recogniser, Result
from assistant.hearing.denoise import choose_denoiser
from assistant.hearing.ear import Ear
from tests.hearing.voices import floats, need, noisy, padded, pcm, sphinx, spoken, table


def tone_in_noise(ratio_db: float, seconds: float = 2.0) -> np.ndarray:
    """A second of a tone within noise, so many dB over it."""
    count = round(seconds * RATE)
    t = np.arange(count) / RATE
    noise = np.random.default_rng(0).standard_normal(count) * 0.3 / np.sqrt(2) / 10 ** (ratio_db / 20)
    return noise + np.where(np.abs(t - seconds / 2) < seconds / 4, 0.3 * np.sin(2 * np.pi * 500 * t), 0)


@pytest.mark.parametrize("ratio_db", [5, 10, 20, 30])
def test_clearness_is_the_level_of_the_speech_over_its_noise(ratio_db):
    expected = 10 * np.log10(10 ** (ratio_db / 10) + 1)  # noise is in the loud part, too
    assert clearness(pcm(tone_in_noise(ratio_db))) == pytest.approx(expected, abs=1.5)


def test_a_piece_as_clean_as_that_is_decoded_as_it_came():
    raw = pcm(tone_in_noise(60))
    assert blended(bytes(len(raw)), raw) == raw


@pytest.mark.parametrize("ratio_db", [5, 10, 20])
def test_what_is_left_of_the_noise_lies_far_under_the_speech(ratio_db):
    raw = tone_in_noise(ratio_db)
    left = floats(blended(bytes(2 * len(raw)), pcm(raw)))  # the suppression left nothing at all
    noise = left[: RATE // 4].std()
    assert 20 * np.log10(0.3 / np.sqrt(2) / noise) == pytest.approx(RESIDUAL_DB, abs=2.5)


def test_of_a_beginning_that_is_not_kept_the_suppressed_sound_is_decoded():
    raw = pcm(tone_in_noise(60))
    suppressed = pcm(np.full(len(raw) // 2, 0.1))
    mixed = blended(suppressed, raw[1000:])
    assert mixed[:1000] == suppressed[:1000] and mixed[1000:] == raw[1000:]
    assert blended(suppressed, b"") == suppressed


class Deaf(Recogniser):
    """Where it is the sound that is looked at, not what is made out in it."""

    name = "deaf"

    def unknown_words(self, words):
        return []

    def decode(self, pcm16k, phrases, clear_db=CLEAR_DB):
        return Result(None, "unclear")


@pytest.mark.parametrize("name", ["spectral", "rnnoise"])
def test_both_are_the_same_moment(name, monkeypatch):
    """The suppressed piece and the one as it came match best without any shift."""
    need("espeak-ng")
    pairs = []
    monkeypatch.setattr(ear_module, "blended", lambda suppressed, raw: pairs.append((suppressed, raw)) or suppressed)
    ear = Ear(Deaf(), choose_denoiser(name)[0])
    ear.listen(table(), 0)
    ear.feed(noisy(padded(spoken("en-us", "marigold finish the session"), 2.0, 1.0), 20))
    suppressed, raw = (floats(sound) for sound in pairs[-1])
    assert len(suppressed) == len(raw)
    assert int(np.argmax(np.correlate(suppressed, raw[200:-200], "valid"))) == 200


@pytest.mark.long
def test_hissing_digits_are_told_apart_in_quiet():
    """With suppression alone, this voice's "six" is taken for "three" or "two". Quiet needs no suppression."""
    need("espeak-ng")
    text = "marigold go to pass six number six"
    for voice in ("en-us", "en-gb-scotland"):
        ear = Ear(sphinx(), choose_denoiser("rnnoise")[0])
        ear.listen(table(), 0)
        found = ear.feed(padded(spoken(voice, text), 1.0, 1.0))
        assert [f.phrase.text if f.phrase else f.reason for f in found] == [text]
