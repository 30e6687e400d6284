"""Questions at the terminal that end in yes or no."""

from __future__ import annotations

import sys

from assistant.calibrating.prompts import NO, YES, Ask, ShowLine


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
