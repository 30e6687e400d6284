"""Natural voices: who says what, and what the synthesiser is given and gives."""

from __future__ import annotations

import functools
import hashlib
import io
import tarfile
import time

import numpy as np
import pytest

from assistant.hearing.contract import RATE
from tests.hearing.corpus import clips, natural, natural_texts, work
from tests.hearing.voices import LEAD_IN, floats, need, table, tone

PHRASES = {phrase.text for phrase in table()}
ALONE = tuple(kind for kind in natural.KINDS if kind not in ("phrase", "short"))


def both(kind: str) -> tuple[str, ...]:
    return tuple(text for half in clips.HALVES for text in natural_texts.texts(half, kind))


def test_twelve_voices_to_tune_six_to_report_and_none_in_common():
    tune, report = (set(natural.VOICES[half]) for half in clips.HALVES)
    assert (len(tune), len(report), len(tune | report)) == (12, 6, 18)


@pytest.mark.parametrize("kind", ALONE)
def test_a_sentence_that_must_not_be_taken_is_no_phrase_and_in_one_half_once(kind):
    said = both(kind)
    assert len(set(said)) == len(said)
    assert not {text.rstrip("?") for text in said} & (PHRASES | set(natural_texts.texts("tune", "short")))


def test_a_harmless_sentence_is_a_phrase_but_for_one_word():
    for text in both("harmless"):
        words = text.split()
        as_long = [phrase.split() for phrase in PHRASES if len(phrase.split()) == len(words)]
        assert min(sum(map(str.__ne__, words, phrase)) for phrase in as_long) == 1, text


def test_another_order_has_a_phrases_words_and_a_longer_sentence_or_a_quotation_the_whole_phrase():
    words = [sorted(phrase.split()) for phrase in PHRASES]
    for text in both("order"):
        assert sorted(text.split()) in words, text
    wordings = [phrase.removeprefix(f"{LEAD_IN} ") for phrase in PHRASES]
    for text in (*both("longer"), *both("quoted")):
        assert any(f" {wording}" in text and text.removeprefix(f"{LEAD_IN} ") != wording for wording in wordings), text


@pytest.mark.parametrize("half", clips.HALVES)
@pytest.mark.parametrize("kind", natural.KINDS)
def test_every_sentence_is_said_and_no_voice_says_one_twice(half, kind):
    pairs = natural.wanted(half, kind)
    assert len(set(pairs)) == len(pairs) >= natural_texts.CLIPS[kind]
    assert {text for _, text in pairs} == set(natural_texts.texts(half, kind))
    assert {voice for voice, _ in pairs} <= set(natural.VOICES[half])


@pytest.mark.parametrize("half", clips.HALVES)
def test_phrases_are_said_by_every_voice(half):
    assert {voice for voice, _ in natural.wanted(half, "phrase")} == set(natural.VOICES[half])


@pytest.mark.parametrize("language", natural.LANGUAGES.values())
def test_the_model_has_a_number_for_every_symbol_of_every_sentence(language):
    need("espeak-ng")
    every = "\n".join(text.rstrip("?") for kind in natural.KINDS for text in both(kind))
    assert set(natural.phonemes(every, language)) <= set(natural.IDS)


def test_phonemes_are_espeaks_with_the_sentences_end():
    need("espeak-ng")
    assert natural.phonemes("next pass", "en-us") == "nˈɛkst pˈæs."
    assert natural.phonemes("is it right?", "en-us").endswith("ɹˈaɪt?")
    assert natural.phonemes("marigold,", "en-gb").endswith("ld,")
    assert natural.tokens("pˈæs.?") == [0, 58, 156, 72, 61, 4, 6, 0]


class Tone:
    """In the model's place: notes what it is given, and answers with a second of 440 Hz at its rate."""

    def __init__(self) -> None:
        self.given: list[dict[str, np.ndarray]] = []

    def run(self, outputs, inputs):
        self.given.append(inputs)
        return [tone(440, rate=natural.MODEL_RATE).astype(np.float32)]


def test_what_is_said_is_the_models_sound_at_our_rate_and_kept(tmp_path, monkeypatch):
    need("espeak-ng")
    monkeypatch.setenv("KERFCALL_CORPUS", str(tmp_path))
    style = np.arange(510 * natural.STYLE, dtype=np.float32).reshape(510, natural.STYLE)
    model = Tone()
    monkeypatch.setattr(natural, "_model", lambda: model)
    monkeypatch.setattr(natural, "_speaker", lambda voice: style)
    sound = natural.say("af_heart", "next pass")
    assert natural.say("af_heart", "next pass") == sound and len(model.given) == 1
    (given,) = model.given
    symbols = len("nˈɛkst pˈæs.")
    assert given["tokens"].shape == (1, symbols + 2) and (given["style"] == style[symbols]).all()
    assert 0.9 <= given["speed"][0] <= 1.15
    samples = floats(sound)
    assert len(samples) == pytest.approx(RATE, rel=0.01) and np.abs(samples).max() == pytest.approx(0.708, abs=1e-3)
    spectrum = np.abs(np.fft.rfft(samples))
    assert np.argmax(spectrum) * RATE / len(samples) == pytest.approx(440, abs=1)


def test_two_that_speak_at_once_load_one_model(tmp_path, monkeypatch):
    need("espeak-ng")
    monkeypatch.setenv("KERFCALL_CORPUS", str(tmp_path))
    monkeypatch.setattr(natural, "_speaker", lambda voice: np.zeros((510, natural.STYLE), np.float32))
    loaded: list[Tone] = []

    @functools.cache
    def load() -> Tone:
        time.sleep(0.3)
        loaded.append(Tone())
        return loaded[-1]

    monkeypatch.setattr(natural, "_model", load)
    assert len(natural.clips("report", "order", every=4)) >= 2
    assert len(loaded) == 1


def test_speeds_fill_their_range():
    speeds = [natural.speed(voice, text) for voice, text in natural.wanted("tune", "phrase")]
    assert 0.9 <= min(speeds) < 0.92 and 1.13 < max(speeds) <= 1.15


def test_a_pause_stands_between_the_lead_in_word_and_the_rest_of_the_same_voice(monkeypatch):
    monkeypatch.setattr(natural, "say", lambda voice, text: f"<{voice}:{text}>".encode())
    for clip in natural.paused("report", 0.3, every=20):
        voice, text = clip.name.split(": ")
        rest = text.removeprefix(f"{LEAD_IN} ")
        assert clip.sound == f"<{voice}:{LEAD_IN},>".encode() + bytes(round(0.6 * RATE)) + f"<{voice}:{rest}>".encode()
        assert clip.text == text and voice in natural.VOICES["report"]


def test_speakers_of_another_digest_are_refused(tmp_path, monkeypatch):
    monkeypatch.setenv("KERFCALL_CORPUS", str(tmp_path))
    (tmp_path / "natural").mkdir()
    archive = tmp_path / "natural/kokoro-js-1.2.1.tgz"
    archive.write_bytes(b"another")
    with pytest.raises(
        natural.MissingError, match=r"kokoro-js-1\.2\.1\.tgz has the SHA-256 [0-9a-f]{64}, not 1f0d0383"
    ):
        natural._speaker("af_heart")


def test_what_cannot_be_fetched_says_so(tmp_path, monkeypatch):
    monkeypatch.setenv("KERFCALL_CORPUS", str(tmp_path))
    for command, why in ((["no-such-program", "x"], "needs no-such-program"), (["ls", "--no-such"], "unrecognized")):
        with pytest.raises(natural.MissingError, match=why):
            natural._fetch(command)


def test_one_speaker_is_taken_out_of_the_archive_and_no_other(tmp_path, monkeypatch):
    monkeypatch.setenv("KERFCALL_CORPUS", str(tmp_path))
    (tmp_path / "natural").mkdir()
    data = np.arange(510 * 256, dtype="<f4").tobytes()
    with tarfile.open(tmp_path / "natural/kokoro-js-1.2.1.tgz", "w:gz") as tar:
        for name in ("am_puck", "am_none"):
            member = tarfile.TarInfo(f"package/voices/{name}.bin")
            member.size = len(data)
            tar.addfile(member, io.BytesIO(data))
    digest = hashlib.sha256((tmp_path / "natural/kokoro-js-1.2.1.tgz").read_bytes()).hexdigest()
    monkeypatch.setattr(natural, "SPEAKERS_SHA256", digest)
    natural._speaker.cache_clear()
    assert natural._speaker("am_puck")[509, 255] == 510 * 256 - 1
    natural._speaker.cache_clear()
    assert [path.name for path in (tmp_path / "natural").glob("*.bin")] == ["am_puck.bin"]


def test_each_kind_is_played_where_its_targets_are_and_every_seed_is_its_own():
    assert set(natural.KINDS) <= set(work.KINDS)
    assert all(set(where) <= set(clips.CONDITIONS) for where in work.WHERE.values())


def test_seeds_differ_by_half_kind_and_condition(monkeypatch):
    one = [clips.Clip("phrase", "a", "a", b"")]
    monkeypatch.setattr(work, "clips", lambda *what: one)
    seeds = [
        block.seed
        for half in clips.HALVES
        for kind, where in work.WHERE.items()
        for condition in where
        for block in work.blocks(half, kind, condition)
    ]
    assert len(set(seeds)) == len(seeds)


@pytest.mark.parametrize(("kind", "every", "step"), [("phrase", 8, 8), ("opposite", 8, 4), ("opposite", 1, 1)])
def test_of_what_has_the_sharpest_targets_twice_as_many_are_played(kind, every, step, monkeypatch):
    monkeypatch.setattr(natural, "say", lambda voice, text: b"")
    assert len(work.clips("report", kind, "clean", every)) == -(-len(natural.wanted("report", kind)) // step)
