"""Words are known, and phrases of different meaning that can be open together don't sound alike."""

from __future__ import annotations

import pytest

from assistant.errors import BadInput
from assistant.hearing.sphinx import pronouncer
from assistant.hearing.vocabulary import ALIKE, check_words, distance, phones_of, too_alike
from assistant.wording.phrases import Phrase
from tests.hearing.voices import table


@pytest.fixture(scope="module")
def pronounce():
    return pronouncer()


def phrase(text: str, intent: str, argument: str | int | None = None) -> Phrase:
    return Phrase(intent, argument, text, text.startswith("marigold "), True)


def test_every_unknown_word_is_told_with_its_phrase(pronounce):
    with pytest.raises(BadInput) as caught:
        check_words([phrase("wilco that is zorkmid", "cut"), phrase("all right", "no")], pronounce)
    assert [(fault.value, fault.where) for fault in caught.value.faults] == [
        ('"wilco"', 'phrase "wilco that is zorkmid"'),
        ('"zorkmid"', 'phrase "wilco that is zorkmid"'),
    ]
    assert {fault.mend for fault in caught.value.faults} == {
        "use other words, or give the word's sounds under [pronunciations] in the shop file"
    }


def test_phones_are_the_pronouncing_dictionarys(pronounce):
    """Outside reference: CMUdict gives GLUE as G L UW and DRY as D R AY."""
    assert phones_of("glue zorkmid dry", pronounce) == ["G", "L", "UW", "D", "R", "AY"]


def test_distance_is_0_for_the_same_the_same_both_ways_and_grows_with_what_differs(pronounce):
    def apart(a: str, b: str) -> float:
        return distance(a, b, pronounce)

    assert apart("finish the session", "finish the session") == 0
    assert apart("finish the session", "this pass is cut") == apart("this pass is cut", "finish the session")
    assert 0 < apart("blade is sharp", "blade is shark") < apart("blade is sharp", "blade is gone") < 1
    # One vowel for another costs 0.5 of 3 phones.
    assert apart("cut", "cat") == pytest.approx(0.5 / 3)
    assert apart("", "") == 0


def test_our_own_phrases_are_far_enough_apart(pronounce):
    assert too_alike(table(9), pronounce) == []


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (phrase("marigold return to previous", "back"), phrase("return to the previous", "where")),
        (phrase("marigold finish the session", "end"), phrase("finish this session", "how many")),
        (phrase("marigold go to pass one", "go to", 1), phrase("marigold go to past one", "mark")),
        (phrase("marigold all clamps are secure", "check", "clamps"), phrase("all lamps are secure", "where")),
    ],
)
def test_alike_phrases_of_different_meaning_are_told_with_their_distance(pronounce, one, other):
    ((a, b, apart),) = too_alike([one, other], pronounce)
    assert (a, b) == (one, other) and 0 <= apart < ALIKE


@pytest.mark.parametrize(
    ("one", "other", "why"),
    [
        (phrase("finish the session", "end"), phrase("finish this session", "end"), "one meaning"),
        (phrase("a face is fresh", "check", "a"), phrase("a face is flesh", "check", "b"), "one check open at a time"),
        (phrase("carry on now", "carry on"), phrase("carry on too", "cut"), "never open together"),
        (phrase("go to pass five", "go to", 5), phrase("go to pass nine", "go to", 9), "pass numbers"),
        (phrase("finish the session", "end"), phrase("how many more to go", "how many"), "unlike"),
    ],
)
def test_nothing_is_said_of_phrases_that_can_not_be_mistaken_or_changed(pronounce, one, other, why):
    assert too_alike([one, other], pronounce) == [], why


def test_the_nearest_pair_comes_first(pronounce):
    texts = {"again": "report my progress", "where": "report my process", "how many": "report by progress"}
    found = too_alike([phrase(text, intent) for intent, text in texts.items()], pronounce)
    assert [apart for _, _, apart in found] == sorted(apart for _, _, apart in found) and len(found) == 3


def test_an_unknown_word_of_many_phrases_is_told_once(pronounce):
    phrases = [Phrase("cut", None, f"zxq {text}", True, True) for text in ("go on", "go back", "go home")]
    with pytest.raises(BadInput) as caught:
        check_words(phrases, pronounce)
    (fault,) = caught.value.faults
    assert (fault.value, fault.where) == ('"zxq"', 'phrase "zxq go on" and 2 more')
