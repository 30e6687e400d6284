"""What the runner needs from its adapters. Each has a real version in its room, and a file or rehearsal version.

Adapters never touch the session. They build events, stamped by the clock that they were given, and hand them to `post`,
which puts them on the one queue and returns at once from any thread.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Protocol

from assistant.session.effects import View
from assistant.session.events import Event
from assistant.session.facts import Record
from assistant.session.kinds import Klass, Tone
from assistant.wording.phrases import Phrase
from assistant.wording.prompts import Words

Post = Callable[[Event], None]


class Clock(Protocol):
    """Session time. Live: monotonic. File audio: the samples read or written so far, divided by the rate."""

    def at(self) -> float:
        """Seconds since the session started; never falls."""

    def utc(self) -> str:
        """ISO 8601 wall time, UTC, to the millisecond."""


class Speaker(Protocol):
    """Says announcements in order; posts SpeechStarted and SpeechEnded for each, and DeviceChanged."""

    def say(self, id: str, text: str, replaces: bool, tone: Tone | None = None) -> None:
        """Queue this announcement. Returns at once. With `replaces`, first cut off and drop everything before it.

        tone: the notes that come before the words; SpeechStarted counts from the words.
        """

    def prepare(self, texts: Sequence[str]) -> None:
        """Render these ahead, newest request first; older requests not yet begun are forgotten. Returns at once."""

    def moved_at(self) -> float:
        """Session time (s) when the making of an announcement last made progress: a slow voice isn't lost."""

    def set_voice(self, loudness_db: int, words_a_minute: int) -> None:
        """Speak like this from now on; the loudness changes for current speech too. Returns at once."""

    def note(self) -> None:
        """Two short low notes, as an announcement of the id `events.NOTE`, unless anything sounds or waits."""

    def click(self) -> None:
        """A short click, at once, over any other sound. From any thread."""

    def tick(self) -> None:
        """Once a second while a driven carriage moves: softer and shorter than a click. Otherwise as `click`."""

    def close(self, drain_s: float = 0.0) -> None:
        """Let current and waiting sounds end within drain_s seconds, then release the device."""


class Listener(Protocol):
    """Hears phrases; posts Heard, NotHeard and DeviceChanged."""

    def listen(self, phrases: Sequence[Phrase], generation: int) -> None:
        """From now on only these phrases count; results carry `generation`."""

    def speaking(self, active: bool) -> None:
        """We have started or stopped speaking: don't listen while we speak, nor for 0.3 s afterwards."""

    def close(self) -> None:
        """Stop, and release the microphone."""


class Driven(Protocol):
    """Moves the carriage; posts Looked, SledMoved, Homed, Arrived, Halted, NotClear, TooOld and Lost.

    Everything returns at once and can be called from any thread. One order at a time: whoever gives another before the
    last has been answered gets `Lost`.
    """

    def look(self, id: str) -> None: ...

    def home(self, id: str, visit: bool, pressed_at: float, held: bool) -> None: ...

    def move_to(self, id: str, setting: Fraction, approach: Fraction, pressed_at: float, held: bool) -> None: ...

    def halt(self) -> bool:
        """Stop whatever moves. Returns whether something moved or was about to. Also from a signal handler."""

    def pressed(self) -> bool:
        """A key or pedal went down: as `halt`."""

    def released(self) -> None:
        """The pedal came up or was lost: what is held down halts."""

    @property
    def moving(self) -> bool:
        """Whether it moves or is about to."""

    @property
    def position(self) -> Fraction | None:
        """What the controller last reported, as the carriage reads, mm; None if its place isn't known."""

    def close(self) -> None:
        """Halt, wait until it stands, and release the line."""


class Screen(Protocol):
    """Shows the session. Never blocks for long, because it is called on the session's thread.

    line, record: for a log; they say only what happened. klass: as in `effects.Show` and `Say`. text: the whole
    announcement, shown as long as the state asks for it.
    """

    def show(self, view: View, line: str | None, words: Words, klass: Klass = Klass.LINE) -> None: ...

    def said(self, text: str, klass: Klass, record: str) -> None: ...


class Watcher(Protocol):
    """Sees every turn, after its facts are committed and before its effects run. Returns at once."""

    def turn(self, event: Event, records: Sequence[Record]) -> None: ...


# --- for adapters that only a live run has


class VoiceInput(StrEnum):
    WORKS = "works"
    OFF = "off"
    """Not asked for."""
    MISSING = "missing"


class PedalInput(StrEnum):
    HEARD = "heard"
    OFF = "off"
    LOST = "lost"


class DriveInput(StrEnum):
    WORKS = "works"
    OFF = "off"
    """There is none."""
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class Inputs:
    """The present state of all inputs.

    level: of the microphone, dBFS; None: no sound. down: the pedal's key is pressed. keys: the terminal's keys are
    read. position: what a driven carriage last reported, as it reads, mm; None if its place isn't known.
    """

    voice: VoiceInput
    level: float | None
    pedal: PedalInput
    down: bool
    keys: bool
    drive: DriveInput = DriveInput.OFF
    position: Fraction | None = None


class LiveEar(Listener, Protocol):
    """Hears a microphone."""

    level: float | None
    """The loudest recent level, dBFS; None while no sound comes."""

    def has_microphone(self, within_s: float) -> bool:
        """Whether a microphone was found. Waits for the recogniser to load, then up to within_s. Call it once."""


class LivePedal(Protocol):
    """Posts Gesture and DeviceChanged."""

    @property
    def alive(self) -> bool:
        """Whether its key can be heard now."""

    @property
    def down(self) -> bool:
        """Whether its key is pressed now."""

    def close(self) -> None:
        """Stop listening."""


class LiveKeys(Protocol):
    """Posts the meanings of the terminal's keys."""

    def close(self) -> None:
        """Stop reading and put the terminal's mode back."""


class LiveScreen(Screen, Protocol):
    """The operator's terminal."""

    def note(self, text: str, for_s: float | None = None) -> None:
        """A line beside the session's own, or a list of lines, shown for `for_s` where lists can be removed again."""

    def withdraw(self, text: str) -> None:
        """Remove this list, where that is possible."""

    def close(self) -> None:
        """Write what is left. Calling it again does nothing."""


class LiveView(LiveScreen, Protocol):
    """A screen that covers the terminal and shows the state of the inputs."""

    def look(self) -> None:
        """An input may have changed. Returns at once."""

    def settle(self, inputs: Callable[[], Inputs]) -> None:
        """All adapters are open, and all other signal handlers are set. inputs: can be called from any thread."""


class PageHub(Screen, Watcher, Protocol):
    """Feeds the pages; both a screen and a watcher.

    position: what a driven carriage last reported, mm; None where nobody knows.
    """

    position: Callable[[], Fraction | None]


class CodeWish(StrEnum):
    """How the bench page's pairing code is wanted."""

    SHOW = "show"
    """A new one, on the screen."""
    SAY = "say"
    """The open one, aloud."""


class LivePage(Protocol):
    """The bench page of this session."""

    @property
    def hub(self) -> PageHub: ...

    def watching(self, post: Post) -> Post:
        """`post` for pedal and keys, with gestures that ask for the pairing code."""

    def asked_for_code(self, wish: CodeWish) -> None:
        """Invite another page with a pairing code."""

    def close(self) -> None:
        """End every connection."""
