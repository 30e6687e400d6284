"""What is said about changes of the job: another board first, an end or a socket again, a spoilt board, one more copy.

As in `prompts`, which takes these in: a sentence or a template for each key, and what a log keeps of it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from assistant.wording.drive import Words
from assistant.wording.joining import YES_NO, sentence

Figures = dict[str, Any]


def _board(words: Words, number: int, ended: bool = True) -> str:
    """A setup's board, with which of several it is: "front, 2 of 4, end 1"; ended: with its end."""
    setup = words.job.setups[number - 1]
    of = max(s.first_copy + s.copies - 1 for s in words.job.setups if (s.board, s.part) == (setup.board, setup.part))
    name = [setup.board]
    if of > 1 and setup.copies == 1:
        name.append(f"{words.count(setup.first_copy)} of {words.count(of)}")
    elif of > setup.copies:
        last = setup.first_copy + setup.copies - 1
        name.append(f"{words.count(setup.first_copy)} to {words.count(last)} of {words.count(of)}")
    if ended and words.job.layout != "slots":
        name.append(f"end {words.count(setup.end)}")
    return ", ".join(name)


def _ask_board(words: Words, figures: Figures) -> str:
    if figures["begun"]:
        return f"Leave this board as it is, and go on with {_board(words, figures['setup'])}? {YES_NO}"
    return f"Go on with {_board(words, figures['setup'])}? {YES_NO}"


def _ask_cut_off(words: Words, figures: Figures) -> str:
    """Both boards are named before anybody cuts: a box whose opposite sides differ in length isn't square."""
    off, board = words.length(figures["off"]), _board(words, figures["setup"])
    both = f"Cutting it off takes {off} from the length"
    match figures["facing"]:
        case None:
            both = f"{both} of each board in the stack"
        case 0:
            both = f"{both}, and the board opposite must lose as much. Mark that one to be cut again too"
        case facing:
            both = f"{both}, and {_board(words, facing, ended=False)}, must lose as much"
    return f"Cut {board} again? {both}. Is there length to spare? {YES_NO}"


def _ask_socket(words: Words, figures: Figures) -> str:
    kind = "slot" if words.job.layout == "slots" else "socket"
    place = f"{kind} {words.count(figures['pass_'])} of {_board(words, figures['setup'])}"
    return f"Cut {place} again, and count it as not cut? {YES_NO}"


def _ask_spoilt(words: Words, figures: Figures) -> str:
    setup = words.job.setups[figures["setup"] - 1]
    board = sentence(_board(words, figures["setup"], ended=False)).rstrip(".")
    if setup.copies > 1:
        return f"{board}: count all {words.count(setup.copies)} as spoilt, and cut others in their place? {YES_NO}"
    return f"{board}: count it as spoilt, and cut another in its place? {YES_NO}"


def _ask_copy(words: Words, figures: Figures) -> str:
    return f"Cut one more {words.job.setups[figures['setup'] - 1].board}? {YES_NO}"


def _asked(what: str, ended: bool = True) -> Callable[[Words, Figures], str]:
    return lambda words, figures: f"Asked: {what.format(_board(words, figures['setup'], ended))}?"


SENTENCES: dict[str, Callable[[Words, Figures], str]] = {
    "ask board": _ask_board,
    "ask cut off": _ask_cut_off,
    "ask socket": _ask_socket,
    "ask spoilt": _ask_spoilt,
    "ask copy": _ask_copy,
    "setup is cut": lambda words, figures: f"{sentence(_board(words, figures['setup']))} All of it is cut.",
    "stage waits": lambda words, figures: (
        f"{sentence(_board(words, figures['setup']))} Its first stage must be cut and glued before."
    ),
    "half waits": lambda words, figures: (
        f"{sentence(_board(words, figures['setup']))} The first half of that end must be cut before."
    ),
}

TEMPLATES: dict[str, str] = {
    "no such setup": "There is no setup {setup}; the job has {setups}.",
    "board was spoilt": "The board of setup {setup} is spoilt already.",
    "setup replaced": "Another setup has replaced setup {setup}.",
    "board is clamped": "That is the board you are cutting.",
    "slots have no end": "A slotted board has no end to cut off. Cut one slot again, or count the board as spoilt.",
    "lined end": "A lined end can't be cut off and cut again. Count the board as spoilt.",
    "nothing cut yet": "Nothing is cut there yet.",
    "no such socket": "There is no number {socket} there; setup {setup} has {sockets}.",
    "socket not cut": "Number {socket} of setup {setup} is not cut yet.",
    "blade turns, board in": "Not counted: the blade takes {takes} seconds to stop. Wait, take it out, then confirm.",
    "no other board": "No other board is left to cut.",
    "job changed": "Noted in the job.",
    "board leaves": "This board comes out; another is next.",
}

STANDS = frozenset({*TEMPLATES, "setup is cut", "stage waits", "half waits"}) - {"blade turns, board in"}
"""Prompts that a log keeps whole, as in `prompts.STANDS`."""

RECORDS: dict[str, str | Callable[[Words, Figures], str]] = {
    "ask board": _asked("go on with {}"),
    "ask cut off": _asked("cut {} off and cut it again"),
    "ask socket": lambda words, figures: f"Asked: cut number {figures['pass_']} of setup {figures['setup']} again?",
    "ask spoilt": _asked("is {} spoilt", ended=False),
    "ask copy": _asked("one more like {}", ended=False),
    "blade turns, board in": "Not counted: the blade may still have been turning.",
}
"""What a log keeps of the others, as in `prompts.RECORDS`."""
