"""The neural recogniser leads; the grammar votes only where it is in doubt, and decides alone where it is lost."""

from __future__ import annotations

import os
import signal
from dataclasses import dataclass, field

import pytest

from assistant.hearing import accept
from assistant.hearing.beside import Late, ModelLost, ScorerProcess
from assistant.hearing.contract import Result
from assistant.hearing.ear import Ear
from assistant.hearing.leading import Leading
from assistant.hearing.scores import Measured, SayableText
from assistant.hearing.sphinx import Sphinx
from assistant.wording.phrases import Phrase, phrases_for
from tests.hearing.neural_made import folder
from tests.hearing.voices import LEAD_IN, piece, short, table

PHRASES = table(3)
NEXT = PHRASES[0]
GOOD = {"free": -3.0, "fit": -1.0, "margin": 12.0, "end": 4.0, "lead-in": -0.5, "rivals": 10.0}
SOUND = bytes(16_000)


@dataclass
class Scores:
    """A process that gives these measures for the first text, or is lost."""

    measures: dict[str, float] | None
    late: int = 0
    begun: bool = False
    closed: bool = False
    prepared: tuple[SayableText, ...] = ()

    def prepare(self, texts):
        self.prepared = tuple(texts)

    def begin(self, pcm16k, texts):
        self.begun = True

    def measured(self, pcm16k, texts):
        if self.measures is None:
            raise ModelLost("has stopped")
        if self.late:
            self.late -= 1
            raise Late
        return Measured(0, "what it writes", dict(self.measures))

    def close(self):
        self.closed = True


@dataclass
class Grammar:
    """Pocketsphinx, as far as it is asked: what it makes of every piece."""

    makes: str
    asked: list[str] = field(default_factory=list)

    def unknown_words(self, words):
        return []

    def text(self, pcm16k, phrases):
        self.asked.append("text")
        return self.makes

    def decode(self, pcm16k, phrases):
        self.asked.append("decode")
        return Result(None, "by the grammar", str(len(phrases)))


@dataclass
class Heeding(Grammar):
    """It keeps what it listened for."""

    listened_for: tuple[Phrase, ...] = ()

    def decode(self, pcm16k, phrases):
        self.listened_for = tuple(phrases)
        return Result(None, "by the grammar")


def decoded(measures, makes="", phrases=PHRASES):
    grammar, lost = Grammar(makes), []
    leading = Leading(Scores(measures), grammar, lost.append)
    return leading.decode(SOUND, phrases), grammar, lost


def test_a_clear_phrase_is_taken_without_a_vote():
    result, grammar, _ = decoded(GOOD)
    assert result.phrase == NEXT and result.reason == "" and grammar.asked == []
    assert result.measures == GOOD


def test_it_says_which_piece_the_grammar_judged():
    leading = Leading(Scores(GOOD, late=1), Grammar(""))
    leading.decode(SOUND, PHRASES)
    assert not leading.doubts
    leading.decode(SOUND + bytes(2), PHRASES)
    assert leading.doubts


def test_strict_acceptance_asks_in_noise_what_it_asks_in_quiet_and_takes_no_vote():
    for measures in (GOOD | {"fit": -8.0}, GOOD | {"fit": -13.0}):
        grammar = Grammar(NEXT.text)
        leading = Leading(Scores(measures), grammar, all_strict=True)
        assert leading.decode(SOUND, PHRASES, clear_db=9.0).phrase is None and grammar.asked == []
    assert Leading(Scores(GOOD), Grammar(""), all_strict=True).decode(SOUND, PHRASES, clear_db=9.0).phrase == NEXT


def test_in_quiet_more_is_asked_of_the_fit_than_in_noise():
    leading = Leading(Scores(GOOD | {"fit": -8.0}), Grammar(""))
    assert leading.decode(SOUND, PHRASES, clear_db=40.0).phrase is None
    assert leading.decode(SOUND, PHRASES, clear_db=9.0).phrase == NEXT


def test_in_doubt_the_grammar_decides():
    result, grammar, _ = decoded(GOOD | {"fit": -13.0}, NEXT.text)
    assert result.phrase == NEXT and grammar.asked == ["text"]
    result, _, _ = decoded(GOOD | {"fit": -13.0}, "marigold return to previous")
    assert result.phrase is None and result.like == NEXT.text


def test_another_wording_of_the_same_meaning_is_the_same_vote():
    assert PHRASES[1].intent == NEXT.intent
    assert decoded(GOOD | {"fit": -13.0}, PHRASES[1].text)[0].phrase == NEXT


@pytest.mark.parametrize(
    ("against", "reason"),
    [
        ({"fit": -13.0, "free": -1.0}, "enough like"),
        ({"rivals": 4.0}, "opposite"),
        ({"end": -4.0}, "followed"),
        ({"lead-in": -9.0}, "lead-in word"),
        ({"margin": 1.0}, "another phrase"),
        ({"fit": accept.DOUBTFUL - 1}, "enough like"),
    ],
)
def test_no_vote_helps_where_the_model_is_sure_of_something_else(against, reason):
    result, grammar, _ = decoded(GOOD | against, NEXT.text)
    assert result.phrase is None and reason in result.reason and grammar.asked == []


def test_a_short_wording_must_fit_and_has_no_vote_and_in_noise_it_is_not_listened_for():
    (wording,) = [phrase for phrase in short(0) if phrase.wording == "next pass"]
    for fit, clear_db, taken in (
        (-5.0, accept.SHORT_FROM_DB, wording),
        (-6.5, accept.SHORT_FROM_DB, None),
        (-13.0, accept.SHORT_FROM_DB, None),
        (-5.0, accept.SHORT_FROM_DB - 1, NEXT),
    ):
        grammar = Grammar(wording.text)
        leading = Leading(Scores(GOOD | {"fit": fit}), grammar)
        result = leading.decode(SOUND, (wording, *PHRASES), clear_db=clear_db)
        assert result.phrase == taken and grammar.asked == []


def test_an_ear_has_made_ready_what_it_listens_for_before_anybody_speaks():
    scores = Scores(GOOD)
    ear = Ear(Leading(scores, Grammar("")), known=PHRASES)
    ear.listen(phrases_for([("figure", 12)], (), LEAD_IN), 1)
    said = [one for one in scores.prepared if one.meaning == ("figure", 12)]
    assert [(one.text, one.begin) for one in said] == [
        ("the figure is one two number one two", "the figure is"),
        ("the figure is one two", "the figure is"),
    ]
    assert {phrase.wording for phrase in PHRASES} <= {one.text for one in scores.prepared}
    Leading(Scores(None), Grammar("")).prepare(PHRASES)


def test_where_the_model_is_lost_no_short_wording_is_listened_for():
    grammar = Heeding("")
    Leading(Scores(None), grammar, lambda why: None).decode(SOUND, (*short(3), *PHRASES))
    assert grammar.listened_for[: len(PHRASES)] == PHRASES
    assert not any(phrase.short for phrase in grammar.listened_for)


def test_a_lost_process_is_said_once_and_the_grammar_goes_on_with_the_rivals():
    grammar, lost = Grammar(""), []
    scores = Scores(None)
    leading = Leading(scores, grammar, lost.append)
    for _ in range(2):
        result = leading.decode(SOUND, PHRASES)
        assert result.reason == "by the grammar" and int(result.heard) > len(PHRASES)
    assert len(lost) == 1 and "has stopped" in lost[0] and "each check twice" in lost[0]
    assert scores.closed


def test_late_now_and_then_is_said_once_and_late_every_time_is_given_up():
    for late, lines in ((2, 1), (3, 2)):
        grammar, lost = Grammar(""), []
        leading = Leading(Scores(GOOD, late=late), grammar, lost.append)
        taken = [leading.decode(SOUND + bytes(2 * n), PHRASES).phrase for n in range(4)]
        assert grammar.asked == ["decode"] * (2 if late == 2 else 4)
        assert taken == ([None, None, NEXT, NEXT] if late == 2 else [None] * 4)
        assert len(lost) == lines and "is slow" in lost[0]


def test_nothing_is_begun_once_it_is_lost():
    leading = Leading(Scores(None), Grammar(""))
    leading.decode(SOUND, PHRASES)
    leading.begin(SOUND, PHRASES)
    assert leading.scorer is None


def test_a_real_process_killed_in_the_middle_is_replaced_by_the_grammar():
    lost = []
    scorer = ScorerProcess(folder(), LEAD_IN)
    leading = Leading(scorer, Sphinx(), lost.append)
    sound = piece("flite:slt", NEXT.text)
    assert leading.decode(sound, PHRASES).phrase == NEXT
    os.kill(scorer.pid, signal.SIGKILL)
    assert leading.decode(sound + bytes(320), PHRASES).phrase == NEXT
    assert len(lost) == 1
