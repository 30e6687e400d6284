"""The evaluation counts what an ear reports, by clip: right, wrong, taken, nothing."""

from __future__ import annotations

import json

import numpy as np
import pytest

from assistant.hearing.contract import RATE, Result
from assistant.hearing.ear import Ear
from assistant.hearing.endpoint import Endpointer
from tests.bench import hearing
from tests.hearing.corpus import evaluate
from tests.hearing.corpus.clips import Block, Clip
from tests.hearing.voices import pcm, saw_noise, table

RIGHT, WRONG = table()[0], table()[4]


class Scripted:
    """A recogniser that gives these results in turn, whatever it hears."""

    name = "scripted"

    def __init__(self, *answers: Result) -> None:
        self._answers = list(answers)

    def unknown_words(self, words):
        return []

    def decode(self, pcm16k, phrases, clear_db=40.0):
        return self._answers.pop(0)


def sound(seconds: float = 1.0) -> bytes:
    return pcm(saw_noise(round(seconds * RATE)) * 0.2)


def clip(kind: str, name: str, text: str = "", seconds: float = 1.0) -> Clip:
    return Clip(kind, name, text, sound(seconds))


def result_of(*answers: Result, clips: tuple[Clip, ...], condition: str = "clean") -> evaluate.Heard:
    return evaluate.hear(lambda: Ear(Scripted(*answers)), "tune", Block(condition, clips, 1))


def test_right_wrong_and_taken_are_told_apart():
    clips = (clip("phrase", "a", RIGHT.text), clip("phrase", "b", RIGHT.text), clip("human", "c"), clip("near", "d"))
    answers = (Result(RIGHT, "", RIGHT.text, {"mean": np.float64(-1)}), Result(WRONG, ""), Result(WRONG, ""))
    heard = result_of(*answers, Result(RIGHT, ""), clips=clips)
    row = evaluate._row("clean", heard.lines)
    assert (row.phrases, row.hits, row.wrong) == (2, 1, 1)
    assert (row.human, row.human_strict, row.human_eager) == (1, 0, 1)
    assert (row.near, row.near_strict, row.near_eager) == (1, 1, 0)


def test_a_clip_that_was_not_noticed_is_a_miss_with_a_line():
    heard = result_of(clips=(clip("phrase", "short", RIGHT.text, 0.1),))
    (line,) = heard.lines
    assert line.accepted is None and not line.right
    assert evaluate._row("clean", heard.lines).phrases == 1


def test_the_reaction_counts_from_the_clips_last_sound_and_holds_the_hangover():
    """Counted from its beginning it would be longer than the clip."""
    heard = result_of(Result(RIGHT, ""), clips=(clip("phrase", "a", RIGHT.text, 3.0),))
    (line,) = heard.lines
    hangover = Endpointer().limits.hangover
    assert hangover <= line.unloaded_s < 3.0
    assert hangover <= line.reaction_s


def test_what_noise_alone_is_taken_for_is_counted_as_noise():
    heard = evaluate.hear(
        lambda: Ear(Scripted(*[Result(RIGHT, "")] * 200)), "tune", Block("noise at 20 dB", (), 900_001)
    )
    assert heard.audio_s == pytest.approx(60, abs=1)
    assert heard.lines and {line.kind for line in heard.lines} == {"noise"}


def test_a_dump_has_one_json_object_an_utterance(tmp_path):
    heard = result_of(Result(RIGHT, "", RIGHT.text, {"mean": -1.5}), clips=(clip("phrase", "a", RIGHT.text),))
    score = evaluate.Score({}, 0.0, 0, heard.audio_s, heard.cpu_s, heard.lines)
    hearing.dump(score, tmp_path / "lines.jsonl")
    (line,) = [json.loads(text) for text in (tmp_path / "lines.jsonl").read_text("utf-8").splitlines()]
    assert line["heard"] == line["accepted"] == RIGHT.text
    assert line["measures"] == {"mean": -1.5} and line["condition"] == "clean" and line["right"]
