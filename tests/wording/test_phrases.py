"""The phrase table: lead-in where a phrase records, confirms, moves or ends; none where it only asks or pauses."""

from __future__ import annotations

from assistant.plans.checks import DEFAULT_CHECKS
from assistant.session.events import INTENTS
from assistant.wording.phrases import EAGER, EXPLAINED, SAID_WHEN, phrases_for, spoken_digits, whole_table


def test_every_intent_has_a_wording_an_explanation_and_a_state():
    table = whole_table(DEFAULT_CHECKS, "marigold", 3)
    assert {phrase.intent for phrase in table} == set(INTENTS) == set(EXPLAINED)
    assert {intent for intents in SAID_WHEN.values() for intent in intents} == set(INTENTS)


def test_the_lead_in_is_due_exactly_where_a_false_one_would_do_harm():
    for phrase in whole_table(DEFAULT_CHECKS, "marigold", 3):
        assert phrase.lead_in == phrase.text.startswith("marigold ") == phrase.strict == (phrase.intent not in EAGER)
    assert sorted(EAGER) == ["again", "how many", "no", "stand by", "where"]


def test_no_two_meanings_share_their_words():
    table = whole_table(DEFAULT_CHECKS, "marigold", 120)
    assert len({phrase.text for phrase in table}) == len(table)


def test_pass_numbers_are_said_digit_by_digit():
    assert spoken_digits(120) == "one two zero"
    numbers = phrases_for([("go to", 12)], (), "marigold")
    assert list(dict.fromkeys(phrase.argument for phrase in numbers)) == list(range(1, 13))
    assert [phrase.text for phrase in numbers if phrase.argument == 12] == ["marigold go to pass one two"]
    assert [phrase.text for phrase in numbers if phrase.argument == 9] == [
        "marigold go to pass nine",
        "marigold go to pass niner",
    ]


def test_only_what_is_wanted_is_there():
    (one,) = phrases_for([("check", "clamps")], DEFAULT_CHECKS, "heron")
    assert (one.text, one.argument) == ("heron all clamps are secure", "clamps")
