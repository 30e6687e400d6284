"""What a phrase can mean: one row an intent, and all that is decided by the intent alone.

What is written here nowhere else needs to know: what the recogniser listens for, what a language file must have, the
terminal's keys and the bench page's rights are derived from it. It stands in this room because languages and shop files
are held to it, and they come before any session.
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
    """A question or read-back is open; it is laid over another mode."""


class FromPage(Enum):
    """Whether a paired bench page may ask for it. A check or a question it never answers."""

    NEVER = 0
    IF_SHOP_ALLOWS = 1
    """With [page] may_record_cuts, and only where the page names what it answers."""
    ALWAYS = 2


@dataclass(frozen=True, slots=True)
class Row:
    """What holds for one intent.

    means: for people; {argument}, {twice} and {twelve} are filled in. when: the modes in which it can mean something;
    two of them hold more narrowly, see `session.intents.wanted`. key: the terminal's, "" where a gesture or a dialogue
    of its own is for it.

    eager: it only asks, pauses or refuses. A false one does no harm, so the recogniser's bar is lower and no lead-in
    need come first. of_the_voice: it changes how it is spoken, and nothing else. timely: it is an answer to nothing in
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
_CAN_PAUSE = _AT_WORK | _ASKED  # from where it can stand by
_NOT_OVER = _AT_WORK | {Mode.QUESTION, Mode.STANDING_BY}
_DETOUR = _AT_WORK | {Mode.STANDING_BY}  # not while a question is open: one at a time
_OPEN = _NOT_OVER | {Mode.FINISHED}


def _voice(means: str, key: str) -> Row:
    return Row(means, _OPEN, key, of_the_voice=True, timely=True)


class Intent(StrEnum):
    """The words are in language files, shop files and journals of what was heard: they stay."""

    row: Row

    # The default is for type checkers, which else take `Intent("cut")`, a look-up, for a member without its row.
    def __new__(cls, word: str, row: Row | None = None) -> Intent:
        if row is None:
            raise TypeError(f"the intent {word} needs a row")
        self = str.__new__(cls, word)
        self._value_ = word
        self.row = row
        return self

    CUT = "cut", Row("the pass is cut; call the next one", _CUTTING, from_page=FromPage.IF_SHOP_ALLOWS)
    AGAIN = "again", Row("say it again", _OPEN, "a", eager=True, timely=True, from_page=FromPage.ALWAYS)
    BACK = "back", Row("back one pass (read back first)", _AT_WORK | {Mode.FINISHED}, "b")
    GO_TO = "go to", Row('go to pass N, said digit by digit{twice}: 12 is "{twelve}" (read back first)', _CUTTING)
    CHECK = "check", Row("confirms: {argument}", frozenset({Mode.CHECKS}))
    STAND_BY = "stand by", Row("wait", _CAN_PAUSE, "s", eager=True, timely=True, from_page=FromPage.ALWAYS)
    CARRY_ON = "carry on", Row("go on after standing by", frozenset({Mode.STANDING_BY}), "c")
    HOW_MANY = "how many", Row("how many passes are left", _NOT_OVER, "l", eager=True, timely=True)
    WHERE = "where", Row("where we are", _NOT_OVER, "w", eager=True, timely=True)
    LOUDER = "louder", _voice("speak louder", "+")
    QUIETER = "quieter", _voice("speak more softly", "-")
    SLOWER = "slower", _voice("speak more slowly", "<")
    QUICKER = "quicker", _voice("speak more quickly", ">")
    YES = "yes", Row("yes", _ASKED, "y")
    NO = "no", Row("no", _ASKED, "n", eager=True)
    MARK = "mark", Row("mark a problem at this place", _DETOUR, "m", from_page=FromPage.ALWAYS)
    END = "end", Row("end the session (read back first)", _DETOUR, "e")


EAGER = frozenset(intent for intent in Intent if intent.row.eager)
OF_THE_VOICE = tuple(intent for intent in Intent if intent.row.of_the_voice)
# Neither records, nor confirms, moves or ends: taken for one another they do no harm.
HARMLESS = EAGER.union(OF_THE_VOICE)
# What has phrases in a language file. A check's answers stand there by the checks' names.
PHRASED = tuple(intent for intent in Intent if intent is not Intent.CHECK)
