"""The phrase table: lead-in where a phrase records, confirms, moves or ends; none where it only asks or pauses."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from assistant.plans.checks import DEFAULT_CHECKS, default_checks
from assistant.plans.intents import EAGER, NAMED, PHRASED, Intent
from assistant.plans.languages import language_of
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Check, VoiceSettings
from assistant.session.intents import wanted
from assistant.wording.phrases import (
    DRIVEN_ONLY,
    EXPLAINED,
    HOLDS,
    SAID_WHEN,
    Phrase,
    listing,
    open_together,
    phrases_for,
    spoken_pass,
    whole_table,
)
from tests.session.driver import Driver
from tests.session.drives import Rig
from tests.session.jobs import few_checks, job


def test_every_intent_has_a_wording_an_explanation_and_a_state():
    table = whole_table(DEFAULT_CHECKS, "marigold", 3)
    assert {phrase.intent for phrase in table} == {*PHRASED, *NAMED}
    assert set(EXPLAINED) == set(Intent)
    assert {intent for intents in SAID_WHEN.values() for intent in intents} == {*PHRASED, *NAMED}


def test_the_lead_in_is_due_exactly_where_a_false_one_would_do_harm():
    for phrase in whole_table(DEFAULT_CHECKS, "marigold", 3):
        assert phrase.lead_in == phrase.text.startswith("marigold ") == phrase.strict == (phrase.intent not in EAGER)
    assert sorted(EAGER) == ["again", "halt", "how many", "no", "stand by", "where"]


def test_no_two_meanings_share_their_words():
    table = whole_table(DEFAULT_CHECKS, "marigold", 120)
    assert len({phrase.text for phrase in table}) == len(table)


def test_pass_numbers_are_said_digit_by_digit():
    assert spoken_pass(120) == "one two zero number one two zero"
    numbers = phrases_for([("go to", 12)], (), "marigold")
    assert list(dict.fromkeys(phrase.argument for phrase in numbers)) == list(range(1, 13))
    assert [phrase.text for phrase in numbers if phrase.argument == 12] == [
        "marigold go to pass one two number one two",
        "marigold go to pass one two",
    ]
    assert [phrase.text for phrase in numbers if phrase.argument == 9] == [
        "marigold go to pass nine number nine",
        "marigold go to pass niner number niner",
        "marigold go to pass nine",
        "marigold go to pass niner",
    ]
    assert [phrase.short for phrase in numbers if phrase.argument == 12] == [False, True]


def test_a_figure_is_any_number_up_to_the_greatest_and_no_number_none():
    figures = phrases_for([("figure", 105)], (), "marigold")
    assert list(dict.fromkeys(phrase.argument for phrase in figures)) == list(range(106))
    assert [phrase.text for phrase in figures if phrase.argument == 105] == [
        "marigold the figure is one zero five number one zero five",
        "marigold the figure is one zero fife number one zero fife",
        "marigold the figure is one zero five",
        "marigold the figure is one zero fife",
    ]
    assert {(phrase.begin, phrase.again) for phrase in figures if not phrase.short} == {
        ("marigold the figure is", "number")
    }
    assert {phrase.again for phrase in figures if phrase.short} == {""}
    assert phrases_for([("figure", None)], (), "marigold") == ()


def test_each_mishap_has_a_phrase_by_its_name_and_no_shop_check_of_that_name_has_its_short_one():
    checks = (Check("break", "break?", "everybody is back again", "session"),)
    found = phrases_for([("mishap", "break"), ("check", "break")], checks, "marigold")
    assert [(one.intent, one.argument, one.wording, one.short) for one in found] == [
        ("mishap", "break", "it is time for a coffee", False),
        ("mishap", "break", "time for coffee", True),
        ("check", "break", "everybody is back again", False),
    ]
    table = whole_table(DEFAULT_CHECKS, "marigold")
    assert [one.argument for one in table if one.intent == "mishap" and not one.short] == list(Mishap)


def test_only_what_is_wanted_is_there():
    found = phrases_for([("check", "clamps")], DEFAULT_CHECKS, "heron")
    assert [(one.text, one.short) for one in found] == [
        ("heron all clamps are secure", False),
        ("heron clamps secure", True),
    ]
    assert {one.argument for one in found} == {"clamps"}


def test_a_shop_that_has_words_of_its_own_keeps_no_short_ones_for_them_nor_any_like_them():
    voice = VoiceSettings(phrases=(("cut", ("that one is all cut",)), ("mark", ("the guard was fitted badly",))))
    checks = tuple(replace(c, answer="everything is screwed down") if c.name == "clamps" else c for c in DEFAULT_CHECKS)
    short = {phrase.wording for phrase in whole_table(checks, voice, 1) if phrase.short}
    assert not short & {"next pass", "pass done", "clamps secure", "guard fitted", "mark a problem"}
    assert {"height set", "go to pass one", "clamps and guard on"} <= short
    added = VoiceSettings(phrases=(("cut", (*language_of("en").phrases[Intent.CUT], "that one is all cut")),))
    assert "next pass" in {phrase.wording for phrase in whole_table(DEFAULT_CHECKS, added) if phrase.short}


def test_what_may_be_short_has_the_lead_in_word_and_begins_nothing_that_means_something_else():
    table = whole_table(DEFAULT_CHECKS, "marigold", 99)
    short = [phrase for phrase in table if phrase.short]
    assert short and all(phrase.lead_in and phrase.strict == (phrase.intent not in EAGER) for phrase in short)
    for one in short:
        for other in table:
            if (one.intent, one.argument) != (other.intent, other.argument) and not one.number:
                assert not f"{other.text} ".startswith(f"{one.text} "), (one.text, other.text)


def test_what_is_told_of_each_state_is_what_the_session_listens_for():
    """Driven through a whole small session; `HOLDS` names what isn't always there."""
    heard: dict[str, set[str]] = {state: set() for state in SAID_WHEN}
    modes = ("cutting", "checks", "question", "standing by", "finished", "move asked", "halted", "homing", "moving")
    names = dict(zip(modes, SAID_WHEN, strict=True))
    driver = Driver(job(checks=few_checks()))

    def note() -> None:
        heard[names[driver.state.effective_mode]] |= {intent for intent, _ in wanted(driver.state)}

    while driver.state.mode != "finished":
        note()
        if driver.state.mode == "checks":
            driver.gesture("hold")
            continue
        driver.heard("stand by")
        note()
        driver.heard("mishap", "too deep")
        driver.gesture("hold")
        note()
        driver.gesture("double")
        driver.gesture("hold")
        while driver.state.mode == "checks":
            note()
            driver.gesture("hold")
        driver.heard("end")
        note()
        driver.heard("no")
        driver.gesture("tap", after=10.0)
    note()
    driver = Rig()
    driver.obeys = False
    note()
    driver.hold()
    note()
    driver.answer()
    note()
    driver.answer()
    while driver.state.mode != "cutting":
        driver.hold()
    driver.out_and_back()
    driver.gesture("tap")
    driver.answer()
    driver.halts(Fraction(11))
    note()
    driver.sent.clear()
    driver.loses()
    driver.heard("where")
    note()
    driver.hold()
    driver.answer()
    driver.answer()
    driver.out_and_back()
    driver.heard("back")
    driver.heard("yes")
    note()
    assert heard == {state: set(intents) for state, intents in SAID_WHEN.items()}
    assert all(intent in SAID_WHEN[state] for intent, state in HOLDS)


def test_wordings_of_ones_own_stand_in_for_the_languages():
    voice = VoiceSettings(lead_in="heron", phrases=(("cut", ("that one is all cut",)), ("go to", ("jump over to",))))
    table = whole_table(DEFAULT_CHECKS, voice, 1)
    assert [phrase.text for phrase in table if phrase.intent == "cut"] == ["heron that one is all cut"]
    assert [phrase.text for phrase in table if phrase.intent == "go to"] == ["heron jump over to one number one"]
    assert "standing by for now" in {phrase.text for phrase in table}


def test_korean_phrases_are_korean_through_and_through():
    voice = VoiceSettings(language="ko", lead_in="무궁화")
    table = whole_table(default_checks(language_of("ko")), voice, 12)
    assert not any(letter.isascii() and letter.isalpha() for phrase in table for letter in phrase.text)
    assert "무궁화 다음 번호 로 이동 하나 둘" in {phrase.text for phrase in table}


def test_only_what_a_state_holds_in_common_is_open_together():
    def one(intent: str, argument: str | None = None) -> Phrase:
        return Phrase(intent, argument, "x", False, False)

    assert open_together(one("cut"), one("back")) and open_together(one("yes"), one("stand by"))
    assert not open_together(one("yes"), one("cut")) and not open_together(one("carry on"), one("stand by"))
    assert not open_together(one("check", "a"), one("check", "b"))
    assert open_together(one("mishap", "a"), one("mishap", "b")) and open_together(one("mishap", "a"), one("end"))
    assert not open_together(one("mishap", "a"), one("cut")) and open_together(one("figure"), one("no"))


def paragraph(text: str, state: str) -> str:
    return text.split(f"{state}:\n")[1].split("\n\n")[0]


def test_the_listing_has_a_paragraph_a_state_and_says_when_what_is_not_always_so_holds():
    text = listing(whole_table(DEFAULT_CHECKS, VoiceSettings(), 1))
    assert {state for state in SAID_WHEN if f"{state}:" not in text} == DRIVEN_ONLY
    driven = listing(whole_table(DEFAULT_CHECKS, VoiceSettings(), 1), driven=True)
    assert all(f"{state}:" in driven for state in SAID_WHEN)
    assert "stop the carriage" in paragraph(driven, "it moves to a setting")
    assert "marigold all clamps are secure" in text
    assert "the other part's pattern was cut" in paragraph(text, "standing by")
    assert "the figure is N number N" in paragraph(text, "a question or read-back is open")
    assert text.count("the figure is N  ") == 1, "in short"
    assert "until a new setup's first check is answered" in paragraph(text, "a check is open")
    assert "standing by for now  " in paragraph(text, "a question or read-back is open")
    assert 'go to pass N, said digit by digit and twice: 12 is "one two number one two"' in paragraph(
        text, "a pass has been called"
    )
    assert "marigold go to pass N number N " in text and "go to pass one" not in text
