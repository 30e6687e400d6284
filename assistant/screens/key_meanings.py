"""What each key of the terminal means. Pure: every time is an argument.

There is one key for each gesture, and one for each phrase without a gesture. A key kept down counts once.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, StrEnum, auto

from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.runner.contracts import CodeWish
from assistant.session.events import Event, Gesture, Heard, Leave
from assistant.session.kinds import By, Press

REPEAT_GAP_S = 0.7  # longer than the longest usual delay before auto-repeat sets in
MOST_DIGITS = 5

GESTURES = {"space": Press.TAP, "enter": Press.TAP, "d": Press.DOUBLE, "h": Press.LONG}
PHRASES = {intent.row.key: intent for intent in Intent if intent.row.key}
KEY_LIST = """\
Keys (one press each; a key kept down counts once):
  space, enter  tap: the pass is cut, call the next     d  double tap: say it again
  h  long press: confirm the check, yes, or stand by    a  say again
  y  yes             n  no                              b  back one pass
  s  stand by        c  carry on                        g  go to a pass: g, its number, enter
  w  where am I      l  how many left                   m  mark a problem here
  e  end the session q  leave it open and go            ?  this list
  j  the job as a table; from there: another board first, cut again, one more
  x  what went wrong, while standing by                 #  the figure asked for
  p  bench page: a new pairing code                     v  have the code said
  +  louder          -  quieter                         <  slower   >  quicker"""
KEY_LIST_DRIVEN = f"{KEY_LIST}\n  While the carriage moves, any key halts it and does nothing else."
PAGE = {"p": CodeWish.SHOW, "v": CodeWish.SAY}
ASK_PASS = "Go to pass: type its number, then enter. Any other key drops it."
DROPPED = "Go to pass dropped; nothing else was done."
JOB_DROPPED = "The job stays as it is; nothing else was done."
ASK_FIGURE = "The figure that is asked for: type it, then enter. Any other key drops it."
FIGURE_DROPPED = "No figure was given; nothing else was done."
MISHAP_DROPPED = "Nothing was reported; nothing else was done."
ASK_SOCKET = "Cut again in setup {setup}: type the number of the socket or slot, then enter. Any other key drops it."
JOB_KEYS = {"enter": Intent.BOARD, "r": Intent.REDO, "x": Intent.SPOILT, "k": Intent.COPY}
"""After `j` and a setup's number; `u` asks for a socket's number first."""
MISHAPS = dict(enumerate(Mishap, start=1))
"""By their numbers after `x`, in the order in which the pedal goes through them."""


class KeyKind(StrEnum):
    """The kinds of `KeyMeaning`: what its `word` is."""

    GESTURE = "gesture"
    """The gesture."""
    PHRASE = "phrase"
    """The phrase's intent."""
    LEAVE = "leave"
    """Nothing."""
    NOTE = "note"
    """The note to show."""
    CODE = "code"
    """How the bench page's pairing code is wanted."""
    JOB = "job"
    """What to do with the table of the job."""
    MISHAPS = "mishaps"
    """What to do with the list of what can go wrong."""
    FIGURE = "figure"
    """Nothing: a figure is about to be typed."""


class ListWish(StrEnum):
    """What to do with a list on the terminal."""

    SHOW = "show"
    DROP = "drop"


class NumberOf(Enum):
    """What the digits that are being typed are the number of."""

    PASS = auto()
    SETUP = auto()
    SOCKET = auto()
    MISHAP = auto()
    FIGURE = auto()


@dataclass(frozen=True, slots=True)
class KeyMeaning:
    """What a key press means.

    argument: the pass number of "go to"; of a change of the job, a mishap or a figure as in `events.Heard`.
    """

    kind: KeyKind
    word: Press | Intent | CodeWish | ListWish | str = ""
    argument: int | str | None = None


def event_of(meaning: KeyMeaning, at: float, utc: str) -> Event | None:
    """The session's event for this meaning; None if only the terminal responds."""
    if meaning.kind == KeyKind.GESTURE:
        return Gesture(at, utc, Press(meaning.word), at, By.KEYS)
    if meaning.kind == KeyKind.PHRASE:
        return Heard(at, utc, Intent(meaning.word), meaning.argument, "", at, -1, By.KEYS)
    return Leave(at, utc) if meaning.kind == KeyKind.LEAVE else None


class KeyMeanings:
    """Keys, in order of time -> meanings."""

    def __init__(self, pedal_key: str, driven: bool = False) -> None:
        """pedal_key: the shop file's name of the pedal's key; it means a tap while no pedal is heard.

        driven: a motor moves the carriage.
        """
        self.pedal_key = pedal_key
        self._key_list = KEY_LIST_DRIVEN if driven else KEY_LIST
        self._last_key = ""
        self._last_at = 0.0
        self._typing: NumberOf | None = None
        self._digits = ""
        self._setup = 0

    def press(self, key: str, at: float, pedal_alive: bool) -> KeyMeaning | None:
        """The meaning of `key` pressed at `at` (s), or None if it has none or is auto-repeat.

        pedal_alive: a pedal listener hears the pedal's key itself, so the key means nothing here.
        """
        # First of all: it leaves even as a repeat, and even while a number is being typed.
        if key == "ctrl_c":
            return KeyMeaning(KeyKind.LEAVE)
        # A number may have the same digit twice in quick succession: that is no auto-repeat.
        typing = self._typing is not None and key.isdigit()
        repeat = key == self._last_key and at - self._last_at < REPEAT_GAP_S
        self._last_key, self._last_at = key, at
        if repeat and not typing:
            return None
        if key == self.pedal_key:
            self._typing = None
            return None if pedal_alive else KeyMeaning(KeyKind.GESTURE, Press.TAP)
        # Other keys with a name, such as arrows, mean nothing. These two drop whatever number is being typed.
        if len(key) > 1 and key not in GESTURES and key not in ("esc", "backspace"):
            return None
        return self._typed(key.lower()) if self._typing else self._command(key.lower())

    def halted(self, key: str, at: float) -> None:
        """This key halted a driven carriage: what was being typed is dropped, and its auto-repeat means nothing."""
        self._last_key, self._last_at, self._typing = key, at, None

    def no_number(self) -> None:
        """What a key asked a number for can't be given now: the next keys mean what they always mean."""
        self._typing = None

    def _command(self, key: str) -> KeyMeaning | None:
        if key in GESTURES:
            return KeyMeaning(KeyKind.GESTURE, GESTURES[key])
        if key in PHRASES:
            return KeyMeaning(KeyKind.PHRASE, PHRASES[key])
        if key in PAGE:
            return KeyMeaning(KeyKind.CODE, PAGE[key])
        if key == "q":
            return KeyMeaning(KeyKind.LEAVE)
        if key == "?":
            return KeyMeaning(KeyKind.NOTE, self._key_list)
        if key == "g":
            self._typing, self._digits = NumberOf.PASS, ""
            return KeyMeaning(KeyKind.NOTE, ASK_PASS)
        if key == "j":
            self._typing, self._digits = NumberOf.SETUP, ""
            return KeyMeaning(KeyKind.JOB, ListWish.SHOW)
        if key == "x":
            self._typing, self._digits = NumberOf.MISHAP, ""
            return KeyMeaning(KeyKind.MISHAPS, ListWish.SHOW)
        if key == "#":
            self._typing, self._digits = NumberOf.FIGURE, ""
            return KeyMeaning(KeyKind.FIGURE)
        return None

    def _typed(self, key: str) -> KeyMeaning | None:
        """Any key but a digit and those asked for drops it and does nothing else, so no tap gets in by mistake."""
        # isdigit alone also takes ², which `int` refuses.
        if key.isascii() and key.isdigit() and len(self._digits) < MOST_DIGITS:
            self._digits += key
            return None
        of, number = self._typing, int(self._digits or "0")
        self._typing, self._digits = None, ""
        if of == NumberOf.PASS:
            given = key == "enter" and number
            return KeyMeaning(KeyKind.PHRASE, Intent.GO_TO, number) if given else KeyMeaning(KeyKind.NOTE, DROPPED)
        if of == NumberOf.FIGURE:
            given = key == "enter" and number
            return (
                KeyMeaning(KeyKind.PHRASE, Intent.FIGURE, number) if given else KeyMeaning(KeyKind.NOTE, FIGURE_DROPPED)
            )
        if of == NumberOf.MISHAP:
            if key == "enter" and number in MISHAPS:
                return KeyMeaning(KeyKind.PHRASE, Intent.MISHAP, MISHAPS[number])
            return KeyMeaning(KeyKind.MISHAPS, ListWish.DROP)
        if of == NumberOf.SETUP and number and key in JOB_KEYS:
            return KeyMeaning(KeyKind.PHRASE, JOB_KEYS[key], number)
        if of == NumberOf.SETUP and number and key == "u":
            self._typing, self._setup = NumberOf.SOCKET, number
            return KeyMeaning(KeyKind.NOTE, ASK_SOCKET.format(setup=number))
        if of == NumberOf.SOCKET and number and key == "enter":
            return KeyMeaning(KeyKind.PHRASE, Intent.SOCKET, f"{self._setup}.{number}")
        return KeyMeaning(KeyKind.JOB, ListWish.DROP)
