"""What can go wrong at the saw. In this room, because language files, which say it, are checked against it."""

from __future__ import annotations

from enum import StrEnum


class Mishap(StrEnum):
    """What can go wrong. The words are in journals, scripts and language files: they stay. means: for people.

    In the order in which taps and lists offer them: what can't wait comes first.
    """

    means: str

    # The default is for type checkers, as in `plans.intents.Intent`.
    def __new__(cls, word: str, means: str = "") -> Mishap:
        self = str.__new__(cls, word)
        self._value_ = word
        self.means = means
        return self

    JAMMED = "jammed", "the work has jammed on the blade"
    TRIPPED = "breaker", "the breaker tripped in the cut"
    LOOSE = "loose piece", "a loose piece lies by the blade"
    SLIPPED = "slipped", "the board has slipped"
    BUMPED = "bumped", "the carriage was bumped"
    MISPLACED = "wrong place", "a cut is in the wrong place"
    SHALLOW = "not deep enough", "the cuts are not deep enough"
    DEEP = "too deep", "the cuts are too deep"
    MISSED = "missed", "a pass was missed"
    OVERSHOT = "overshot", "the carriage went past the setting"
    DUST = "sawdust", "there is sawdust under the board or at the stop"
    CUPPED = "cupped", "the board is cupped"
    CHIPPED = "chipped", "a finger has chipped"
    SWAPPED = "wrong pattern", "the other part's pattern was cut"
    KERF = "kerf measured", "the kerf was measured again, with the same blade"
    BLADE = "other blade", "another blade is on the saw"
    BREAK = "break", "you are taking a break"
