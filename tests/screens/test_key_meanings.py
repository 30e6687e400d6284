"""What the terminal's keys mean."""

from __future__ import annotations

import pytest

from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.screens.key_meanings import (
    ASK_SOCKET,
    DROPPED,
    FIGURE_DROPPED,
    GESTURES,
    KEY_LIST,
    KEY_LIST_DRIVEN,
    MISHAPS,
    PAGE,
    PHRASES,
    REPEAT_GAP_S,
    KeyMeaning,
    KeyMeanings,
)


def pressed(keys: list[str], gap: float = 1.0, alive: bool = False) -> list[KeyMeaning | None]:
    meanings = KeyMeanings("page_down")
    return [meanings.press(key, gap * n, alive) for n, key in enumerate(keys)]


def words(keys: list[str], **options: float) -> list[str]:
    return [meaning.word or meaning.kind for meaning in pressed(keys, **options) if meaning is not None]


def test_every_gesture_has_a_key() -> None:
    assert words(["space", "enter", "d", "h"]) == ["tap", "tap", "double", "hold"]
    assert set(GESTURES.values()) == {"tap", "double", "hold"}


def test_every_phrase_without_a_gesture_has_a_key() -> None:
    """A cut is a tap, a check's answer a long press, any key halts; what needs a number or a choice has a dialogue."""
    in_dialogues = {"go to", "board", "redo", "spoilt", "copy", "socket", "mishap", "figure"}
    assert set(PHRASES.values()) | {"cut", "check", "halt"} | in_dialogues == set(Intent)
    for key, intent in PHRASES.items():
        assert pressed([key]) == [KeyMeaning("phrase", intent)]


def test_the_question_marks_list_has_every_key() -> None:
    assert pressed(["?"]) == [KeyMeaning("note", KEY_LIST)]
    for key in (*GESTURES, *PHRASES, *PAGE, "g", "j", "q", "x", "#", "?"):
        assert f" {key} " in KEY_LIST or f" {key}," in KEY_LIST, key


def test_the_list_of_a_driven_carriage_says_what_halts_it() -> None:
    meaning = KeyMeanings("page_down", driven=True).press("?", 0.0, False)
    assert meaning == KeyMeaning("note", KEY_LIST_DRIVEN)
    assert KEY_LIST_DRIVEN.startswith(KEY_LIST) and "any key halts it" in KEY_LIST_DRIVEN


def test_a_key_that_halted_drops_what_was_typed_and_its_repeat_means_nothing() -> None:
    meanings = KeyMeanings("page_down", driven=True)
    meanings.press("g", 0.0, False)
    meanings.press("1", 1.0, False)
    meanings.halted("h", 2.0)
    assert meanings.press("h", 2.3, False) is None, "kept down"
    assert meanings.press("enter", 4.0, False) == KeyMeaning("gesture", "tap"), "no longer the end of a pass number"


def test_the_bench_pages_code_has_its_own_keys() -> None:
    assert pressed(["p", "v"]) == [KeyMeaning("code", "show"), KeyMeaning("code", "say")]


def test_capitals_do_the_same_as_small_letters() -> None:
    assert words(["H", "Y", "Q"]) == ["hold", "yes", "leave"]


@pytest.mark.parametrize("key", ["z", "1", "ж", "up", "f5", "tab", "esc", "backspace", "delete", "[", "~"])
def test_other_keys_mean_nothing(key: str) -> None:
    assert pressed([key]) == [None]


@pytest.mark.parametrize("key", ["h", "space", "enter", "y", "page_down"])
def test_a_key_kept_down_counts_once(key: str) -> None:
    """Usual auto-repeat: the first after up to 0.66 s, then every 0.03 s (common practice, no source)."""
    meanings = KeyMeanings("page_down")
    times = [0.0, 0.66] + [0.66 + 0.03 * n for n in range(1, 200)]
    assert [m is not None for m in (meanings.press(key, at, False) for at in times)] == [True] + [False] * 200


def test_the_same_key_counts_again_after_the_gap_and_another_key_at_once() -> None:
    assert words(["h", "h"], gap=REPEAT_GAP_S) == ["hold", "hold"]
    assert words(["h", "h"], gap=REPEAT_GAP_S - 0.01) == ["hold"]
    assert words(["h", "y", "h"], gap=0.1) == ["hold", "yes", "hold"]


def test_the_pedals_key_is_a_tap_only_while_no_pedal_is_heard() -> None:
    assert words(["page_down", "page_down"]) == ["tap", "tap"]
    assert words(["page_down", "page_down"], alive=True) == []
    assert words(["page_up"]) == []


def test_go_to_pass_takes_a_number_and_enter() -> None:
    assert pressed(["g", "1", "1", "2", "enter"], gap=0.05)[-1] == KeyMeaning("phrase", "go to", 112)


@pytest.mark.parametrize("keys", [["enter"], ["0", "enter"], ["1", "space"], ["1", "h"], ["esc"], ["1", "backspace"]])
def test_anything_but_a_number_and_enter_drops_go_to_and_does_nothing_else(keys: list[str]) -> None:
    """No tap and no long press gets through after a "go to" that the operator has forgotten."""
    answers = pressed(["g", *keys])
    assert answers[-1] == KeyMeaning("note", DROPPED)
    assert all(answer is None for answer in answers[1:-1])
    assert words(["g", *keys, "d"])[-1] == "double"


def test_more_digits_than_a_pass_can_have_drop_go_to() -> None:
    assert pressed(["g", *"123456"])[-1] == KeyMeaning("note", DROPPED)


CHANGES = [("enter", "board"), ("r", "redo"), ("x", "spoilt"), ("k", "copy")]


@pytest.mark.parametrize(("key", "intent"), CHANGES)
def test_a_change_of_the_job_is_a_setups_number_and_one_key(key: str, intent: str) -> None:
    assert pressed(["j"]) == [KeyMeaning("job", "show")]
    for last in (key, key.upper() if len(key) == 1 else key):
        assert pressed(["j", "1", "1", last], gap=0.05)[-1] == KeyMeaning("phrase", intent, 11)


def test_a_socket_needs_its_own_number_as_well() -> None:
    shown, _, asked, _, _, meant = pressed(["j", "4", "u", "1", "2", "enter"], gap=0.05)
    assert shown == KeyMeaning("job", "show") and asked == KeyMeaning("note", ASK_SOCKET.format(setup=4))
    assert meant == KeyMeaning("phrase", "socket", "4.12")


DROPS = [["enter"], ["r"], ["0", "x"], ["3", "space"], ["3", "h"], ["3", "y"], ["esc"], ["3", "u", "enter"]]


@pytest.mark.parametrize("keys", [*DROPS, ["3", "u", "2", "space"], ["3", "u", "2", "r"], ["3", "u", "r"]])
def test_anything_else_drops_the_change_and_does_nothing(keys: list[str]) -> None:
    """No tap, no long press and no other change gets through after a table that the operator has forgotten."""
    answers = pressed(["j", *keys])
    assert answers[-1] == KeyMeaning("job", "drop")
    assert all(answer is None or answer.kind == "note" for answer in answers[1:-1])
    assert words(["j", *keys, "d"])[-1] == "double", "and then keys mean again what they meant"


def test_the_pedals_key_and_what_halts_a_carriage_drop_the_change() -> None:
    assert words(["j", "3", "page_down", "enter"]) == ["show", "tap", "tap"]
    meanings = KeyMeanings("page_down", driven=True)
    for n, key in enumerate(["j", "3"]):
        meanings.press(key, float(n), False)
    meanings.halted("x", 2.0)
    assert meanings.press("r", 3.0, False) is None


def test_more_digits_than_a_setup_can_have_drop_the_change() -> None:
    assert pressed(["j", *"123456"])[-1] == KeyMeaning("job", "drop")


@pytest.mark.parametrize(("number", "mishap"), list(enumerate(Mishap, start=1)))
def test_what_went_wrong_is_its_number_in_the_list_and_enter(number: int, mishap: Mishap) -> None:
    answers = pressed(["x", *str(number), "enter"], gap=0.05)
    assert answers[0] == KeyMeaning("mishaps", "show") and answers[-1] == KeyMeaning("phrase", "mishap", mishap)
    assert MISHAPS[number] is mishap


DROP_IT = [["enter"], ["0", "enter"], ["18", "enter"], ["8", "space"], ["8", "h"], ["8", "y"], ["8", "x"], ["esc"]]


@pytest.mark.parametrize("keys", DROP_IT)
def test_anything_else_tells_no_mishap_and_does_nothing(keys: list[str]) -> None:
    """No tap and no long press gets through after a list that the operator has forgotten."""
    typed = [digit for key in keys for digit in (key if key.isdigit() else [key])]
    answers = pressed(["x", *typed])
    assert answers[-1] == KeyMeaning("mishaps", "drop") and set(answers[1:-1]) <= {None}
    assert words(["x", *typed, "d"])[-1] == "double", "and then keys mean again what they meant"


def test_the_figure_that_is_asked_for_is_typed_between_its_sign_and_enter() -> None:
    assert pressed(["#"]) == [KeyMeaning("figure")]
    assert pressed(["#", "3", "1", "8", "enter"], gap=0.05)[-1] == KeyMeaning("phrase", "figure", 318)


NO_FIGURE = [["enter"], ["0", "enter"], ["1", "space"], ["1", "h"], ["1", "#"], ["esc"], [*"123456"]]


@pytest.mark.parametrize("keys", NO_FIGURE)
def test_anything_but_a_figure_and_enter_gives_none_and_does_nothing(keys: list[str]) -> None:
    answers = pressed(["#", *keys])
    assert answers[-1] == KeyMeaning("note", FIGURE_DROPPED) and set(answers[1:-1]) <= {None}
    assert words(["#", *keys, "d"])[-1] == "double"


@pytest.mark.parametrize("asks", ["x", "#"])
def test_where_no_number_can_be_given_the_next_key_means_what_it_always_means(asks: str) -> None:
    meanings = KeyMeanings("page_down")
    meanings.press(asks, 0.0, False)
    meanings.no_number()
    assert meanings.press("h", 1.0, False) == KeyMeaning("gesture", "hold")


def test_the_pedals_key_and_what_halts_a_carriage_drop_what_went_wrong() -> None:
    assert words(["x", "8", "page_down", "enter"]) == ["show", "tap", "tap"]
    meanings = KeyMeanings("page_down", driven=True)
    for n, key in enumerate(["x", "8"]):
        meanings.press(key, float(n), False)
    meanings.halted("k", 2.0)
    assert meanings.press("enter", 3.0, False) == KeyMeaning("gesture", "tap")


def test_ctrl_c_leaves_from_anywhere_however_often() -> None:
    assert [m.kind for m in pressed(["g", "1", "ctrl_c", "ctrl_c"], gap=0.01) if m] == ["note", "leave", "leave"]
