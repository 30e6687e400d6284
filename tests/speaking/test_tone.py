"""Two soft notes sound before what needs an answer, and before nothing else. The words count from after them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from assistant.runner.voice_watch import VERDICT_S, VoiceWatch
from assistant.session import effects as e
from assistant.session.effects import prompt
from assistant.session.events import NOTE, NotHeard, SpeechEnded, SpeechStarted
from assistant.speaking.espeak import EspeakEngine
from assistant.speaking.mixer import (
    LOW_HZ,
    LOW_NOTE_S,
    NOTE_S,
    NOTES_HZ,
    Mixer,
    click_sound,
    low_sound,
    tone_sound,
)
from tests.runner.adapters import started
from tests.speaking.stand_ins import PHRASES, RATE, steady

UTC = "2026-03-02T09:00:00.000Z"


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


# --- the low notes: speech led to nothing


def test_the_low_notes_are_one_note_twice_lower_shorter_and_no_louder() -> None:
    """By Fourier transform: nobody can mistake them for the two that rise before a question."""
    low, tone = low_sound(RATE), tone_sound(RATE)
    note = round(LOW_NOTE_S * RATE)
    first, second = low[:note], low[-note:]
    assert np.array_equal(first, second) and not low[note:-note].any()
    assert abs(strongest_hz(first) - LOW_HZ) < 6 and min(NOTES_HZ) / 1.4 > LOW_HZ
    assert len(low) / RATE < 0.2
    assert np.abs(low).max() <= np.abs(tone).max()
    assert np.abs(np.diff(low.astype(int))).max() < 600


def test_they_sound_at_once_and_are_posted_as_an_announcement_so_that_hearing_is_deaf() -> None:
    mixer = Mixer(RATE)
    mixer.note()
    low = low_sound(RATE)
    sound, events = mixer.mix(RATE)
    assert np.array_equal(sound[: len(low)], low) and not sound[len(low) :].any()
    assert [(event.offset, event.kind, event.id) for event in events] == [
        (0, "started", NOTE),
        (len(low), "ended", NOTE),
    ]


def test_they_never_lie_over_words_nor_come_late_after_them() -> None:
    mixer = Mixer(RATE)
    mixer.reserve("told").samples = steady(0.1, 5000).samples
    mixer.note()
    _, events = mixer.mix(RATE)
    assert [event.id for event in events] == ["told", "told"]
    assert not mixer.busy


def test_what_is_said_next_cuts_them_off_or_waits_for_them() -> None:
    mixer = Mixer(RATE)
    mixer.note()
    mixer.mix(300)
    assert mixer.cut() == [NOTE]
    mixer.note()
    mixer.note()
    mixer.reserve("told").samples = steady(0.1, 5000).samples
    _, events = mixer.mix(RATE)
    assert [(event.kind, event.id) for event in events] == [
        ("started", NOTE),
        ("ended", NOTE),
        ("started", "told"),
        ("ended", "told"),
    ], "twice asked for, once sounded"


def test_speech_not_understood_sounds_them_and_hearing_is_deaf_meanwhile() -> None:
    runner, log, clock = started()
    job = runner.state.the_job
    runner.state = replace(runner.state, job=replace(job, voice=replace(job.voice, tone=True)))
    runner.handle(NotHeard(5.0, UTC, "unclear", "marigold all clamps are secure"))
    assert log.of("note") == [("note",)]
    runner.handle(SpeechStarted(5.1, UTC, NOTE))
    runner.handle(SpeechEnded(5.3, UTC, NOTE, "whole"))
    assert log.of("speaking") == [("speaking", True), ("speaking", False)]
    assert clock.at() == 0


def test_a_voice_that_was_given_up_is_not_back_because_a_note_sounds() -> None:
    """The notes need a loudspeaker but no voice."""
    watch = VoiceWatch()
    watch.handed("a1", 0.0)
    assert watch.overdue(60.0) == ("a1",)
    assert not watch.started(NOTE, 61.0) and watch.lost and watch.sounding
    watch.ended(NOTE, 61.2)
    assert not watch.sounding and watch.lost


def test_a_note_is_no_sign_of_a_voice_that_owes_word() -> None:
    watch = VoiceWatch()
    watch.handed("a1", 0.0)
    watch.started(NOTE, VERDICT_S - 0.5)
    watch.ended(NOTE, VERDICT_S - 0.3)
    assert watch.overdue(VERDICT_S + 0.1) == ("a1",)
