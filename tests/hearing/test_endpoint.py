"""An utterance is cut out completely, with its time. Noise that stays becomes the floor."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.contract import RATE
from assistant.hearing.endpoint import FRAME_BYTES, Endpointer, Utterance
from tests.hearing.voices import need, noisy, padded, pcm, saw_noise, spoken


def cut(sound: bytes) -> list[Utterance]:
    endpointer = Endpointer()
    frames = (sound[i : i + FRAME_BYTES] for i in range(0, len(sound) - FRAME_BYTES + 1, FRAME_BYTES))
    found = [one for one in map(endpointer.frame, frames) if one]
    last = endpointer.flush()
    return [*found, last] if last else found


def burst(seconds: float, level: float = 0.2) -> bytes:
    return pcm(saw_noise(round(seconds * RATE)) * level)


def test_silence_is_no_utterance():
    assert cut(bytes(2 * RATE * 3)) == []


def test_an_utterance_keeps_its_times_pre_roll_and_tail():
    need("espeak-ng")
    sound = spoken("en-us", "marigold proceed to next pass")
    (one,) = cut(padded(sound, 1.0, 1.0))
    assert one.reason == ""
    assert one.first / RATE == pytest.approx(1.0, abs=0.06)
    assert one.end / RATE == pytest.approx(1.0 + len(sound) / 2 / RATE, abs=0.25)
    assert len(one.pcm16k) / 2 / RATE == pytest.approx(len(sound) / 2 / RATE + 0.3 + 0.35, abs=0.3)


def test_a_knock_is_dropped_and_called_one():
    (one,) = cut(bytes(2 * RATE) + burst(0.12) + bytes(2 * RATE))
    assert one.knock and one.pcm16k == b""
    assert "shorter than 0.3 s" in one.reason


def test_more_than_five_seconds_is_dropped_with_the_reason():
    rng = np.random.default_rng(1)
    swells = np.repeat(rng.uniform(0.05, 0.4, 60), RATE // 8)
    sound = pcm(saw_noise(len(swells)) * swells)
    pieces = cut(bytes(2 * RATE) + sound + bytes(2 * RATE))
    assert any("more than 5 s" in one.reason and not one.pcm16k for one in pieces)
    assert all(len(one.pcm16k) <= 2 * RATE * 6 for one in pieces)


def test_a_saw_that_stays_on_becomes_the_floor_and_speech_over_it_is_still_found():
    need("espeak-ng")
    sound = spoken("en-us", "marigold this pass is completed")
    pieces = cut(bytes(2 * RATE) + noisy(padded(sound, 8.0, 3.0), 10))
    start = 9.0
    assert [one for one in pieces if start - 2.5 < one.first / RATE < start - 0.3] == []
    last = [one for one in pieces if one.reason == "" and abs(one.first / RATE - start) < 0.3]
    assert len(last) == 1
    assert last[0].end / RATE == pytest.approx(start + len(sound) / 2 / RATE, abs=0.4)


def test_two_phrases_half_a_second_apart_are_two_utterances():
    need("espeak-ng")
    sound = spoken("en-us", "standing by for now")
    assert len(cut(padded(sound, 0.5, 0.5) + padded(sound, 0.1, 0.8))) == 2
