"""A rehearsed session: a script, a microphone file or a synthetic operator, on a clock of its own.

Time is the script's, or the samples read and written; the wall only matters with `real_time`.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Sequence
from typing import Protocol

from assistant.plans.intents import Intent
from assistant.runner.clock import SetClock
from assistant.runner.loop import Runner
from assistant.runner.script import ScriptLine
from assistant.session.events import DeviceChanged, Event, Gesture, Heard, NotHeard, TimePassed
from assistant.session.kinds import Press
from assistant.wording.phrases import Phrase, whole_table

MIC_RATE = 16000
CHUNK_S = 0.1
LOST_TEXT = "The {device} {state} (rehearsed)."


class FileSound(Protocol):
    """A speaker that writes to a file as session time goes on."""

    def advance(self, to_s: float) -> None: ...

    def next_boundary(self) -> float | None: ...


class FileEar(Protocol):
    """A listener fed by hand; `feed` returns once every event of that sound has been posted.

    `flush`: no more sound will come.
    """

    def feed(self, pcm: bytes) -> None: ...

    def flush(self) -> None: ...


class Source(Protocol):
    """Sound for the microphone."""

    def read(self, samples: int) -> bytes | None:
        """The next `samples` of 16 kHz mono 16-bit sound, fewer at the end, None after it."""

    def heed(self, event: Event) -> None:
        """An event was handled: a synthetic operator answers to what it hears."""


class Keys(Protocol):
    """The terminal's keys."""

    def press(self, key: str) -> Event | None:
        """What pressing it at this moment does to the session, if anything."""


class Rehearsal:
    """Plays script lines, file sound and deadlines in order of time."""

    def __init__(
        self,
        runner: Runner,
        clock: SetClock,
        script: Sequence[ScriptLine] = (),
        *,
        sound: FileSound | None = None,
        ear: FileEar | None = None,
        source: Source | None = None,
        keys: Keys | None = None,
        real_time: bool = False,
        on_interrupt: Callable[[], None] | None = None,
    ):
        self._runner = runner
        self._clock = clock
        self._start = clock.at()
        self._script = list(script)
        self._sound, self._ear, self._source, self._keys = sound, ear, source, keys
        self._wall = time.monotonic() if real_time else None
        self._on_interrupt = on_interrupt

    def run(self) -> None:
        """Until the session closes or nothing more can happen."""
        self._drain()
        while self._runner.closing is None or self._sounding_until() is not None:
            target = self._next_time()
            if target is None:
                return
            self._go_to(target)
            self._play_due_lines()

    def _sounding_until(self) -> float | None:
        return self._sound.next_boundary() if self._sound else None

    def _next_time(self) -> float | None:
        """When something next happens, or None when only deadlines are left."""
        times = [self._start + self._script[0].at_s] if self._script else []
        boundary = self._sounding_until()
        if boundary is not None:
            times.append(boundary)
        if self._source is not None:
            times.append(self._clock.at() + CHUNK_S)
        if not times:
            return None
        deadline = self._runner.next_deadline()
        if deadline is not None:
            times.append(deadline)
        return max(min(times), self._clock.at())

    def _go_to(self, target: float) -> None:
        self._hear_until(target)
        if self._wall is not None:
            time.sleep(max(0.0, self._wall + target - self._start - time.monotonic()))
        self._clock.set(target)
        if self._sound is not None:
            self._sound.advance(target)
        self._drain()
        self._handle(TimePassed(self._clock.at(), self._clock.utc()))

    def _hear_until(self, target: float) -> None:
        if self._source is None or self._ear is None:
            return
        samples = round((target - self._start) * MIC_RATE) - round((self._clock.at() - self._start) * MIC_RATE)
        if samples <= 0:
            return
        pcm = self._source.read(samples)
        if pcm is None:
            self._ear.flush()
            self._source = None
        else:
            self._ear.feed(pcm)

    def _drain(self) -> None:
        while (event := self._runner.next_event(0)) is not None:
            self._handle(event)

    def _handle(self, event: Event) -> None:
        self._runner.handle(event)
        if self._source is not None:
            self._source.heed(event)

    def _play_due_lines(self) -> None:
        while self._script and self._start + self._script[0].at_s <= self._clock.at():
            line = self._script.pop(0)
            if line.kind == "interrupt":
                self._interrupt()
            if event := self._event_of(line):
                self._handle(event)
            self._drain()

    def _event_of(self, line: ScriptLine) -> Event | None:
        at, utc = self._clock.at(), self._clock.utc()
        if line.kind == "pedal":
            return Gesture(at, utc, Press(line.argument), at)
        if line.kind == "key":
            return self._keys.press(line.argument) if self._keys else None
        if line.kind == "device":
            device, _, state = line.argument.partition(" ")
            return DeviceChanged(at, utc, device, state, LOST_TEXT.format(device=device, state=state))
        phrase = self._phrase(line.argument)
        if phrase is None:
            return NotHeard(at, utc, f"no phrase of the table: {line.argument}")
        generation = self._runner.state.generation
        return Heard(at, utc, Intent(phrase.intent), phrase.argument, phrase.text, at, generation)

    def _phrase(self, text: str) -> Phrase | None:
        """The phrase in force with this wording, else the one of the whole table."""
        job = self._runner.state.the_job
        table = whole_table(job.checks, job.voice, self._runner.state.passes)
        return next((phrase for phrase in (*self._runner.phrases, *table) if phrase.text == text), None)

    def _interrupt(self) -> None:
        """As if the plug were pulled: what was written out is flushed, nothing else is tidied."""
        if self._on_interrupt is not None:
            self._on_interrupt()
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(1)
