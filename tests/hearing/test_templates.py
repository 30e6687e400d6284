"""Voice templates: the same voice's phrase is near, other sentences and a denial are not, at the piece's own noise."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import CouldNotRun, NoSuchPart
from assistant.hearing import templates
from assistant.hearing.cepstra import CEPSTRA, band_powers
from assistant.hearing.templates import Voice, judge, signal_to_noise, warped
from assistant.hearing.wav import read_wav
from tests.hearing.voices import floats, need, noisy, padded, pcm, saw_noise

VOICES = ("en-us", "en-gb-scotland+m3")
PHRASES = (
    "marigold proceed to next pass",
    "marigold all clamps are secure",
    "marigold finish the session",
    "how many more to go",
)
# Words a minute and espeak-ng's pitch, 0 to 99.
ENROLLED, NEW = ((182, 44), (150, 50), (133, 56)), (160, 47)
BEFORE, AFTER = 30, 35  # frames
MOST_TIMES_POWERS = 30


@lru_cache(maxsize=256)
def said(voice: str, text: str, manner: tuple[int, int] = NEW) -> bytes:
    """Bare, peak -3 dB."""
    need("espeak-ng")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        words = ["espeak-ng", "-v", voice, "-s", str(manner[0]), "-p", str(manner[1]), "-w", str(path), text]
        subprocess.run(words, check=True, capture_output=True, timeout=30)
        samples = floats(read_wav(path))
    loud = np.flatnonzero(np.abs(samples) > 0.005 * np.abs(samples).max())
    samples = samples[loud[0] : loud[-1] + 1]
    return pcm(samples * 0.708 / np.abs(samples).max())


def in_a_room(sound: bytes) -> bytes:
    """The piece with the quiet that the end-pointer leaves around it, and a quiet room's noise."""
    samples = floats(padded(sound, BEFORE / 100, AFTER / 100))
    return pcm(samples + np.random.default_rng(5).standard_normal(len(samples)) * 0.001)


def enrolled(voice: str) -> Voice:
    made = Voice()
    for text in PHRASES:
        assert made.enrol(text, [said(voice, text, manner) for manner in ENROLLED]) == 3
    return made


@lru_cache(maxsize=4)
def voice_of(name: str) -> Voice:
    return enrolled(name)


def judged(voice: str, text: str, spoken_text: str, snr_db: float | None = None) -> tuple[float, float]:
    piece = in_a_room(said(voice, spoken_text))
    if snr_db is not None:
        piece = noisy(piece, snr_db, 3)
    result = judge(voice_of(voice), piece, BEFORE, len(piece) // 320 - AFTER - 1, text)
    assert result is not None
    return result


@pytest.mark.parametrize("voice", VOICES)
@pytest.mark.parametrize("snr_db", [None, 20, 10])
def test_another_saying_of_the_same_voice_is_within_the_limit(voice, snr_db):
    for text in PHRASES:
        distance, limit = judged(voice, text, text, snr_db)
        assert distance <= limit, text


@pytest.mark.parametrize("voice", VOICES)
@pytest.mark.parametrize("snr_db", [None, 20, 10, 5])
@pytest.mark.parametrize(
    ("text", "instead"),
    [
        (PHRASES[0], "please proceed to the next page"),
        (PHRASES[0], "marigold proceed to the last board"),
        (PHRASES[1], "marigold all doors are secure"),
        (PHRASES[2], "finish your lunch before the session"),
        (PHRASES[3], "how many people are coming tonight"),
    ],
)
def test_a_sentence_that_reuses_its_words_is_beyond_the_limit(voice, text, instead, snr_db):
    distance, limit = judged(voice, text, instead, snr_db)
    assert distance > limit


@pytest.mark.parametrize("voice", VOICES)
def test_a_denial_is_further_than_the_phrase(voice):
    """The only difference is a "not" in the middle."""
    denial, _ = judged(voice, PHRASES[1], "marigold all clamps are not secure")
    phrase, _ = judged(voice, PHRASES[1], PHRASES[1])
    assert denial > 1.2 * phrase


def test_the_right_phrase_is_the_nearest_of_all():
    for voice in VOICES:
        for text in PHRASES:
            distances = {other: judged(voice, other, text, 10)[0] for other in PHRASES}
            assert min(distances, key=distances.__getitem__) == text


def test_distance_hardly_grows_with_noise():
    """The templates are put into the piece's own noise. Without that, the distance at 10 dB is a multiple."""
    text = PHRASES[0]
    clean, _ = judged(VOICES[0], text, text)
    noised, _ = judged(VOICES[0], text, text, 10)
    assert noised < 1.5 * clean
    bare = noisy(said(VOICES[0], text), 10, 3)
    assert voice_of(VOICES[0]).distance(bare, text) > 1.8 * noised


def test_the_limit_follows_the_operators_own_spread():
    even, uneven = Voice(), Voice()
    text = PHRASES[0]
    even.enrol(text, [said(VOICES[0], text, manner) for manner in ENROLLED])
    uneven.enrol(text, [said(VOICES[0], text), said(VOICES[1], text), said("en-us+f3", text)])
    assert uneven.spread > 1.5 * even.spread
    assert uneven.limit(20) > 1.4 * even.limit(20)
    for snr_db in range(-20, 60):
        assert templates.SPREADS[0] < even.limit(snr_db) <= 1.5 * templates.SPREADS[1]


def test_there_is_nothing_to_judge_by_with_fewer_than_two_templates():
    voice = Voice()
    assert judge(voice, in_a_room(said(VOICES[0], PHRASES[0])), 30, 100, PHRASES[0]) is None
    voice.enrol(PHRASES[0], [said(VOICES[0], PHRASES[0])])
    assert voice.count(PHRASES[0]) == 1
    assert judge(voice, in_a_room(said(VOICES[0], PHRASES[0])), 30, 100, PHRASES[0]) is None


@pytest.mark.parametrize(("first", "last"), [(50, 40), (0, 5), (-5, 3), (10_000, 10_100)])
def test_a_place_that_is_no_phrase_is_infinitely_far(first, last):
    piece = in_a_room(said(VOICES[0], PHRASES[0]))
    distance, limit = judge(voice_of(VOICES[0]), piece, first, last, PHRASES[0])
    assert distance == float("inf") and limit < 10


def test_a_judgement_costs_so_many_times_the_pieces_band_powers_at_most():
    """The least that any comparison needs."""
    piece, voice = noisy(in_a_room(said(VOICES[0], PHRASES[0])), 10, 3), voice_of(VOICES[0])

    def best(work: Callable[[], object]) -> float:
        took = []
        for _ in range(7):
            began = time.process_time()
            work()
            took.append(time.process_time() - began)
        return min(took)

    ours = best(lambda: judge(voice, piece, BEFORE, len(piece) // 320 - AFTER, PHRASES[0]))
    least = best(lambda: band_powers(piece))
    print(f"{ours * 1e3:.1f} ms against {least * 1e3:.1f} ms")
    assert ours < MOST_TIMES_POWERS * least


# --- warping


def plain_warped(one: np.ndarray, other: np.ndarray) -> float:
    """Sakoe and Chiba (1978), symmetric form, P = 0, cell by cell."""
    cost = np.linalg.norm(one[:, None] - other[None], axis=2)
    total = np.full(cost.shape, np.inf)
    for i in range(len(one)):
        for j in range(len(other)):
            if i == j == 0:
                total[0, 0] = 2 * cost[0, 0]
                continue
            ways = []
            if i:
                ways.append(total[i - 1, j] + cost[i, j])
            if j:
                ways.append(total[i, j - 1] + cost[i, j])
            if i and j:
                ways.append(total[i - 1, j - 1] + 2 * cost[i, j])
            total[i, j] = min(ways)
    return float(total[-1, -1]) / (len(one) + len(other))


@pytest.mark.parametrize("seed", range(5))
def test_warping_all_templates_at_once_is_the_textbooks_one_by_one(seed):
    rng = np.random.default_rng(seed)
    piece = rng.standard_normal((int(rng.integers(1, 30)), 5)).astype(np.float32)
    others = [rng.standard_normal((int(rng.integers(1, 30)), 5)).astype(np.float32) for _ in range(4)]
    assert warped(piece, others) == pytest.approx([plain_warped(one, piece) for one in others], rel=1e-4)


def test_the_same_said_slower_is_no_distance_away():
    rng = np.random.default_rng(1)
    piece = rng.standard_normal((20, 5)).astype(np.float32)
    assert warped(piece, [np.repeat(piece, 2, axis=0), piece]) == pytest.approx([0, 0], abs=1e-3)


# --- noise


@pytest.mark.parametrize("snr_db", [20, 10, 5])
def test_the_signal_to_noise_ratio_follows_the_true_one(snr_db):
    """Levels over the speech band with its highs raised, so the figure lies some dB under the broadband one."""
    piece = padded(said(VOICES[0], PHRASES[0]), 0.3, 0.35)

    def measured(db: float) -> float:
        mixed = noisy(piece, db, 2)
        return signal_to_noise(band_powers(mixed), BEFORE, len(mixed) // 320 - AFTER)[0]

    assert measured(snr_db) - measured(snr_db - 5) == pytest.approx(5, abs=1.5)


def test_a_knock_beside_the_phrase_is_no_noise_floor():
    piece = noisy(in_a_room(said(VOICES[0], PHRASES[0])), 20, 2)
    samples = floats(piece)
    samples[1600:2400] += saw_noise(800) * 0.3
    last = len(piece) // 320 - AFTER
    quiet = signal_to_noise(band_powers(piece), BEFORE, last)[0]
    assert signal_to_noise(band_powers(pcm(samples)), BEFORE, last)[0] == pytest.approx(quiet, abs=2)


# --- the file


def test_what_is_kept_is_what_is_read(tmp_path):
    voice = voice_of(VOICES[0])
    path = voice.save(tmp_path / "here")
    again = Voice.load(tmp_path / "here")
    assert again.texts == voice.texts and path.name == templates.FILE
    piece = said(VOICES[0], PHRASES[0])
    for text in PHRASES:
        assert again.distance(piece, text) == pytest.approx(voice.distance(piece, text), rel=0.01)
    assert [entry.name for entry in (tmp_path / "here").iterdir()] == [templates.FILE]


def test_no_sound_is_kept(tmp_path):
    """Thirteen figures, 100 times a second, at half precision: of 32,000 bytes a second of sound, 2,600."""
    voice = voice_of(VOICES[0])
    with np.load(voice.save(tmp_path)) as kept:
        names = set(kept.files)
        assert names == {"format", "texts"} | {f"t{n}" for n in range(3 * len(PHRASES))}
        assert all(kept[name].shape[1] == CEPSTRA for name in names - {"format", "texts"})
        assert all(abs(kept[name].astype(float).mean(axis=0)).max() < 0.01 for name in names - {"format", "texts"})


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such modes")
def test_only_the_user_may_read_it(tmp_path):
    path = voice_of(VOICES[0]).save(tmp_path / "new")
    assert path.stat().st_mode & 0o077 == 0 and path.parent.stat().st_mode & 0o077 == 0


def test_no_file_is_a_voice_without_templates(tmp_path):
    assert Voice.load(tmp_path).texts == ()


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 broken", b"no archive at all", None])
def test_a_broken_file_is_named_with_its_mend(tmp_path, content):
    path = voice_of(VOICES[0]).save(tmp_path)
    path.write_bytes(path.read_bytes()[:5000] if content is None else content)
    with pytest.raises(NoSuchPart, match="templates.npz can't be read; run `kerfcall soundcheck` again"):
        Voice.load(tmp_path)


def test_templates_of_another_kind_are_refused(tmp_path):
    np.savez(tmp_path / templates.FILE, format=templates.FORMAT, texts=np.array(["a"]), t0=np.zeros((30, 4)))
    with pytest.raises(NoSuchPart, match="wrong contents"):
        Voice.load(tmp_path)
    np.savez(tmp_path / templates.FILE, format=99, texts=np.array(["a"]), t0=np.zeros((30, CEPSTRA)))
    with pytest.raises(NoSuchPart, match="another version"):
        Voice.load(tmp_path)


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = voice_of(VOICES[0]).save(tmp_path)
    before = path.read_bytes()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(CouldNotRun, match="can't be written: No space left"):
        Voice().save(tmp_path)
    assert path.read_bytes() == before
    assert os.listdir(tmp_path) == [templates.FILE]


def test_each_microphone_has_a_folder_of_its_own(monkeypatch, tmp_path):
    monkeypatch.setattr("platformdirs.user_data_path", lambda app: tmp_path / app)
    names = [templates.voice_folder(name) for name in ("USB Audio (Mono)", "usb audio: 2", "../..", "")]
    assert len({*names}) == 3 and names[2] == names[3]
    assert all(name.parent == templates.voices_folder() for name in names)
