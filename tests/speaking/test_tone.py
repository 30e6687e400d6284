"""Two soft notes before what wants an answer, and before nothing else; the words count from after them."""

from __future__ import annotations

import numpy as np

from assistant.session import effects as e
from assistant.session.effects import prompt
from assistant.speaking.espeak import EspeakEngine
from assistant.speaking.mixer import NOTE_S, NOTES_HZ, Mixer, click_sound, tone_sound
from tests.runner.adapters import started
from tests.speaking.stand_ins import PHRASES, RATE, steady


def strongest_hz(samples: np.ndarray) -> float:
    spectrum = np.abs(np.fft.rfft(samples, 8 * RATE))
    return float(np.argmax(spectrum)) / 8


def level(samples: np.ndarray) -> float:
    return float(np.sqrt(np.mean(samples.astype(float) ** 2)))


def test_it_is_two_notes_short_and_softer_than_speech() -> None:
    """By Fourier transform; the speech is espeak-ng's own."""
    tone = tone_sound(RATE)
    assert len(tone) / RATE == 2 * round(NOTE_S * RATE) / RATE < 0.2
    first, second = np.split(tone, 2)
    assert abs(strongest_hz(first) - NOTES_HZ[0]) < 4 and abs(strongest_hz(second) - NOTES_HZ[1]) < 4
    speech = EspeakEngine().render(PHRASES[2])
    assert speech is not None
    below_db = 20 * np.log10(level(speech.samples) / level(tone))
    assert 3 < below_db < 15
    assert np.abs(tone).max() < np.abs(click_sound(RATE)).max() / 2
    assert np.abs(np.diff(tone.astype(int))).max() < 600, "no crack at either end nor between"


def test_the_words_begin_after_it_and_that_is_when_they_count_as_begun() -> None:
    mixer = Mixer(RATE)
    mixer.reserve("asked", tone=True).samples = steady(0.1, 5000).samples
    mixer.reserve("told").samples = steady(0.1, 7000).samples
    tone = tone_sound(RATE)
    assert mixer.frames_left() == len(tone), "next the words begin"
    pieces, happened, at = [], [], 0
    for frames in (0, 100, 221, RATE):
        samples, events = mixer.mix(frames)
        pieces.append(samples)
        happened += [(at + event.offset, event.kind, event.id) for event in events]
        at += frames
    sound = np.concatenate(pieces)
    assert np.array_equal(sound[: len(tone)], tone) and sound[len(tone)] == 5000
    words = len(tone)
    assert happened == [
        (words, "started", "asked"),
        (words + 2205, "ended", "asked"),
        (words + 2205, "started", "told"),
        (words + 4410, "ended", "told"),
    ]


def test_cut_off_within_it_fades() -> None:
    mixer = Mixer(RATE)
    mixer.reserve("asked", tone=True).samples = steady(0.1, 5000).samples
    sound = [mixer.mix(1000)[0]]
    assert mixer.cut() == ["asked"]
    sound.append(mixer.mix(300)[0])
    assert np.abs(np.diff(np.concatenate(sound).astype(int))).max() < 600 and not mixer.busy


def test_only_what_wants_an_answer_has_it() -> None:
    runner, log, _ = started()
    log.tones.clear()
    for klass in ("check", "question", "setting", "answer", "notice", "caution"):
        runner._run(e.Say(klass, (prompt("again"),), klass))
    assert log.tones == [True, True, False, False, False, False]
