"""Every intent's row, written a second time by hand, because what a row allows affects safety."""

from __future__ import annotations

import json
import pickle

import pytest

from assistant.plans.intents import (
    EAGER,
    HARMLESS,
    NAMED,
    NUMBERED,
    OF_THE_VOICE,
    PHRASED,
    FromPage,
    Intent,
    Mode,
)

CHANGES = {"board", "redo", "spoilt", "copy", "socket"}
VOICE = {"louder", "quieter", "slower", "quicker"}
ASKS = {"again", "how many", "where"}
WHEN = {
    "cutting": {"cut", "go to", "back", "stand by", "mark", "end"} | ASKS | VOICE | CHANGES,
    "checks": {"check", "back", "stand by", "mark", "end"} | ASKS | VOICE | CHANGES,
    "question": {"yes", "no", "stand by", "figure"} | ASKS | VOICE,
    "standing by": {"carry on", "mark", "end", "mishap"} | ASKS | VOICE | CHANGES,
    "move asked": {"back", "stand by", "mark", "end"} | ASKS | VOICE | CHANGES,
    "halted": {"back", "stand by", "mark", "end"} | ASKS | VOICE | CHANGES,
    "homing": {"halt"},
    "moving": {"halt"},
    "finished": {"back", "again"} | VOICE | (CHANGES - {"board"}),
    "new": set(),
    "resuming": set(),
    "ended early": set(),
}
KEYS = {"y": "yes", "n": "no", "s": "stand by", "c": "carry on", "b": "back", "w": "where", "l": "how many"} | {
    "a": "again",
    "m": "mark",
    "e": "end",
    "+": "louder",
    "-": "quieter",
    "<": "slower",
    ">": "quicker",
}


def those(**row: object) -> set[str]:
    return {str(intent) for intent in Intent if all(getattr(intent.row, name) == value for name, value in row.items())}


@pytest.mark.parametrize("mode", Mode)
def test_what_can_mean_something_in_each_mode(mode: Mode) -> None:
    assert {str(intent) for intent in Intent if mode in intent.row.when} == WHEN[mode]


def test_only_what_asks_pauses_or_refuses_needs_no_lead_in() -> None:
    assert those(eager=True) == EAGER == {"again", "stand by", "how many", "where", "no", "halt"}
    assert those(of_the_voice=True) == set(OF_THE_VOICE) == VOICE
    assert HARMLESS == EAGER | VOICE


def test_nothing_that_records_confirms_moves_ends_or_refuses_is_always_timely() -> None:
    assert those(timely=True) == {"again", "stand by", "how many", "where", "halt"} | VOICE


def test_a_page_answers_no_check_and_no_question() -> None:
    assert those(from_page=FromPage.ALWAYS) == {"again", "stand by", "mark", "halt", "mishap"}
    assert those(from_page=FromPage.IF_SHOP_ALLOWS) == {"cut"}


def test_no_key_has_two_meanings() -> None:
    keys = [(intent.row.key, str(intent)) for intent in Intent if intent.row.key]
    assert dict(keys) == KEYS and len(keys) == len(KEYS)


def test_what_has_no_phrase_of_its_own_is_said_by_a_name_or_picked_in_a_table() -> None:
    assert set(Intent) - set(PHRASED) == {"check", "mishap", "copy", "socket"}
    assert set(NAMED) == {"check", "mishap"} and set(NUMBERED) == {"go to", "figure"}


def test_what_has_gone_wrong_and_a_figure_need_the_lead_in_and_can_come_too_early() -> None:
    for intent in (Intent.MISHAP, Intent.FIGURE):
        assert intent not in HARMLESS and not intent.row.timely and not intent.row.key


def test_an_intent_is_its_word_wherever_it_goes() -> None:
    """In JSON Lines, in a stored job, through the pipe of the recogniser's process."""
    for intent in Intent:
        assert json.loads(json.dumps({intent: intent})) == {str(intent): str(intent)}
        assert f"{intent}" == intent == Intent(str(intent))
        assert pickle.loads(pickle.dumps(intent)) is intent
