"""The evaluation counts what an ear reports, by clip: right, wrong, taken, nothing."""

from __future__ import annotations

import json
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.hearing.contract import RATE, Recogniser, Result
from assistant.hearing.ear import Ear
from assistant.hearing.endpoint import Endpointer
from assistant.wording.phrases import Phrase
from tests.bench import hearing
from tests.hearing.corpus import evaluate, natural_texts
from tests.hearing.corpus.clips import Block, Clip
from tests.hearing.voices import pcm, saw_noise, table

RIGHT, WRONG = table()[0], table()[4]


class Scripted(Recogniser):
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
    clips = (clip("phrase", "a", RIGHT.text), clip("phrase", "b", RIGHT.text), clip("human", "c"), clip("talk", "d"))
    answers = (Result(RIGHT, "", RIGHT.text, {"mean": np.float64(-1)}), Result(WRONG, ""), Result(WRONG, ""))
    heard = result_of(*answers, Result(RIGHT, ""), clips=clips)
    cells = evaluate.cells_of(heard.lines)
    phrases, human, talk = (cells[kind, "clean"] for kind in ("phrase", "human", "talk"))
    assert (phrases.clips, phrases.hits, phrases.strict, phrases.eager, phrases.taken) == (2, 1, 0, 1, 1)
    assert (human.clips, human.hits, human.strict, human.eager) == (1, 0, 0, 1)
    assert (talk.clips, talk.hits, talk.strict, talk.eager) == (1, 0, 1, 0)


def test_a_clip_heard_in_two_pieces_is_one_clip_and_taken_once():
    strict, eager = (evaluate.cells_of(taken_as(phrase)) for phrase in (RIGHT, WRONG))
    both = evaluate.cells_of([*taken_as(RIGHT), *taken_as(WRONG)])
    for cells, counts in ((strict, (1, 1, 0)), (eager, (1, 0, 1)), (both, (1, 1, 0))):
        cell = cells["talk", "clean"]
        assert (cell.clips, cell.strict, cell.eager) == counts


def taken_as(phrase: Phrase) -> tuple[evaluate.Line, ...]:
    return result_of(Result(phrase, ""), clips=(clip("talk", "d"),)).lines


def test_a_clip_that_was_not_noticed_is_a_miss_with_a_line():
    heard = result_of(clips=(clip("phrase", "short", RIGHT.text, 0.1),))
    (line,) = heard.lines
    assert line.accepted is None and not line.right
    cell = evaluate.cells_of(heard.lines)["phrase", "clean"]
    assert (cell.clips, cell.hits, cell.taken) == (1, 0, 0)


@pytest.mark.parametrize(("part", "whole"), [(0, 200), (1, 3), (117, 126), (60, 60)])
def test_the_interval_of_a_share_is_wilsons(part, whole):
    """Against scipy's."""
    from scipy.stats import binomtest  # which takes a second, and every worker collects this file

    theirs = binomtest(part, whole).proportion_ci(0.95, "wilson")
    assert evaluate.wilson(part, whole) == pytest.approx((theirs.low, theirs.high), abs=1e-7)


def test_short_and_usual_wordings_are_listened_for_together_and_those_to_come_beside_the_short_ones():
    usual, with_new = ({p.text: p for p in evaluate.phrases_for([clip(kind, "a")])} for kind in ("phrase", "short"))
    for text in natural_texts.texts("tune", "short"):
        assert with_new[text].short and (text in usual) == (text.removeprefix("marigold ") not in natural_texts.TO_COME)
    assert {phrase.text for phrase in table()} < set(usual)
    assert usual["marigold next pass"].intent == usual["marigold pass done"].intent == "cut"


def test_the_reaction_counts_from_the_clips_last_sound_and_holds_the_hangover(monkeypatch):
    """With clocks that stand still, so that no work counts. From its beginning it would be longer than the clip."""
    still = SimpleNamespace(process_time=lambda: 0.0, perf_counter=lambda: 0.0)
    monkeypatch.setattr(evaluate, "time", still)
    heard = result_of(Result(RIGHT, ""), clips=(clip("phrase", "a", RIGHT.text, 3.0),))
    (line,) = heard.lines
    hangover = Endpointer().limits.hangover
    assert hangover <= line.unloaded_s == line.reaction_s < hangover + 0.2


def test_what_noise_alone_is_taken_for_is_counted_as_noise():
    heard = evaluate.hear(
        lambda: Ear(Scripted(*[Result(RIGHT, "")] * 200)), "tune", Block("noise at 20 dB", (), 900_001)
    )
    assert heard.audio_s == pytest.approx(60, abs=1)
    assert heard.lines and {line.kind for line in heard.lines} == {"noise"}


def test_a_dump_has_one_json_object_an_utterance(tmp_path):
    heard = result_of(Result(RIGHT, "", RIGHT.text, {"mean": -1.5}), clips=(clip("phrase", "a", RIGHT.text),))
    score = evaluate.Score({}, evaluate.Load(), evaluate.Load(), evaluate.Load(), 0, heard.lines)
    hearing.dump(score, tmp_path / "lines.jsonl")
    (line,) = [json.loads(text) for text in (tmp_path / "lines.jsonl").read_text("utf-8").splitlines()]
    assert line["heard"] == line["accepted"] == RIGHT.text
    assert line["measures"] == {"mean": -1.5} and line["condition"] == "clean" and line["right"]


def test_only_people_and_natural_voices_are_judged():
    lines = [line for line in result_of(Result(WRONG, ""), clips=(clip("formant phrase", "a", RIGHT.text),)).lines]
    load = evaluate.Load(60.0, 6.0)
    nothing = evaluate.Score(evaluate.cells_of(lines), load, evaluate.Load(), load, 0, tuple(lines))
    assert "formant phrase  clean" in hearing._table(nothing)[1]
    assert not [line for line in hearing.targets(nothing, None) if "hits" in line or "wrong" in line]


def test_a_target_says_how_many_of_how_many_and_whether_it_is_met():
    clips = (clip("opposite", "short", seconds=0.1), clip("opposite", "b"), clip("phrase", "c", RIGHT.text))
    heard = result_of(Result(RIGHT, ""), Result(RIGHT, ""), clips=clips)
    load = evaluate.Load(heard.audio_s, heard.cpu_s)
    result = evaluate.Score(evaluate.cells_of(heard.lines), load, evaluate.Load(), evaluate.Load(), 0, heard.lines)
    found = [" ".join(line.split()) for line in hearing.targets(result, None)]
    assert "opposite taken, clean 1 of 2, 50.0 % (9.5-90.5) at most 0 % NOT MET" in found
    assert "hits, clean 1 of 1, 100.0 % (20.7-100.0) at least 98 % met" in found
