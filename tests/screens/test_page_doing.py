"""What a page's request becomes, and what is refused before it reaches the session."""

from __future__ import annotations

from typing import Any

import pytest

from assistant.plans.intents import Intent, Mode
from assistant.plans.mishaps import Mishap
from assistant.runner.clock import SetClock
from assistant.screens.page.doing import RequestRefused, event_of
from assistant.screens.page.hub import SessionStanding
from assistant.session.events import Heard
from assistant.session.kinds import By

CUTTING = SessionStanding("cutting", asked_id=7, asked_seq=20, seq=25, may_record_cuts=True)
PRESS = {"do": "cut", "asked_id": 7, "seq": 22, "held_ms": 820}


def made(body: Any, standing: SessionStanding = CUTTING) -> Heard:
    return event_of(body, standing, SetClock(50.0))


def status(body: Any, standing: SessionStanding = CUTTING) -> int:
    with pytest.raises(RequestRefused) as refused:
        made(body, standing)
    return refused.value.status


@pytest.mark.parametrize(("do", "intent"), [("again", "again"), ("stand by", "stand by")])
def test_say_again_and_stand_by(do: str, intent: str) -> None:
    event = made({"do": do})
    assert (event.intent, event.argument, event.source, event.since) == (intent, None, "page", 50.0)


@pytest.mark.parametrize("mode", list(Mode))
def test_a_halt_is_let_through_in_every_mode_and_whatever_the_page_has_seen(mode: Mode) -> None:
    """What the page shows may be old: whether anything moves is for the drive to know."""
    event = made({"do": "halt"}, SessionStanding(mode, asked_id=3, asked_seq=9, seq=9))
    assert (event.intent, event.source, event.since) == (Intent.HALT, By.PAGE, 50.0)


@pytest.mark.parametrize("body", [{"do": "halt", "id": "m7"}, {"do": "halt", "held_ms": 900}])
def test_a_halt_needs_nothing_and_takes_nothing(body: Any) -> None:
    assert status(body) == 400


@pytest.mark.parametrize("do", ["move", "home", "go", "carry on", "yes", "start", "hold", "tap", "unhalt"])
def test_nothing_that_a_page_can_ask_for_starts_a_move(do: str) -> None:
    assert status({"do": do}, SessionStanding(Mode.MOVE_ASKED, 7, 20, 25, True)) == 403
    assert status({**PRESS, "do": "cut"}, SessionStanding(Mode.MOVE_ASKED, 7, 20, 25, True)) == 409


def test_a_note_carries_its_text() -> None:
    event = made({"do": "note", "text": " knot at the back "})
    assert (event.intent, event.argument) == ("mark", "knot at the back")


STANDING_BY = SessionStanding(Mode.STANDING_BY, asked_id=7, asked_seq=20, seq=25)


@pytest.mark.parametrize("mishap", list(Mishap))
def test_what_went_wrong_is_told_by_its_name_while_standing_by(mishap: Mishap) -> None:
    event = made({"do": "mishap", "mishap": str(mishap)}, STANDING_BY)
    assert (event.intent, event.argument, event.source) == (Intent.MISHAP, mishap, By.PAGE)


@pytest.mark.parametrize("mode", [mode for mode in Mode if mode != Mode.STANDING_BY])
def test_in_every_other_mode_nothing_can_be_told(mode: Mode) -> None:
    """A question is open, or a pass may be under way."""
    assert status({"do": "mishap", "mishap": "jammed"}, SessionStanding(mode, 7, 20, 25)) == 409


@pytest.mark.parametrize("name", ["", "fire", "JAMMED", 8, None, ["jammed"], {"jammed": 1}])
def test_only_what_is_in_the_list_can_be_told(name: Any) -> None:
    assert status({"do": "mishap", "mishap": name}, STANDING_BY) == 400


@pytest.mark.parametrize(
    "body", [{"do": "mishap"}, {"do": "mishap", "mishap": "jammed", "figure": 3}, {"do": "figure"}]
)
def test_a_page_tells_one_thing_and_gives_no_figure(body: Any) -> None:
    assert status(body, STANDING_BY) in (400, 403)


@pytest.mark.parametrize("text", ["", "   ", "x" * 201, 3, None, ["x"]])
def test_a_note_is_a_text_of_1_to_200_characters(text: Any) -> None:
    assert status({"do": "note", "text": text}) == 400


@pytest.mark.parametrize(
    "body",
    [
        None,
        [],
        "again",
        {},
        {"do": "check"},
        {"do": "yes"},
        {"do": "carry on"},
        {"do": "end"},
        {"do": 3},
        {"do": ["cut"]},
    ],
)
def test_nothing_else_can_be_asked_for(body: Any) -> None:
    assert status(body) == 403


@pytest.mark.parametrize(
    "body",
    [{"do": "again", "more": 1}, {"do": "note"}, {"do": "cut"}, {**PRESS, "by": "pedal"}, {"do": "stand by", "": 0}],
)
def test_incomplete_requests_are_refused(body: Any) -> None:
    assert status(body) == 400


def test_without_a_session_nothing_can_be_done() -> None:
    assert status({"do": "again"}, SessionStanding()) == 409


def test_a_long_press_on_what_is_asked_records_a_cut_from_when_it_began() -> None:
    event = made(PRESS)
    assert (event.intent, event.generation, event.source) == ("cut", 7, "page")
    assert event.since == pytest.approx(50.0 - 0.82)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"held_ms": 799}, 400),
        ({"held_ms": 5001}, 400),
        ({"held_ms": True}, 400),
        ({"held_ms": 800.5}, 400),
        ({"seq": "22"}, 400),
        ({"asked_id": 6}, 409),
        ({"asked_id": 8}, 409),
        ({"seq": 19}, 409),
        ({"seq": 26}, 409),
    ],
)
def test_a_press_that_is_short_or_answers_something_else_is_refused(change: dict[str, Any], expected: int) -> None:
    assert status({**PRESS, **change}) == expected


@pytest.mark.parametrize("seq", [20, 25])
def test_a_press_can_begin_at_any_message_since_the_call(seq: int) -> None:
    assert made({**PRESS, "seq": seq}).intent == "cut"


@pytest.mark.parametrize("mode", ["checks", "question", "standing by", "finished"])
def test_a_press_means_nothing_if_no_pass_is_called(mode: str) -> None:
    assert status(PRESS, SessionStanding(mode, 7, 20, 25, True)) == 409


def test_a_press_is_refused_unless_the_shop_file_allows_it() -> None:
    assert status(PRESS, SessionStanding("cutting", 7, 20, 25, False)) == 403
