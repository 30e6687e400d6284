"""The words that distinguish events, facts and effects. Each member's value is the word in files and JSON Lines."""

from __future__ import annotations

from enum import StrEnum


class Press(StrEnum):
    """The gesture that one physical action on a pedal or key makes; see `pedal.gestures`.

    Journals, JSON and scripts store the value. People see `shown`.
    """

    TAP = "tap"
    DOUBLE = "double"
    LONG = "hold"

    @property
    def shown(self) -> str:
        """The gesture's name on a screen."""
        return {Press.TAP: "tap", Press.DOUBLE: "double tap", Press.LONG: "long press"}[self]


class By(StrEnum):
    """Where an answer comes from."""

    VOICE = "voice"
    PEDAL = "pedal"
    KEYS = "keys"
    PAGE = "page"


class QuestionName(StrEnum):
    """What an open question asks. The first three are read-backs of what was said."""

    BACK = "back"
    GO_TO = "go to"
    END = "end"
    CARRIAGE = "carriage"
    ZEROED = "zeroed"
    CLAMPED = "clamped"
    REGISTERED = "registered"


class SpeechEnd(StrEnum):
    """How an announcement ended."""

    WHOLE = "whole"
    CUT_OFF = "cut off"
    FAILED = "failed"


class DeviceName(StrEnum):
    """The part that a `DeviceChanged` is about."""

    MICROPHONE = "microphone"
    LOUDSPEAKER = "loudspeaker"
    PEDAL = "pedal"
    RECOGNISER = "recogniser"
    KEYS = "keys"


class DeviceState(StrEnum):
    """The state of a part now. `STANDS_IN`: it is missing, and another part replaces it."""

    WORKS = "works"
    STANDS_IN = "stands in"
    SLOW = "slow"
    LOST = "lost"


class Klass(StrEnum):
    """The class of an announcement or a line, for screens and for the tone before it."""

    CAUTION = "caution"
    CLAMP = "clamp"
    CHECK = "check"
    SETTING = "setting"
    QUESTION = "question"
    ANSWER = "answer"
    REFUSED = "refused"
    """An answer that doesn't count. It no longer matters once something else is open."""
    NOTICE = "notice"
    END = "end"
    CODE = "code"
    LINE = "line"
    """Only shown."""
