"""What the runner asks of its adapters. Each has a real one in its room and a file or rehearsal one beside it.

Adapters never touch the session: they build events, stamped by the clock they are given, and
hand them to `post`, which puts them on the one queue and returns at once from any thread.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from assistant.session.events import Event
from assistant.wording.phrases import Phrase

Post = Callable[[Event], None]


class Clock(Protocol):
    """Session time. Live: monotonic. File audio: samples read or written so far over the rate."""

    def at(self) -> float:
        """Seconds since the session started; never falls."""

    def utc(self) -> str:
        """ISO 8601 wall time, UTC, to the millisecond."""


class Speaker(Protocol):
    """Says announcements in order; posts SpeechStarted and SpeechEnded for each, and DeviceChanged."""

    def say(self, id: str, text: str, replaces: bool, tone: bool = False) -> None:
        """Queue this announcement; `replaces` first cuts off and drops whatever sounds or waits. Returns at once.

        tone: two soft notes come before its words, which is where SpeechStarted counts from.
        """

    def prepare(self, texts: Sequence[str]) -> None:
        """Render these ahead, newest request first; forgets older requests not begun. Returns at once."""

    def moved_at(self) -> float:
        """Session time (s) at which the making of an announcement last moved on: what is slow isn't lost."""

    def set_voice(self, loudness_db: int, words_a_minute: int) -> None:
        """Speak like this from now on; the loudness also of what sounds already. Returns at once."""

    def note(self) -> None:
        """Two short low notes, as an announcement of the id `events.NOTE`, unless anything sounds or waits."""

    def click(self) -> None:
        """A short click at once, from any thread, over whatever sounds."""

    def close(self, drain_s: float = 0.0) -> None:
        """Let what sounds and waits end within drain_s seconds, then let go of the device."""


class Listener(Protocol):
    """Hears phrases; posts Heard, NotHeard and DeviceChanged."""

    def listen(self, phrases: Sequence[Phrase], generation: int) -> None:
        """From now on only these phrases count; results carry `generation`."""

    def speaking(self, active: bool) -> None:
        """We have begun or ended speaking: don't listen while we do, nor 0.3 s after."""

    def close(self) -> None:
        """Stop and let go of the microphone."""
