"""What is made by rule of every phrase that has a consequence: that it is not so, whether it is, and its opposite."""

from __future__ import annotations

import pytest

from assistant.plans.checks import DEFAULT_CHECKS, default_checks
from assistant.plans.intents import HARMLESS, NUMBERED, PHRASED
from assistant.plans.languages import language_of
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Check, VoiceSettings
from assistant.wording.phrases import NOTHING, Phrase, phrases_for, whole_table
from assistant.wording.rivals import rivals

OWN = (
    Check("vacuum", "vacuum on?", "vacuum is switched on", "session"),
    Check("cover", "cover?", "motor cover tightened", "session"),
    Check("rests", "rests?", "outfeed supports levelled", "session"),
)


def anything(word: str) -> bool:
    return True


def nothing_made(word: str) -> bool:
    """A recogniser that knows no word with a prefix."""
    return not word.startswith(("un", "in", "im", "dis")) or word in ("un", "in")


def of(wording: str, intent: str = "check", knows=anything) -> set[str]:
    phrase = Phrase(intent, "x", f"heron {wording}", True, True)
    found = rivals([phrase], "en", knows)
    assert all(one.text == f"heron {one.wording}" and one.lead_in and not one.strict for one in found)
    assert {(one.intent, one.argument) for one in found} <= {(NOTHING, intent)}
    return {one.wording for one in found}


@pytest.mark.parametrize(
    ("wording", "expected"),
    [
        (
            "vacuum is switched on",
            {
                "vacuum is not switched on",
                "vacuum is never switched on",
                "vacuum is not yet switched on",
                "vacuum isn't switched on",
                "no vacuum is switched on",
                "is vacuum switched on",
                "is the vacuum switched on",
                "vacuum is unswitched on",
                "vacuum is switched off",
            },
        ),
        (
            "both rails are now clean and level",
            {
                "both rails are not now clean and level",
                "both rails are now not clean and level",
                "both rails are not clean and level",
                "both rails are now clean and not level",
                "both rails are now clean but not level",
                "both rails aren't clean and level",
                "not both rails are now clean and level",
                "neither rails are now clean and level",
                "are both rails now clean and level",
                "are both rails clean and level",
                "both rails are unclean and level",
                "both rails are now dirty and level",
            },
        ),
        (
            "motor cover tightened",
            {
                "motor cover not tightened",
                "motor cover never tightened",
                "motor cover is not tightened",
                "motor cover isn't tightened",
                "no motor cover tightened",
                "is motor cover tightened",
                "is the motor cover tightened",
                "motor cover untightened",
            },
        ),
        (
            "outfeed supports levelled",
            {"are outfeed supports levelled", "are the outfeed supports levelled", "outfeed supports are not levelled"},
        ),
        ("satisfactorily", {"not satisfactorily", "never satisfactorily", "unsatisfactorily"}),
        ("insert plate is a flat one", {"insert plate is no flat one", "insert plate is not a flat one"}),
    ],
)
def test_an_answer_is_denied_asked_and_turned_round(wording: str, expected: set[str]) -> None:
    found = of(wording)
    assert expected <= found, expected - found
    assert wording not in found


@pytest.mark.parametrize("intent", [intent for intent in PHRASED if intent not in HARMLESS and intent not in NUMBERED])
def test_an_order_is_denied_and_asked(intent: str) -> None:
    found = of("wind up the long rope", intent)
    assert {"do not wind up the long rope", "don't wind up the long rope", "never wind up the long rope"} <= found
    assert "wind up no rope" in of("wind up a rope", intent)


def test_a_word_that_the_recogniser_lacks_is_said_in_two_or_not_at_all() -> None:
    found = of("both rails are now polished and secure", knows=nothing_made)
    assert "both rails are un polished and secure" in found
    assert "both rails are now un polished and secure" not in found, "it took true answers"
    assert not any("insecure" in text or "unpolished" in text for text in found)
    assert all("not" not in text.split() for text in of("both rails are level", knows=lambda word: word != "not"))


def test_every_phrase_with_a_consequence_has_rivals_and_no_other_has() -> None:
    checks = (*DEFAULT_CHECKS, *OWN)
    for phrase in whole_table(checks, VoiceSettings(), 2):
        found = rivals([phrase], "en", anything)
        assert (len(found) >= 2) == (phrase.intent not in HARMLESS), phrase
        assert len({one.text for one in found}) == len(found) <= 60


def test_what_is_itself_a_phrase_is_no_rival() -> None:
    on = Phrase("check", "on", "heron vacuum is switched on", True, True)
    off = Phrase("check", "off", "heron vacuum is switched off", True, True)
    texts = {one.text for one in rivals([on, off], "en", anything)}
    assert not texts & {on.text, off.text} and "heron vacuum is not switched off" in texts


def test_a_pass_to_go_to_is_denied_before_it_however_many_there_are() -> None:
    named = [phrase for phrase in whole_table((), VoiceSettings(), 60) if phrase.intent == "go to"]
    table = [phrase for phrase in named if not phrase.short]
    assert "do not go to pass three" in {one.wording for one in rivals(named, "en", anything)}
    texts = {one.wording for one in rivals(table, "en", anything)}
    assert {"do not go to pass three number three", "never go to pass nine number nine"} <= texts
    assert len(texts) == len(rivals(table[:11], "en", anything)) == 22, "as many as digits, five and nine in two ways"


def test_a_figure_is_denied_and_asked_and_its_numbers_are_no_words() -> None:
    (phrase,) = [one for one in phrases_for([("figure", 3)], (), "heron") if one.argument == 3 and not one.short]
    assert {one.wording for one in rivals([phrase], "en", anything)} == {
        "the figure is not three number three",
        "the figure is never three number three",
        "the figure isn't three number three",
        "is the figure three number three",
    }
    many = phrases_for([("figure", 999)], (), "heron")
    assert len(rivals(many, "en", anything)) == len(rivals(many[:30], "en", anything))
    own = VoiceSettings(lead_in="heron", phrases=(("figure", ("take this number",)),))
    (phrase,) = [one for one in phrases_for([("figure", 0)], (), own) if not one.short]
    assert [one.wording for one in rivals([phrase], "en", anything)][0] == "do not take this number zero number zero"


def test_a_mishap_is_denied_asked_and_turned_round() -> None:
    def of_mishap(name: str) -> set[str]:
        phrases = phrases_for([("mishap", name)], (), "heron")
        return {one.wording for one in rivals(phrases, "en", anything)}

    assert {"these sockets are too deep", "are these sockets too shallow"} <= of_mishap("not deep enough")
    assert {"it is cutting far too shallow", "is it cutting far too deep", "not cut too deep"} <= of_mishap("too deep")
    assert {"a cut is in the right place", "no cut is in the wrong place"} <= of_mishap("wrong place")
    assert {"the same blade was put on", "the old blade was put on", "old blade"} <= of_mishap("other blade")
    for mishap in Mishap:
        assert len(of_mishap(mishap)) >= 8, mishap


def test_korean_has_no_rules_of_its_own() -> None:
    voice = VoiceSettings(language="ko", lead_in="무궁화")
    assert rivals(whole_table(default_checks(language_of("ko")), voice), "ko", anything) == ()
