"""Everything that can happen to a session. Each docstring says who sends the event.

`at`: seconds since the session started; it never falls. `utc`: ISO 8601 wall time. Both come with the event, because
the session has no clock. `since`: when the key went down or the first sound came. An answer counts only if that was at
or after the opening of what it answers.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assistant.plans.intents import Intent
from assistant.plans.model import Job
from assistant.session.kinds import By, DeviceName, DeviceState, Doubt, Press, SpeechEnd


@dataclass(frozen=True, slots=True)
class Event:
    at: float
    utc: str


@dataclass(frozen=True, slots=True)
class OpenSession:
    """A session that was left with passes to cut. cut: passes recorded. command: the shell command that resumes it."""

    title: str
    cut: int
    command: str


@dataclass(frozen=True, slots=True)
class Start(Event):
    """The `cut` command: a new session of this job.

    rehearsed: no wood is cut. hear_out: an answer counts only once its question has been spoken or shown. beside:
    sessions that are still open, newest first: the operator may have wanted to resume one of them.
    test_joint_skipped: a test joint was offered, and the operator goes on without it. kerf_days: whole days since the
    kerf was measured, None if it never was.
    """

    job: Job
    rehearsed: bool = False
    hear_out: bool = False
    beside: tuple[OpenSession, ...] = ()
    test_joint_skipped: bool = False
    kerf_days: int | None = None


@dataclass(frozen=True, slots=True)
class Resume(Event):
    """The `resume` command, after the journal's facts have been applied. notes: e.g. "the plan file has changed".

    hear_out: as in `Start`.
    """

    notes: tuple[str, ...] = ()
    hear_out: bool = False


class Answer(Event):
    """A gesture or a phrase. since: as above. Each subclass declares these fields itself, in its own order."""

    __slots__ = ()
    since: float
    source: By


@dataclass(frozen=True, slots=True)
class Gesture(Answer):
    """The pedal or the terminal's keys send it. A gesture from the page is refused."""

    gesture: Press
    since: float
    source: By = By.PEDAL


@dataclass(frozen=True, slots=True)
class Heard(Answer):
    """An accepted phrase, from the recogniser or from a key that means a phrase.

    argument: the check's name for "check", the pass number for "go to", the text of a typed note for "mark", else None.
    generation: of the `Listen` under which it was heard; from the page, of the snapshot that it answers.
    """

    intent: Intent
    argument: str | int | None
    phrase: str
    since: float
    generation: int
    source: By = By.VOICE


@dataclass(frozen=True, slots=True)
class NotHeard(Event):
    """The recogniser heard speech that is not a phrase in force. reason: why, in plain words.

    like: the phrase that it almost was, or a phrase that means nothing now; "" for noise and other talk.
    """

    reason: str
    like: str = ""


@dataclass(frozen=True, slots=True)
class TimePassed(Event):
    """The clock sends it, as `WakeAt` requested."""


NOTE = "note"
"""The id of the low notes of `effects.Note`, beside those of announcements."""


@dataclass(frozen=True, slots=True)
class SpeechStarted(Event):
    """The speaker has begun to play the announcement with this id."""

    id: str


@dataclass(frozen=True, slots=True)
class SpeechEnded(Event):
    """The speaker has finished with the announcement with this id. how: whole, cut off or failed."""

    id: str
    how: SpeechEnd


@dataclass(frozen=True, slots=True)
class WentOut(Event):
    """The runner has handed over everything that a turn opened. It sends this after that turn's effects.

    It bypasses the queue: a press that waited there while the runner was busy began earlier.
    """

    generation: int


@dataclass(frozen=True, slots=True)
class Displayed(Event):
    """The terminal's writer has written everything of this generation, and the terminal has taken it."""

    generation: int


@dataclass(frozen=True, slots=True)
class DeviceChanged(Event):
    """An adapter reports that a part was lost, was replaced, is slow, or works again.

    text: what it means for the operator, one plain sentence.
    """

    device: DeviceName
    state: DeviceState
    text: str


@dataclass(frozen=True, slots=True)
class Looked(Event):
    """The drive's answer to `effects.Look`, from a report made since. clear: the sled is drawn right back."""

    id: str
    clear: bool


@dataclass(frozen=True, slots=True)
class SledMoved(Event):
    """The drive, while the carriage stands: its clear input has changed."""

    clear: bool


@dataclass(frozen=True, slots=True)
class Homed(Event):
    """The drive: the home switch was found, or the carriage was zeroed by hand.

    off_by: how far above its true place the carriage said it stood, mm, and so how far below the reading its cuts were
    made; None if its place was not known before. beyond: the switch is farther off than that, and no more can be
    counted.
    """

    id: str
    off_by: Fraction | None = None
    beyond: bool = False


@dataclass(frozen=True, slots=True)
class Arrived(Event):
    """The drive: the carriage stands within a step, or its resolution, of where it was sent. reported: mm."""

    id: str
    reported: Fraction


@dataclass(frozen=True, slots=True)
class Halted(Event):
    """The drive: the carriage was halted and stands, its place known, the rest of the way gone. reported: mm."""

    id: str
    reported: Fraction


@dataclass(frozen=True, slots=True)
class NotClear(Event):
    """The drive: nothing was sent, because the sled is not drawn right back."""

    id: str


@dataclass(frozen=True, slots=True)
class TooOld(Event):
    """The drive: nothing was sent, because the press or phrase that asked was over too long before."""

    id: str


@dataclass(frozen=True, slots=True)
class Lost(Event):
    """The drive: nobody knows where the carriage stands; whatever moved was halted.

    text: what is wrong and the mend, in plain sentences that hold neither "cut" nor "ready".
    """

    why: Doubt
    text: str


@dataclass(frozen=True, slots=True)
class CodeAsked(Event):
    """The operator asked with a key or the pedal to hear the bench page's pairing code. code: digits."""

    code: str


@dataclass(frozen=True, slots=True)
class Leave(Event):
    """The runner: Ctrl-C was pressed or the terminal closed. The process ends, and the session stays open."""
