"""Order, exact frames, cut-offs without a crack, clicks over what sounds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speaking.mixer import CLICK_S, FADE_S, Mixer, click_sound
from tests.speaking.stand_ins import RATE, steady


def loaded(*levels: int, seconds: float = 0.1) -> Mixer:
    mixer = Mixer(RATE)
    for level in levels:
        mixer.reserve(f"at {level}").samples = steady(seconds, level).samples
    return mixer


def test_announcements_follow_each_other_without_a_gap() -> None:
    samples, happened = loaded(100, 200, 300).mix(RATE)
    assert [level for level in dict.fromkeys(samples.tolist())] == [100, 200, 300, 0]
    assert [(h.offset, h.kind, h.id) for h in happened] == [
        (0, "started", "at 100"),
        (2205, "ended", "at 100"),
        (2205, "started", "at 200"),
        (4410, "ended", "at 200"),
        (4410, "started", "at 300"),
        (6615, "ended", "at 300"),
    ]


def test_a_place_not_yet_rendered_holds_up_those_behind_it() -> None:
    mixer = Mixer(RATE)
    first = mixer.reserve("first")
    mixer.reserve("second").samples = steady(0.1, 200).samples
    samples, happened = mixer.mix(500)
    assert not samples.any() and happened == []
    first.samples = steady(0.1, 100).samples
    samples, _ = mixer.mix(RATE)
    assert samples[0] == 100 and samples[2205] == 200


def test_a_place_that_failed_lets_the_next_one_sound() -> None:
    mixer = Mixer(RATE)
    first = mixer.reserve("first")
    mixer.reserve("second").samples = steady(0.1, 200).samples
    assert mixer.drop(first) and not mixer.drop(first)
    assert mixer.mix(10)[0][0] == 200


def test_a_cut_fades_within_five_milliseconds_and_does_not_crack() -> None:
    """No step between neighbouring samples is larger than the fade's own slope."""
    mixer = loaded(20000, 9000)
    before, _ = mixer.mix(1000)
    assert mixer.cut() == ["at 20000", "at 9000"]
    after, happened = mixer.mix(1000)
    whole = np.concatenate([before, after]).astype(int)
    assert happened == []
    assert np.abs(np.diff(whole)).max() <= 20000 / (FADE_S * RATE) + 2
    assert np.flatnonzero(whole)[-1] < 1000 + FADE_S * RATE


def test_what_never_began_is_cut_without_a_sound() -> None:
    mixer = loaded(20000)
    assert mixer.cut() == ["at 20000"]
    assert not mixer.busy and not mixer.mix(100)[0].any()


def test_a_click_lies_over_speech_and_over_silence() -> None:
    click = click_sound(RATE).astype(int)
    mixer = loaded(1000)
    mixer.mix(100)
    mixer.click()
    assert np.array_equal(mixer.mix(400)[0][: len(click)], 1000 + click)
    quiet = Mixer(RATE)
    quiet.click()
    assert np.array_equal(quiet.mix(400)[0][: len(click)], click)
    assert np.abs(click).max() > 6000 and len(click) <= CLICK_S * RATE + 1


def test_too_loud_a_sum_is_held_at_full_scale() -> None:
    mixer = loaded(32000)
    mixer.click()
    samples, _ = mixer.mix(300)
    assert samples.max() == 32767


def test_an_empty_announcement_begins_and_ends_at_once() -> None:
    mixer = Mixer(RATE)
    mixer.reserve("empty").samples = steady(0).samples
    assert [h.kind for h in mixer.mix(0)[1]] == ["started", "ended"]


def test_frames_left_counts_down_to_the_end() -> None:
    mixer = loaded(100)
    assert mixer.frames_left() == 2205
    mixer.mix(205)
    assert mixer.frames_left() == 2000
    mixer.mix(2000)
    assert mixer.frames_left() is None and not mixer.busy


@given(
    st.lists(st.integers(0, 900), min_size=1, max_size=5),
    st.lists(st.integers(0, 400), max_size=40),
    st.integers(0, 2000),
)
def test_the_size_of_the_pieces_changes_nothing(lengths: list[int], pieces: list[int], click_after: int) -> None:
    """Any way of cutting the time into periods gives the same samples and the same moments."""

    def run(sizes: list[int]) -> tuple[list[int], list[tuple[int, str, str]]]:
        mixer = Mixer(RATE)
        for n, length in enumerate(lengths):
            mixer.reserve(str(n)).samples = np.full(length, 100 + n, np.int16)
        samples: list[int] = []
        moments: list[tuple[int, str, str]] = []
        for size in sizes:
            piece, happened = mixer.mix(size)
            moments += [(len(samples) + h.offset, h.kind, h.id) for h in happened]
            samples += piece.tolist()
        return samples, moments

    total = sum(lengths) + 100
    sizes, used = [], 0
    for piece in pieces:
        sizes.append(min(piece, total - used))
        used += sizes[-1]
    assert run([*sizes, total - used]) == run([total])


@pytest.mark.parametrize("rate", [16000, 22050, 48000])
def test_the_click_is_short_and_ends_quietly(rate: int) -> None:
    click = click_sound(rate).astype(int)
    assert len(click) / rate <= 0.03
    assert np.abs(click[-rate // 1000 :]).max() < 1200
