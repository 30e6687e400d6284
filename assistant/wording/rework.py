"""What is said about changes of the job: another board first, an end or a socket again, a spoilt board, one more copy.

As in `prompts`, which takes these in: a sentence or a template for each key, and what a log keeps of it.
"""

from __future__ import annotations

from collections.abc import Callable

from assistant.wording.drive import DriveWords
from assistant.wording.joining import YES_NO, Figures, sentence


def board_of(words: DriveWords, number: int, ended: bool = True) -> str:
    """A setup's board, and which it is of several: "front, 2 of 4, end 1". ended: name the end too."""
    setup = words.job.setups[number - 1]
    of = max(s.first_copy + s.copies - 1 for s in words.job.setups if (s.board, s.part) == (setup.board, setup.part))
    name = [setup.board]
    if of > 1 and setup.copies == 1:
        name.append(f"{words.count(setup.first_copy)} of {words.count(of)}")
    elif of > setup.copies:
        last = setup.first_copy + setup.copies - 1
        name.append(f"{words.count(setup.first_copy)} to {words.count(last)} of {words.count(of)}")
    if ended and not words.job.slotted:
        name.append(f"end {words.count(setup.end)}")
    return ", ".join(name)


def _ask_board(words: DriveWords, figures: Figures) -> str:
    if figures["begun"]:
        return f"Leave this board as it is, and go on with {board_of(words, figures['setup'])}? {YES_NO}"
    return f"Go on with {board_of(words, figures['setup'])}? {YES_NO}"


def _ask_cut_off(words: DriveWords, figures: Figures) -> str:
    """Both boards are named before anybody cuts: a box whose opposite sides differ in length isn't square."""
    off, board = words.length(figures["off"]), sentence(board_of(words, figures["setup"])).rstrip(".")
    both = f"That takes {off} from the length"
    match figures["facing"]:
        case None:
            both = f"{both} of each board in the stack"
        case 0:
            both = f"{both}, and the board opposite must lose as much: have its end cut again too"
        case facing:
            name = board_of(words, facing, ended=False)
            both = f"{both}, and {name}{',' * (', ' in name)} must lose as much"
    return f"{board}: to cut it again, the old joint must be cut off. {both}. Is there length to spare? {YES_NO}"


def _socket(words: DriveWords, number: int) -> str:
    return f"{'slot' if words.job.slotted else 'socket'} {words.count(number)}"


def _ask_socket(words: DriveWords, figures: Figures) -> str:
    place = f"{_socket(words, figures['pass_'])} of {board_of(words, figures['setup'])}"
    return f"Cut {place} again, and count it as not cut? {YES_NO}"


def _ask_spoilt(words: DriveWords, figures: Figures) -> str:
    setup = words.job.setups[figures["setup"] - 1]
    board = sentence(board_of(words, figures["setup"], ended=False)).rstrip(".")
    if setup.copies > 1:
        return f"{board}: count all {words.count(setup.copies)} as spoilt, and cut others in their place? {YES_NO}"
    return f"{board}: count it as spoilt, and cut another in its place? {YES_NO}"


def _ask_copy(words: DriveWords, figures: Figures) -> str:
    return f"Cut one more {words.job.setups[figures['setup'] - 1].board}? {YES_NO}"


def _asked(what: str, ended: bool = True) -> Callable[[DriveWords, Figures], str]:
    return lambda words, figures: f"Asked: {what.format(board_of(words, figures['setup'], ended))}?"


def _no_such_socket(words: DriveWords, figures: Figures) -> str:
    setup, sockets = words.count(figures["setup"]), words.count(figures["sockets"])
    return f"There is no {_socket(words, figures['socket'])} in setup {setup}; it has {sockets}."


def _socket_not_cut(words: DriveWords, figures: Figures) -> str:
    return f"{_socket(words, figures['socket']).capitalize()} of setup {words.count(figures['setup'])} is not cut yet."


def _socket_cut_before(words: DriveWords, figures: Figures) -> str:
    which = f"{_socket(words, figures['socket']).capitalize()} of setup {words.count(figures['setup'])}"
    return f"{which} was cut with another blade, and can't be cut again by itself."


SENTENCES: dict[str, Callable[[DriveWords, Figures], str]] = {
    "ask board": _ask_board,
    "ask cut off": _ask_cut_off,
    "ask socket": _ask_socket,
    "ask spoilt": _ask_spoilt,
    "ask copy": _ask_copy,
    "no such socket": _no_such_socket,
    "socket not cut": _socket_not_cut,
    "socket cut before": _socket_cut_before,
    "setup is cut": lambda words, figures: f"{sentence(board_of(words, figures['setup']))} It is all cut already.",
    "stage waits": lambda words, figures: (
        f"{sentence(board_of(words, figures['setup']))} Its first stage must be cut and glued before that."
    ),
    "half waits": lambda words, figures: (
        f"{sentence(board_of(words, figures['setup']))} The first half of that end must be cut before the second."
    ),
}

TEMPLATES: dict[str, str] = {
    "no such setup": "There is no setup {setup}; the job has {setups}.",
    "board was spoilt": "The board of setup {setup} is already counted as spoilt.",
    "setup replaced": "Another setup has replaced setup {setup}.",
    "board is clamped": "That is the board you are cutting.",
    "slots have no end": "A slotted board has no end to cut off. Cut one slot again, or count the board as spoilt.",
    "lined end": "A lined end can't be cut off and cut again. Count the board as spoilt.",
    "nothing cut yet": "Nothing is cut there yet.",
    "half of another blade": (
        "Another blade cut that end in two halves: none of its sockets can be cut again by itself."
    ),
    "pass of another blade": (
        "Another blade has cut that: none of its passes can be taken back. Have what is missing cut again."
    ),
    "kerf does not fit": "The blade on the saw can't cut that end: change to one that fits it first.",
    "blade turns, board in": (
        "Not counted: the blade takes {takes} seconds to stop. Wait, take the board out, then confirm."
    ),
    "no other board": "No other board is left to cut.",
    "job changed": "Job changed.",
    "board leaves": "This board comes out; another is next.",
}

STANDS = frozenset({
    *TEMPLATES, "no such socket", "socket not cut", "socket cut before", "setup is cut", "stage waits", "half waits",
}) - {"blade turns, board in"}  # fmt: skip
"""Prompts that a log keeps whole, as in `prompts.STANDS`."""

RECORDS: dict[str, str | Callable[[DriveWords, Figures], str]] = {
    "ask board": _asked("go on with {}"),
    "ask cut off": _asked("cut {} off, and cut it again"),
    "ask socket": lambda words, figures: (
        f"Asked: cut {_socket(words, figures['pass_'])} of setup {figures['setup']} again?"
    ),
    "ask spoilt": _asked("is {} spoilt", ended=False),
    "ask copy": _asked("one more like {}", ended=False),
    "blade turns, board in": "Not counted: the blade may still have been turning.",
}
"""What a log keeps of the others, as in `prompts.RECORDS`."""
