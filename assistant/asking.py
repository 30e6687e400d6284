"""Questions at a terminal: how they are put, and which answers are taken."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from typing import TypeVar

Ask = Callable[[str], str]
"""Puts a question and gives the line typed, as `input` does."""
ShowLine = Callable[[str], None]
YES, NO = ("y", "yes"), ("n", "no")
BACK = "-"
"""Typed instead of an answer, it goes back to the question before."""
One = TypeVar("One", bound=str)


def asker(to_stderr: bool) -> Ask:
    """`input`, or the same with its questions on stderr, so that stdout holds JSON alone."""
    if not to_stderr:
        return input

    def ask(question: str) -> str:
        print(question, end="", file=sys.stderr, flush=True)
        return input()

    return ask


def agreed(ask: Ask, show: ShowLine, question: str) -> bool:
    """Whether the answer is yes, or y, in any case.

    Anything but yes and no is asked again; Ctrl-C and the end of the input are a no.
    """
    while True:
        try:
            answer = ask(f"{question} Type yes or no: ").strip().casefold()
        except (EOFError, KeyboardInterrupt):
            show("")
            return False
        if answer in YES + NO:
            return answer in YES
        show("  Please answer yes or no.")


def chosen(ask: Ask, show: ShowLine, question: str, answers: Mapping[One, tuple[str, ...]]) -> One:
    """Which of the answers was typed. answers: each with all its spellings, in lower case.

    Anything else is asked again. Raises EOFError at the end of the input, and passes KeyboardInterrupt on.
    """
    while True:
        typed = " ".join(ask(question).split()).casefold()
        for answer, spellings in answers.items():
            if typed in spellings:
                return answer
        *others, last = (spellings[0] for spellings in answers.values())
        show(f"  Please type {', '.join(others)} or {last}.")
