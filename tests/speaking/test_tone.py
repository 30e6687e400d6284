"""Two soft notes sound before what needs an answer, one long one when a driven carriage has arrived, else none.

The words count from after them.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np

from assistant.runner.voice_watch import VERDICT_S, VoiceWatch
from assistant.session import effects as e
from assistant.session.effects import prompt
from assistant.session.events import NOTE, NotHeard, SpeechEnded, SpeechStarted
from assistant.session.kinds import Tone
from assistant.speaking.espeak import EspeakEngine
from assistant.speaking.mixer import (
    ARRIVED_HZ,
    ARRIVED_S,
    CLICK_HZ,
    LOW_HZ,
    LOW_NOTE_S,
    NOTE_S,
    NOTES_HZ,
    TICK_HZ,
    Mixer,
    arrived_sound,
    click_sound,
    low_sound,
    tick_sound,
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
    mixer.reserve("asked", tone=Tone.ASKS).samples = steady(0.1, 5000).samples
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
    mixer.reserve("asked", tone=Tone.ASKS).samples = steady(0.1, 5000).samples
    sound = [mixer.mix(1000)[0]]
    assert mixer.cut() == ["asked"]
    sound.append(mixer.mix(300)[0])
    assert np.abs(np.diff(np.concatenate(sound).astype(int))).max() < 600 and not mixer.busy


def test_only_what_wants_an_answer_has_it() -> None:
    runner, log, _ = started()
    log.tones.clear()
    for klass in ("check", "question", "move", "setting", "answer", "notice", "caution"):
        runner._run(e.Say(klass, (prompt("again"),), klass))
    assert log.tones == ["asks", "asks", "asks", None, None, None, None]


# --- a driven carriage has arrived


def octaves_apart(one: float, other: float) -> float:
    return abs(float(np.log2(one / other)))


def loud_for_s(samples: np.ndarray) -> float:
    """From the first to the last sample above a tenth of its peak."""
    loud = np.flatnonzero(np.abs(samples) > np.abs(samples).max() / 10)
    return float(loud[-1] - loud[0] + 1) / RATE


def test_an_arrival_is_one_note_higher_and_longer_than_all_others() -> None:
    """By Fourier transform: a third of an octave or more from every other note, and at least half as long again."""
    arrived = arrived_sound(RATE)
    assert abs(strongest_hz(arrived) - ARRIVED_HZ) < 4 and len(arrived) / RATE == round(ARRIVED_S * RATE) / RATE
    halves = [strongest_hz(half) for half in np.split(arrived[: len(arrived) // 2 * 2], 2)]
    assert abs(halves[0] - halves[1]) < 8, "one note, which doesn't rise"
    others = {"asks": tone_sound(RATE), "not heard": low_sound(RATE), "click": click_sound(RATE)}
    for name, other in others.items():
        assert loud_for_s(arrived) > 1.5 * loud_for_s(other), name
    for hz in (*NOTES_HZ, LOW_HZ, CLICK_HZ):
        assert octaves_apart(ARRIVED_HZ, hz) > 1 / 3
    assert np.abs(arrived).max() <= np.abs(tone_sound(RATE)).max(), "no louder"
    steepest = 2 * np.pi * ARRIVED_HZ / RATE * np.abs(tone_sound(RATE)).max()
    assert np.abs(np.diff(arrived.astype(int))).max() <= steepest, "no crack at either end"
    assert np.abs(arrived[-RATE // 100 :]).max() < 100


def test_it_sounds_before_where_the_carriage_stands_and_nowhere_else() -> None:
    runner, log, _ = started()
    log.tones.clear()
    setting = (("setting", Fraction(9)), ("in_full", False), ("pass_", 1))
    runner._run(e.Say("a", (prompt("again"), e.Prompt("setting reached", setting)), "setting"))
    by_hand = {"pass_": 1, "setting": Fraction(9), "previous": None, "approach": None, "repeated": False}
    runner._run(e.Say("b", (prompt("setting", **by_hand),), "setting"))
    assert log.tones == ["arrived", None]
    job = runner.state.the_job
    runner.state = replace(runner.state, job=replace(job, voice=replace(job.voice, tone=False)))
    runner._run(e.Say("c", (e.Prompt("setting reached", setting),), "setting"))
    assert log.tones[-1] is None, "a shop that wants no notes"


def test_the_words_begin_after_the_arrivals_note() -> None:
    mixer = Mixer(RATE)
    mixer.reserve("stands", tone=Tone.ARRIVED).samples = steady(0.1, 5000).samples
    sound, happened = mixer.mix(RATE)
    note = arrived_sound(RATE)
    assert np.array_equal(sound[: len(note)], note) and sound[len(note)] == 5000
    assert happened[0].offset == len(note)


def test_a_tick_is_shorter_softer_and_lower_than_a_click() -> None:
    """A press must never be taken for a second of moving, nor the other way round."""
    tick, click = tick_sound(RATE), click_sound(RATE)
    assert len(tick) < 0.6 * len(click)
    energy_db = 10 * np.log10(np.sum(click.astype(float) ** 2) / np.sum(tick.astype(float) ** 2))
    assert energy_db > 9, "the ear adds up so short a sound: twice as loud is about 10 dB (common practice, no source)"
    assert octaves_apart(TICK_HZ, CLICK_HZ) >= 1
    mixer = Mixer(RATE)
    mixer.tick()
    assert np.array_equal(mixer.mix(400)[0][: len(tick)], tick)


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
