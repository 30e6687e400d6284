"""Questions at a terminal: what counts as an answer, and what is asked again."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from assistant.asking import agreed, chosen

ANSWERS = {"cut": ("t", "test joint"), "skip": ("s", "skip")}


def typing(*answers: str) -> Callable[[str], str]:
    """Types these, one for each question, and then nothing more."""
    waiting = iter(answers)

    def ask(question: str) -> str:
        for answer in waiting:
            return answer
        raise EOFError

    return ask


@pytest.mark.parametrize(("typed", "answer"), [("t", "cut"), (" S ", "skip"), ("Test  Joint", "cut"), ("SKIP", "skip")])
def test_any_spelling_of_an_answer_counts(typed: str, answer: str) -> None:
    shown: list[str] = []
    assert chosen(typing(typed), shown.append, "Which? ", ANSWERS) == answer
    assert shown == []


def test_anything_else_is_asked_again_until_the_input_ends() -> None:
    shown: list[str] = []
    assert chosen(typing("", "x", "yes", "s"), shown.append, "Which? ", ANSWERS) == "skip"
    assert shown == ["  Please type t or s."] * 3
    with pytest.raises(EOFError):
        chosen(typing("x"), shown.append, "Which? ", ANSWERS)


@pytest.mark.parametrize(("typed", "yes"), [(("yes",), True), (("Y",), True), (("no",), False), (("x", "n"), False)])
def test_yes_or_no(typed: tuple[str, ...], yes: bool) -> None:
    assert agreed(typing(*typed), lambda line: None, "Sure?") is yes
    assert agreed(typing(), lambda line: None, "Sure?") is False
