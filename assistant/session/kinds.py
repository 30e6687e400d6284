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
    MOVE = "move"
    """Whether a driven carriage may move now, asked where no pedal can be held down."""
    BOARD = "board"
    """This and the next four read back a change of the job."""
    CUT_OFF = "cut off"
    SOCKET = "socket"
    SPOILT = "spoilt"
    COPY = "copy"
    OFF = "off"
    """What the visit to the home switch found is more than the joint allows."""
    WHAT = "what"
    """What went wrong. All that come after it follow from the answer (`session/mishaps.py`)."""
    SAFE = "safe"
    """Names a mishap and what must be made safe first."""
    SURE = "sure"
    """Whether a cut was made before it."""
    WHICH = "which"
    """Whether it was this pass."""
    FIGURE = "figure"
    """A number: how far off, how deep, which pass, how wide a kerf."""
    OLD_BLADE = "old blade"
    """Whether the blade that was on before is back on the saw, so that no kerf has to be given."""
    SIDE = "side"
    """Whether a cut lies nearer to the edge at the stop than it should."""
    VERDICT = "verdict"
    """What has become of the wood or the job, and whether to go on so."""
    LOWERED = "lowered"
    """After a break: whether the blade was lowered, or its height changed."""
    TOUCHED = "touched"
    """After a break: whether anything else was touched."""


class SetupStatus(StrEnum):
    """How far a setup has got."""

    TO_CUT = "to cut"
    BEGUN = "begun"
    CUT = "cut"
    """All of it is cut, and its end was confirmed."""
    REDO = "redo"
    """It was cut, and some or all of it is to be cut again."""
    SPOILT = "spoilt"
    """Its board is spoilt, so it counts no more. The board that replaces it has setups of its own."""


class JobChange(StrEnum):
    """What an operator can ask of the job, beside cutting it in its order."""

    BOARD = "board"
    """Go on with another board."""
    END = "end"
    """Cut an end off, and cut the joint again."""
    SOCKET = "socket"
    """Cut one socket again."""
    SPOILT = "spoilt"
    """The board is spoilt: cut another in its place."""
    COPY = "copy"
    """Cut one more copy of this board."""


class MoveKind(StrEnum):
    """What a driven carriage is to do."""

    HOME = "home"
    """Find zero, since nobody knows where it stands."""
    VISIT = "visit"
    """Go to the home switch from a known place, to see whether the place is still true."""
    SETTING = "setting"
    """Go to a setting."""


class Then(StrEnum):
    """What follows once a driven carriage stands where it is to go."""

    BOARD = "board"
    """The setup's board is named and clamped."""
    CLAMPED = "clamped"
    """After an interruption: whether the work is still clamped."""
    TRIAL = "trial"
    """Work clamped again is tried against the still blade."""
    CALL = "call"
    """Checks that are due, and the pass."""
    END = "end"
    """The setup is over."""


class TurnOver(StrEnum):
    """How it is said that a board must be turned over."""

    FULL = "full"
    """With the warning against spinning it."""
    WARNED = "warned"
    """In short: this run has warned before."""


class ToMove(StrEnum):
    """What is moved where the work doesn't suit its cuts."""

    WORK = "work"
    CARRIAGE = "carriage"


class Misheard(StrEnum):
    """What shows that a figure can't be what was meant."""

    NOUGHT = "nought"
    """Then nothing would be wrong."""
    KERF = "kerf"
    """No blade cuts so narrow, or so wide."""
    DEPTH = "depth"
    """The cut would be more than twice as deep as it should be."""
    BLADE = "blade"
    """The blade doesn't reach so high."""
    BOARD = "board"
    """The kerf would lie beside the board."""


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
    CARRIAGE = "carriage"


class Doubt(StrEnum):
    """Why nobody knows where a driven carriage stands."""

    ALARM = "alarm"
    """The controller reports an alarm, or is locked."""
    RESET = "reset"
    """The controller started again: everything that it was sent is lost."""
    LINE = "line"
    """The serial line is gone."""
    GARBAGE = "garbage"
    """The controller sent what it never sends, or refused what it must take."""
    SILENT = "silent"
    """No report came while the carriage moved."""
    SWITCH = "switch"
    """The home switch did not close where it must, or was closed where it can't be."""
    ELSEWHERE = "elsewhere"
    """The controller says that it stands, but not where it was sent."""
    HALTED = "halted"
    """It was halted on its way to the home switch."""


class DeviceState(StrEnum):
    """The state of a part now. `STANDS_IN`: it is missing, and another part replaces it."""

    WORKS = "works"
    STANDS_IN = "stands in"
    SLOW = "slow"
    LOST = "lost"


class Tone(StrEnum):
    """The notes before an announcement."""

    ASKS = "asks"
    """It needs an answer."""
    ARRIVED = "arrived"
    """A driven carriage stands where it was sent."""


class Klass(StrEnum):
    """The class of an announcement or a line, for screens and for the tone before it."""

    CAUTION = "caution"
    CLAMP = "clamp"
    CHECK = "check"
    SETTING = "setting"
    MOVE = "move"
    """What a driven carriage will do once it is let."""
    QUESTION = "question"
    ANSWER = "answer"
    REFUSED = "refused"
    """An answer that doesn't count. It no longer matters once something else is open."""
    NOTICE = "notice"
    END = "end"
    CODE = "code"
    LINE = "line"
    """Only shown."""
