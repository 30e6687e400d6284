"""The operator's own scores: the limits that follow from them, where these count, and the file."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from assistant.errors import CouldNotRun, NoSuchPart
from assistant.hearing import accept, child, neural_files, own_scores, soundcheck
from assistant.hearing.child import Spec, make_ear
from assistant.hearing.contract import CLEAR_DB, RATE, by_text
from assistant.hearing.leading import Leading
from assistant.hearing.offline import hear_all
from assistant.hearing.own_scores import BELOW, OwnScores, Scores
from assistant.hearing.scores import Measured
from assistant.hearing.soundcheck import Saying
from assistant.wording.phrases import Phrase
from tests.hearing.voices import floats, need, padded, pcm, saw_noise, spoken, table

NEXT, STAND_BY = "marigold proceed to next pass", "standing by for now"
SOME = {NEXT: Scores((-0.5, -1.25), (-2.0, -4.5)), STAND_BY: Scores((-0.25, -1.0))}


# --- limits


@pytest.mark.parametrize(
    ("scores", "limit"),
    [
        (Scores((-1.0, -0.5), (-4.0, -2.0)), -7.0),
        (Scores((-6.0, -0.5), (-4.0, -2.0)), -9.0),
        (Scores((-1.0,), (-4.0,)), -7.0),
        (Scores((), (-4.0, -2.0)), -7.0),
        (Scores((0.5, 1.0), (2.0,)), -3.0),
        (Scores((), (-4.0,)), None),
        (Scores((-1.0, -0.5, -0.25)), None),
        (Scores(), None),
    ],
)
def test_the_limit_is_the_worst_less_three_and_needs_two_scores_one_of_them_in_the_saws_noise(scores, limit):
    assert OwnScores({NEXT: scores}).limit(NEXT) == limit


def test_without_a_check_there_is_no_limit():
    assert OwnScores().limit(NEXT) is None
    assert OwnScores({STAND_BY: SOME[NEXT]}).limit(NEXT) is None


def test_new_scores_replace_the_phrases_earlier_ones_and_no_scores_remove_them():
    own = OwnScores(SOME)
    own.replace(NEXT, Scores((-1.0,), (-1.5,)))
    assert own.limit(NEXT) == -1.5 - BELOW and own.of(STAND_BY) == SOME[STAND_BY]
    own.replace(NEXT, Scores())
    assert own.texts == (STAND_BY,)


class Scored:
    """In place of the neural model: every piece is like the phrase `NEXT`, and fits as given."""

    def __init__(self, fit: float) -> None:
        self._fit = fit

    def measured(self, pcm16k: bytes, texts: Sequence[object]) -> Measured:
        measures = {"free": -5.0, "fit": self._fit, "margin": 20.0, "rivals": 20.0, "end": 5.0, "lead-in": -1.0}
        return Measured([*by_text(table())].index(NEXT), "", measures)


class Voter:
    """In place of pocketsphinx, which votes where the model is in doubt."""

    def __init__(self, text: str = "") -> None:
        self._text, self.asked = text, 0

    def unknown_words(self, words: Sequence[str]) -> list[str]:
        return []

    def text(self, pcm16k: bytes, phrases: Sequence[Phrase]) -> str:
        self.asked += 1
        return self._text


GENERAL = accept.least_fit(accept.LED, CLEAR_DB)


@pytest.mark.parametrize(
    ("worst", "fit", "taken"),
    [
        (None, GENERAL + 0.5, True),
        (None, GENERAL - 0.5, False),
        (GENERAL + 5, GENERAL + 2.5, True),
        (GENERAL + 5, GENERAL + 1.5, False),
        # Somebody who once scored less than the general limit, and was accepted by the vote, loosens nothing.
        (GENERAL - 5, GENERAL + 0.5, True),
        (GENERAL - 5, GENERAL - 0.5, False),
    ],
)
def test_a_phrase_must_reach_the_general_limit_and_the_operators_own(worst, fit, taken):
    own = OwnScores({} if worst is None else {NEXT: Scores((-0.5,), (worst,))})
    result = Leading(Scored(fit), Voter(), own=own).decode(bytes(2 * RATE), table())  # type: ignore[arg-type]
    assert (result.phrase is not None, result.heard) == (taken, NEXT)
    assert result.reason == ("" if taken else accept.UNLIKE)


def test_noise_lowers_it_as_it_lowers_the_general_limit():
    own = OwnScores({NEXT: Scores((-0.5,), (-0.5,))})
    for clear_db, general in ((CLEAR_DB, GENERAL), (9.0, accept.least_fit(accept.LED, 9.0))):
        limit = -0.5 - BELOW + general - GENERAL
        for fit, taken in ((limit + 0.1, True), (limit - 0.1, False)):
            leading = Leading(Scored(fit), Voter(), own=own)  # type: ignore[arg-type]
            assert (leading.decode(bytes(2 * RATE), table(), clear_db).phrase is not None) == taken


def test_between_the_two_limits_pocketsphinx_has_a_vote():
    own = OwnScores({NEXT: Scores((-0.5,), (-1.0,))})
    for text, taken in ((NEXT, True), (STAND_BY, False)):
        voter = Voter(text)
        result = Leading(Scored(GENERAL + 1), voter, own=own).decode(bytes(2 * RATE), table())  # type: ignore[arg-type]
        assert (result.phrase is not None) == taken and voter.asked == 1


# --- real speech


def with_noise(voice: str, text: str, snr_db: float, seed: int) -> bytes:
    """The saying with quiet around it, and the saw's noise throughout."""
    samples = floats(padded(spoken(voice, text), 1.0, 1.0))
    level = samples[abs(samples) > 500 / 32768].std()
    return pcm((samples + saw_noise(len(samples), seed) * level / 10 ** (snr_db / 20)) / 2)


@pytest.mark.long
def test_what_scored_in_a_check_is_heard_again_by_the_limits_that_follow(tmp_path, monkeypatch):
    """Said as in the check, in quiet and in noise; another sentence that has its words is not taken for it."""
    need("flite")
    model = neural_files.find(())
    if model is None:
        pytest.skip(f"needs the neural recogniser's model: {neural_files.INSTALL}")
    pytest.importorskip("onnxruntime", reason="the neural recogniser needs onnxruntime")
    monkeypatch.setattr("platformdirs.user_data_path", lambda app: tmp_path / app)
    monkeypatch.setattr(child, "microphone_name", lambda: "Headset 2")
    phrases = tuple(p for p in table() if p.text in (NEXT, STAND_BY))
    spec = Spec("moonshine", str(model))
    said = [padded(spoken("flite:rms", p.text), 0.8, 1.2) for p in phrases]
    ends = [len(b"".join(said[: n + 1])) // 2 for n in range(len(said))]
    sayings = [Saying(p, end - len(s) // 2, end) for p, s, end in zip(phrases, said, ends, strict=True)]
    saw = saw_noise(4 * RATE, 3) * 0.02
    off, on = (
        soundcheck.outcomes(hear_all(soundcheck.in_noise(b"".join(said), noise, room), table(), spec), sayings)
        for noise, room in ((saw * 0, None), (saw, saw * 0))
    )
    own = OwnScores()
    worst = soundcheck.learn(own, sayings, off, on)
    assert set(worst) == {NEXT, STAND_BY}, (off, on)
    own.save(own_scores.voice_folder("Headset 2"))
    limits = {text: own.limit(text) for text in worst}
    for text, limit in limits.items():
        assert limit is not None and limit < worst[text] <= max(own.of(text).off) + 0.01

    ear, _ = make_ear(Spec("moonshine", str(model), own_voice=True))
    try:
        ear.listen(table(), 1)
        for text, limit in limits.items():
            for sound in (padded(spoken("flite:rms", text), 1.0, 1.0), with_noise("flite:rms", text, 15, 9)):
                (found,) = ear.feed(sound)
                assert found.phrase is not None and found.phrase.text == text, (found.reason, found.measures)
                assert limit is not None and found.measures["fit"] >= limit
            assert ear.recogniser._own.limit(text) == pytest.approx(limit, abs=0.01)  # type: ignore[attr-defined]
        for found in ear.feed(padded(spoken("flite:rms", "marigold please proceed to the next page"), 1.0, 1.0)):
            assert found.phrase is None
    finally:
        ear.recogniser.scorer.close()  # type: ignore[attr-defined]


def test_hearing_works_without_a_file_that_cant_be_read(tmp_path, monkeypatch):
    monkeypatch.setattr("platformdirs.user_data_path", lambda app: tmp_path / app)
    monkeypatch.setattr(child, "microphone_name", lambda: "any")
    folder = own_scores.voice_folder("any")
    OwnScores(SOME).save(folder)
    spec = Spec("moonshine", own_voice=True)
    assert child._own_scores(spec).texts == tuple(SOME)
    assert child._own_scores(Spec("moonshine")).texts == (), "only the operator's own session is judged by them"
    (folder / own_scores.FILE).write_text("broken")
    assert child._own_scores(spec).texts == ()


# --- the file


def test_what_is_kept_is_what_is_read(tmp_path):
    path = OwnScores(SOME).save(tmp_path / "here")
    again = OwnScores.load(tmp_path / "here")
    assert {text: again.of(text) for text in again.texts} == SOME
    assert os.listdir(tmp_path / "here") == [path.name] == [own_scores.FILE]
    assert OwnScores.load(tmp_path).texts == (), "no file, no scores"


def test_only_figures_are_kept(tmp_path):
    """For each saying one figure of two decimals, which says nothing of how the voice sounds."""
    kept = json.loads(OwnScores({NEXT: Scores((-1.23456,), (-2.0,))}).save(tmp_path).read_text())
    assert kept == {"format": 1, "phrases": {NEXT: {"saw_off": [-1.23], "saw_on": [-2.0]}}}


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such modes")
def test_only_the_user_may_read_it(tmp_path):
    path = OwnScores(SOME).save(tmp_path / "new")
    assert path.stat().st_mode & 0o077 == 0 and path.parent.stat().st_mode & 0o077 == 0


def of_phrase(scores: str) -> str:
    return f'{{"format": 1, "phrases": {{"{NEXT}": {scores}}}}}'


@pytest.mark.parametrize(
    "text",
    [
        "",
        '{"format": 1',
        "[]",
        "1",
        '{"format": 1}',
        '{"format": 1, "phrases": []}',
        of_phrase("[]"),
        of_phrase('{"saw_off": [-1]}'),
        of_phrase('{"saw_off": [-1], "saw_on": null}'),
        of_phrase('{"saw_off": [-1], "saw_on": "-2"}'),
        of_phrase('{"saw_off": [-1], "saw_on": ["x"]}'),
        of_phrase('{"saw_off": [-1], "saw_on": [NaN]}'),
        of_phrase('{"saw_off": [-1], "saw_on": [-1e999]}'),
        of_phrase(f'{{"saw_off": [-1], "saw_on": [{"9" * 400}]}}'),
        "[" * 100_000,
        b"\xff\xfe",
    ],
)
def test_a_broken_file_is_named_with_its_mend(tmp_path, text):
    (tmp_path / own_scores.FILE).write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(NoSuchPart, match=r"scores.json can't be read; run `kerfcall soundcheck` again"):
        OwnScores.load(tmp_path)


def test_scores_of_another_format_are_refused(tmp_path):
    (tmp_path / own_scores.FILE).write_text('{"format": 2, "phrases": {}}')
    with pytest.raises(NoSuchPart, match=r"another version of Kerfcall; run `kerfcall soundcheck` again"):
        OwnScores.load(tmp_path)


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = OwnScores(SOME).save(tmp_path)
    before = path.read_bytes()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(CouldNotRun, match="can't be written: No space left"):
        OwnScores().save(tmp_path)
    assert path.read_bytes() == before
    assert os.listdir(tmp_path) == [own_scores.FILE]


def test_each_microphone_has_a_folder_of_its_own(monkeypatch, tmp_path):
    monkeypatch.setattr("platformdirs.user_data_path", lambda app: tmp_path / app)
    names: list[Path] = [own_scores.voice_folder(name) for name in ("USB Audio (Mono)", "usb audio: 2", "../..", "")]
    assert len({*names}) == 3 and names[2] == names[3]
    assert all(name.parent == own_scores.voices_folder() for name in names)
