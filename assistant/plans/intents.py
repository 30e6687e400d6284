"""What a phrase can mean: one row for each intent, with everything that the intent alone decides.

The rest is derived from these rows: what the recogniser listens for, what a language file must have, the terminal's
keys and what the bench page may do. They are in this room because language and shop files, which are read before any
session, are checked against them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, StrEnum


class Mode(StrEnum):
    """What a session waits for."""

    NEW = "new"
    CHECKS = "checks"
    CUTTING = "cutting"
    STANDING_BY = "standing by"
    RESUMING = "resuming"
    FINISHED = "finished"
    ENDED_EARLY = "ended early"
    QUESTION = "question"
    """A question or read-back is open, on top of another mode."""
    MOVE_ASKED = "move asked"
    """A driven carriage waits for the pedal to be held down."""
    HOMING = "homing"
    """It goes to its home switch."""
    MOVING = "moving"
    """It goes to a setting."""
    HALTED = "halted"
    """It was halted on its way, and waits to go on."""


class FromPage(Enum):
    """Whether a paired bench page may ask for it. The page never answers a check or a question."""

    NEVER = 0
    IF_SHOP_ALLOWS = 1
    """With [page] may_record_cuts, and only if the page says what it is answering."""
    ALWAYS = 2


@dataclass(frozen=True, slots=True)
class IntentRow:
    """What is decided for one intent.

    means: for people; {argument}, {twice} and {twelve} are filled in. when: the modes in which it can mean something
    (`session.intents.wanted` narrows some of them). key: on the terminal, "" if a gesture or a dialogue does it
    instead.

    eager: it only asks, pauses or refuses. A false one does no harm, so the recogniser accepts it more easily and it
    needs no lead-in word. of_the_voice: it changes only how the program speaks. timely: it answers nothing in
    particular, so it can't come too early. from_page: whether the bench page may ask for it.
    """

    means: str
    when: frozenset[Mode]
    key: str = ""
    eager: bool = False
    of_the_voice: bool = False
    timely: bool = False
    from_page: FromPage = FromPage.NEVER


_CUTTING = frozenset({Mode.CUTTING})
_ASKED = frozenset({Mode.QUESTION})
_AT_WORK = _CUTTING | {Mode.CHECKS}
_WAITS_TO_MOVE = frozenset({Mode.MOVE_ASKED, Mode.HALTED})
_MOVES = frozenset({Mode.HOMING, Mode.MOVING})
_NOT_OVER = _AT_WORK | _WAITS_TO_MOVE | {Mode.QUESTION, Mode.STANDING_BY}
_CAN_PAUSE = _AT_WORK | _WAITS_TO_MOVE | _ASKED  # the modes that can be left for standing by
_DETOUR = _AT_WORK | _WAITS_TO_MOVE | {Mode.STANDING_BY}  # not while a question is open: one at a time
_OPEN = _NOT_OVER | {Mode.FINISHED}


def _voice(means: str, key: str) -> IntentRow:
    return IntentRow(means, _OPEN, key, of_the_voice=True, timely=True)


class Intent(StrEnum):
    """What a phrase can mean. The words are in language files, shop files and journals of what was heard: they stay."""

    row: IntentRow

    # The default is for type checkers, which otherwise take the look-up `Intent("cut")` for a member without a row.
    def __new__(cls, word: str, row: IntentRow | None = None) -> Intent:
        if row is None:
            raise TypeError(f"the intent {word} needs a row")
        self = str.__new__(cls, word)
        self._value_ = word
        self.row = row
        return self

    CUT = "cut", IntentRow("the pass is cut; call the next one", _CUTTING, from_page=FromPage.IF_SHOP_ALLOWS)
    AGAIN = "again", IntentRow("say it again", _OPEN, "a", eager=True, timely=True, from_page=FromPage.ALWAYS)
    BACK = "back", IntentRow("back one pass (read back first)", _AT_WORK | _WAITS_TO_MOVE | {Mode.FINISHED}, "b")
    GO_TO = "go to", IntentRow('go to pass N, said digit by digit{twice}: 12 is "{twelve}" (read back first)', _CUTTING)
    CHECK = "check", IntentRow("confirms: {argument}", frozenset({Mode.CHECKS}))
    STAND_BY = "stand by", IntentRow("wait", _CAN_PAUSE, "s", eager=True, timely=True, from_page=FromPage.ALWAYS)
    CARRY_ON = "carry on", IntentRow("go on after standing by", frozenset({Mode.STANDING_BY}), "c")
    HOW_MANY = "how many", IntentRow("how many passes are left", _NOT_OVER, "l", eager=True, timely=True)
    WHERE = "where", IntentRow("where we are", _NOT_OVER, "w", eager=True, timely=True)
    LOUDER = "louder", _voice("speak louder", "+")
    QUIETER = "quieter", _voice("speak more softly", "-")
    SLOWER = "slower", _voice("speak more slowly", "<")
    QUICKER = "quicker", _voice("speak more quickly", ">")
    YES = "yes", IntentRow("yes", _ASKED, "y")
    NO = "no", IntentRow("no", _ASKED, "n", eager=True)
    MARK = "mark", IntentRow("mark a problem at this place", _DETOUR, "m", from_page=FromPage.ALWAYS)
    BOARD = "board", IntentRow("leave this board for the next (read back first)", _DETOUR)
    REDO = "redo", IntentRow("cut this end off and cut it again (read back first)", _DETOUR | {Mode.FINISHED})
    SPOILT = "spoilt", IntentRow("this board is spoilt, cut another (read back first)", _DETOUR | {Mode.FINISHED})
    COPY = "copy", IntentRow("one more copy of a board (read back first)", _DETOUR | {Mode.FINISHED})
    SOCKET = "socket", IntentRow("cut one socket again (read back first)", _DETOUR | {Mode.FINISHED})
    MISHAP = "mishap", IntentRow("{argument}", frozenset({Mode.STANDING_BY}), from_page=FromPage.ALWAYS)
    FIGURE = "figure", IntentRow("the figure that is asked for, said digit by digit{twice}", _ASKED)
    END = "end", IntentRow("end the session (read back first)", _DETOUR, "e")
    HALT = "halt", IntentRow("halt the carriage", _MOVES, eager=True, timely=True, from_page=FromPage.ALWAYS)


EAGER = frozenset(intent for intent in Intent if intent.row.eager)
OF_THE_VOICE = tuple(intent for intent in Intent if intent.row.of_the_voice)
# These neither record nor confirm, move or end anything, so confusing them with one another does no harm.
HARMLESS = EAGER.union(OF_THE_VOICE)
# These say which check or which mishap is meant: a language file has their phrases by its name.
NAMED = (Intent.CHECK, Intent.MISHAP)
# The phrases of these end with a number.
NUMBERED = (Intent.GO_TO, Intent.FIGURE)
# The intents that have phrases of their own in a language file. Two are asked for in the table of the job only, since
# a setup and a socket must be picked there.
PHRASED = tuple(intent for intent in Intent if intent not in (*NAMED, Intent.COPY, Intent.SOCKET))
