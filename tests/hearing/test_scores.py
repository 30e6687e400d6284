"""What is measured of a piece: for the phrase that was said, against what denies it, asks it, or is another phrase."""

from __future__ import annotations

import pytest

from assistant.hearing import accept, scores
from assistant.hearing.leading import Leading
from assistant.hearing.neural import Scored
from assistant.hearing.scores import Measured, SayableText
from assistant.plans.intents import Intent
from assistant.wording.phrases import Phrase, phrases_for
from tests.hearing.neural_made import said, scorer
from tests.hearing.voices import LEAD_IN, piece, sphinx, table

PHRASES = table(12)
TEXTS = said(*PHRASES)
VOICE = "flite:slt"


def measured(text: str) -> tuple[Phrase | None, Measured]:
    found = scorer().measure(piece(VOICE, text), TEXTS)
    return (None if found.number is None else PHRASES[found.number]), found


@pytest.mark.parametrize(
    "text",
    [
        "marigold all clamps are secure",
        "marigold proceed to next pass",
        "marigold go to pass one two number one two",
        "how many more to go",
        "negative cancel that",
    ],
)
def test_a_phrase_is_likeliest_and_passes(text):
    phrase, found = measured(text)
    assert phrase is not None and phrase.text == text
    assert accept.weigh(found.measures, accept.LED if phrase.lead_in else accept.BARE) == ""


@pytest.mark.parametrize(
    "text",
    [
        "marigold all clamps are not secure",
        "marigold are all clamps secure",
        "marigold all clamps are insecure",
        "marigold blade height is never measured",
        "marigold is the glue dry and trimmed",
        "marigold don't proceed to next pass",
    ],
)
def test_its_opposite_and_its_question_do_not_pass(text):
    phrase, found = measured(text)
    assert phrase is None or accept.weigh(found.measures, accept.LED if phrase.lead_in else accept.BARE)


class Found:
    """A piece whose texts have been scored, by their numbers."""

    def __init__(self, *scored: Scored) -> None:
        self._scored = dict(enumerate(scored))

    def search(self, ways, length_s):
        return self._scored, -1.0, ()


def test_a_sentence_that_goes_on_after_a_short_wording_is_the_longer_one_of_its_meaning():
    """The short one is likelier as far as it goes; what follows it in the sound shows in the odds of its end."""
    texts = [
        SayableText("go to pass two", True, 2),
        SayableText("go to pass two number two", True, 2),
        SayableText("go back one", True, 1),
    ]
    goes_on, ended = Scored(-1.0, -0.5, -8.0, -0.01), Scored(-12.0, -0.5, -0.1, -2.3)
    likelier_other = Scored(-10.0, -0.5, -0.1, -2.3)
    for scored, number in (
        ((goes_on, ended, likelier_other), 1),
        ((ended, goes_on, likelier_other), 0),
        ((goes_on, goes_on, likelier_other), 0),
        ((ended, ended, likelier_other), 2),
    ):
        found = scorer()._likeliest(Found(*scored), tuple(texts), True, False, 2.0)
        assert found.number == number
        assert (found.measures["margin"] < 0) == (scored[number] == ended and number != 2), "the other is likelier"


def test_digits_one_after_another_are_looked_for_as_the_model_writes_them():
    found = {
        " ".join(form)
        for form in scores._runs(["the", "figure", "is", "three", "five", "two", "number", "three", "five", "two"])
    }
    assert found == {
        "the figure is three-five-two number three-five-two",
        "the figure is three-five-two, number three-five-two",
        "the figure is three, five, two, number three, five, two",
        "the figure is 352 number 352",
        "the figure is 352, number 352",
        "the figure is 352. Number 352",
    }
    assert [" ".join(form) for form in scores._runs(["one", "niner"])] == ["one-niner", "one, niner", "19"]
    assert scores._runs(["backing", "face", "is", "a", "fresh", "one"]) == []


def test_a_thousand_figures_are_told_apart_and_their_branches_are_made_once():
    said_of = Leading(None, sphinx())._texts(phrases_for([("figure", 999)], (), LEAD_IN))
    text = "marigold the figure is three five two number three five two"
    found = scorer().measure(piece(VOICE, text), said_of)
    assert said_of[found.number].meaning == ("figure", 352)
    assert accept.weigh(found.measures, accept.LED) == ""
    began = scorer()._tree(said_of, True, True)
    within = scorer()._tree(said_of, True, False)
    assert began is not within and within is scorer()._tree(said_of, True, False)


def test_the_lead_in_word_alone_is_known_and_nothing_longer_is():
    assert measured(LEAD_IN)[1].measures["alone"] > 0
    assert "alone" not in measured("marigold all clamps are secure")[1].measures
    assert "alone" not in measured("stand by for me")[1].measures


def test_without_the_lead_in_word_no_phrase_that_needs_it_passes():
    for text in ("all clamps are secure", "proceed to next pass", "finish the session"):
        phrase, found = measured(text)
        assert phrase is None or not phrase.lead_in or accept.weigh(found.measures, accept.LED)


def test_what_follows_the_phrase_shows_in_the_odds_of_its_end():
    _, alone = measured("marigold this pass is completed")
    phrase, longer = measured("marigold this pass is completed when the light is green")
    assert alone.measures["end"] > 0
    assert phrase is None or longer.measures["end"] < accept.LED.end


def test_texts_of_one_meaning_are_no_rivals():
    """Two wordings of one order, of which either may be meant."""
    _, found = measured("marigold proceed to next pass")
    of_one_meaning = said(*(p for p in PHRASES if p.intent == Intent.CUT))
    alone = scorer().measure(piece(VOICE, "marigold proceed to next pass"), of_one_meaning)
    assert alone.measures["margin"] == 18.0
    assert found.measures["margin"] <= 18.0


def test_only_what_can_be_said_now_is_found():
    found = scorer().measure(piece(VOICE, "marigold all clamps are secure"), said(PHRASES[0]))
    assert found.number is None or found.measures["fit"] < accept.LED.fit


def test_numbers_are_told_apart_although_they_sound_like_words():
    for number in (1, 2, 4, 8):
        text = next(p.text for p in PHRASES if p.intent == Intent.GO_TO and p.argument == number)
        phrase, found = measured(text)
        assert phrase is not None and phrase.argument == number, found
