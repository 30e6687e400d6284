"""Everything that can happen to a session, each with a word on who sends it.

`at`: seconds since the session started, never falling. `utc`: ISO 8601 wall time. Both come
with the event; the session has no clock. `since` is when the press went down or the first
sound came: an answer counts only if that lies at or after the opening of what it answers.
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.plans.intents import Intent
from assistant.plans.model import Job
from assistant.session.kinds import By, DeviceName, DeviceState, Press, SpeechEnd


@dataclass(frozen=True, slots=True)
class Event:
    at: float
    utc: str


@dataclass(frozen=True, slots=True)
class OpenSession:
    """One that was left with passes to cut. cut: passes recorded. command: what goes on with it, for a shell."""

    title: str
    cut: int
    command: str


@dataclass(frozen=True, slots=True)
class Start(Event):
    """The `cut` command: a new session of this job.

    rehearsed: no wood is cut. hear_out: answers count only once what they answer has been spoken or shown. beside:
    sessions that are still open, the newest first: one of them may have been meant.
    """

    job: Job
    rehearsed: bool = False
    hear_out: bool = False
    beside: tuple[OpenSession, ...] = ()


@dataclass(frozen=True, slots=True)
class Resume(Event):
    """The `resume` command, after the journal's facts have been applied. notes: e.g. "the plan file has changed".

    hear_out: as in `Start`.
    """

    notes: tuple[str, ...] = ()
    hear_out: bool = False


class Answer(Event):
    """A gesture or a phrase. since: as above. Its fields stand in those below, in the order of each."""

    __slots__ = ()
    since: float
    source: By


@dataclass(frozen=True, slots=True)
class Gesture(Answer):
    """The pedal or the terminal's keys; from the page none is obeyed."""

    gesture: Press
    since: float
    source: By = By.PEDAL


@dataclass(frozen=True, slots=True)
class Heard(Answer):
    """The recogniser (or a key that stands in for a phrase): an accepted phrase.

    argument: the check's name for "check", the pass number for
    "go to", the text of a typed note for "mark", else None. generation: of the `Listen` it was
    heard under; from the page, of the snapshot that it answers.
    """

    intent: Intent
    argument: str | int | None
    phrase: str
    since: float
    generation: int
    source: By = By.VOICE


@dataclass(frozen=True, slots=True)
class NotHeard(Event):
    """The recogniser: speech that was no phrase in force. reason: why, in plain words.

    like: the phrase that it nearly was, or was and means nothing now; "" for what was like none: noise and other talk.
    """

    reason: str
    like: str = ""


@dataclass(frozen=True, slots=True)
class TimePassed(Event):
    """The clock, in answer to `WakeAt`."""


NOTE = "note"
"""The id of the low notes of `effects.Note`, beside those of announcements."""


@dataclass(frozen=True, slots=True)
class SpeechStarted(Event):
    """The speaker: the announcement with this id has begun to sound."""

    id: str


@dataclass(frozen=True, slots=True)
class SpeechEnded(Event):
    """The speaker."""

    id: str
    how: SpeechEnd


@dataclass(frozen=True, slots=True)
class WentOut(Event):
    """The runner, after the effects of every turn that opened something: all of it has been handed over.

    It never goes through the queue, so a press that waited there while the runner was held up began earlier.
    """

    generation: int


@dataclass(frozen=True, slots=True)
class Displayed(Event):
    """The terminal's writer: everything of this generation has been written, and the terminal has taken it."""

    generation: int


@dataclass(frozen=True, slots=True)
class DeviceChanged(Event):
    """Any adapter: a part was lost, was replaced, is slow, or works again.

    text: what it means for the operator, one plain sentence.
    """

    device: DeviceName
    state: DeviceState
    text: str


@dataclass(frozen=True, slots=True)
class CodeAsked(Event):
    """The bench page's pairing code is to be spoken: asked for with the terminal's key or the pedal. code: digits."""

    code: str


@dataclass(frozen=True, slots=True)
class Leave(Event):
    """Ctrl-C or the terminal closing: the process ends, the session stays open."""
