"""The measuring sound is what it says: halves apart, ratios right, nothing lost between pauses."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.contract import RATE
from tests.hearing.corpus import cache, clips, human, near, noise, speakers
from tests.hearing.voices import floats, pcm, saw_noise, table, tone


def test_each_half_has_voices_of_three_engines_and_none_in_common():
    tune, report = (set(speakers.VOICES[half]) for half in clips.HALVES)
    assert not tune & report and len(tune | report) >= 8
    for half in (tune, report):
        assert {voice.partition(":")[0] for voice in half} == {"flite", "festival", "espeak"}


def test_sentences_are_at_least_forty_each_in_one_half():
    assert len(set(near.NEAR)) == len(near.NEAR) >= 40
    assert not set(near.near("tune")) & set(near.near("report"))
    assert set(near.near("tune")) | set(near.near("report")) == set(near.NEAR)


def test_a_denied_sentence_is_no_phrase_and_belongs_to_one_half():
    assert len(set(near.DENIED)) == len(near.DENIED) >= 60
    assert not set(near.DENIED) & {phrase.text for phrase in table()}
    assert not set(near.denied("tune")) & set(near.denied("report"))


def test_a_files_half_is_fixed_by_its_name():
    assert [human.half_of(f"{name}.g722") for name in ("activated", "goodbye", "hello")] == ["tune", "report", "tune"]
    halves = [human.half_of(f"{number}.g722") for number in range(1000)]
    assert 400 < halves.count("tune") < 600


def test_speech_is_cut_at_its_pauses():
    sound = saw_noise(RATE) * 0.2
    gap = np.zeros(RATE // 2)
    pieces = human.cut(pcm(np.concatenate([gap, sound, gap, sound, np.zeros(RATE // 10), sound, gap])))
    assert [len(piece) / 2 / RATE for piece in pieces] == pytest.approx([1.0, 2.1], abs=0.02)


@pytest.mark.parametrize("condition", ["20 dB", "10 dB", "5 dB", "0 dB"])
def test_the_ratio_is_the_conditions(condition):
    t = np.arange(RATE) / RATE
    clip = clips.Clip("phrase", "tone", "tone", pcm(0.7 * np.sign(np.sin(2 * np.pi * 300 * t))))
    stream = clips.stream([clip], condition, 5)
    (first, _), samples = stream.spans[0], floats(stream.sound)
    alone = floats(clips.stream([clip], "clean", 5).sound)
    level = alone[first : first + RATE].std() / samples[: first - 100].std()
    assert 20 * np.log10(level) == pytest.approx(clips.snr_of(condition), abs=0.7)


def test_noise_alone_has_bursts_of_at_least_six_decibels():
    sound = noise.working_saw(60, 3)
    levels = 20 * np.log10(sound[: 60 * RATE].reshape(-1, RATE // 10).std(axis=1))
    assert np.percentile(levels, 10) == pytest.approx(0, abs=1.5)
    assert 6 <= np.percentile(levels, 95) <= 24


def test_the_echo_dies_sixty_decibels_in_half_a_second():
    click = np.zeros(10)
    click[0] = 1.0
    heard = noise.echoed(click, 2)
    early, late = (heard[start : start + 800].std() for start in (80, 6400))
    assert 40 < 20 * np.log10(early / late) < 85  # over 0.395 s at RT60 0.3 to 0.5 s: 47 to 79 dB


@pytest.mark.parametrize(("rt60", "ratio"), [(0.6, 0.0), (1.0, -2.2)])
def test_a_room_dies_by_sixty_decibels_in_its_time_and_is_as_loud_as_sabine_says(rt60, ratio):
    """Decay by the squared response integrated backwards (Schroeder 1965; ISO 3382-1), -5 to -25 dB, times three."""
    click = np.zeros(10)
    click[0] = 1.0
    heard = noise.in_room(click, rt60, 2)
    left = 10 * np.log10(np.cumsum(heard[:79:-1] ** 2)[::-1])
    at = [int(np.argmax(left < left[0] - fall)) for fall in (5, 25)]
    assert 3 * (at[1] - at[0]) / RATE == pytest.approx(rt60, rel=0.05)
    direct, reverberant = heard[:10], heard[10:]
    assert 10 * np.log10((direct**2).sum() / (reverberant**2).sum()) == pytest.approx(ratio, abs=0.05)
    assert len(heard) == 10 + round(rt60 * RATE)


@pytest.mark.parametrize(("hz", "loss"), [(100, (35, 45)), (300, (2.9, 3.1)), (1000, (0, 0.1)), (3400, (2.9, 3.1))])
def test_a_headset_keeps_the_telephones_band(hz, loss):
    """3 dB less at both edges, as of any Butterworth filter, and 24 dB an octave beyond."""
    heard = noise.through_headset(tone(hz, 2.0))[RATE:]
    low, high = loss
    assert low <= -20 * np.log10(heard.std() * 2**0.5 / 0.5) <= high


def test_a_pause_is_as_long_as_it_says():
    first, rest = pcm(tone(300, 0.2)), pcm(tone(500, 0.3))
    joined = noise.with_pause(first, rest, 0.5)
    assert joined.startswith(first) and joined.endswith(rest)
    assert len(joined) == len(first) + len(rest) + RATE  # 0.5 s of 2 bytes


def test_a_tenth_of_the_gain_is_twenty_decibels_of_everything():
    clip = clips.Clip("phrase", "noise", "noise", pcm(saw_noise(RATE) * 0.2))
    loud, soft = (floats(clips.stream([clip], condition, 5).sound) for condition in ("clean", "gain 0.1"))
    assert np.abs(soft - loud / 10).max() <= 1.5 / 32768


def test_in_a_room_the_next_clip_comes_when_the_last_has_died_away():
    items = [clips.Clip("phrase", name, name, pcm(saw_noise(RATE) * 0.2)) for name in ("a", "b")]
    near_by, in_room = (clips.stream(items, condition, 5).spans for condition in ("clean", "echo 1.0 s"))
    assert in_room[1][0] - near_by[1][0] == RATE


def test_made_sound_is_kept_and_made_once(tmp_path, monkeypatch):
    monkeypatch.setenv("KERFCALL_CORPUS", str(tmp_path))
    made = []

    def make() -> bytes:
        made.append(1)
        return b"sound"

    assert [cache.kept(make, "a", "b") for _ in range(2)] == [b"sound"] * 2
    assert cache.kept(make, "ab") == b"sound" and len(made) == 2
