"""A rehearsed session: a script, a microphone file or a synthetic operator, on its own clock.

Time comes from the script, or from the samples read and written; the wall clock matters only with `real_time`.
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
from assistant.runner.script import RELEASE, DriveMishap, LineKind, ScriptLine, SledPlace
from assistant.session.events import DeviceChanged, Event, Gesture, Heard, NotHeard, TimePassed
from assistant.session.kinds import DeviceName, DeviceState, Press
from assistant.wording.phrases import MOST_FIGURE, whole_table

MIC_RATE = 16000
CHUNK_S = 0.1  # of the microphone's sound at a time; the session's clock advances by as much
DEVICE_TEXT = "The {device} {is_so} (rehearsed)."
IS_SO = {DeviceState.LOST: "is lost", DeviceState.STANDS_IN: "is limited", DeviceState.WORKS: "works"}
"""The states that a script can set, as people read them."""


class FileSound(Protocol):
    """A speaker that writes to a file as session time goes on."""

    def advance(self, to_s: float) -> None: ...

    def next_boundary(self) -> float | None: ...


class FileEar(Protocol):
    """A listener that gets its sound from the caller. `feed` returns once every event of that sound has been posted.

    `flush`: no more sound will come.
    """

    def feed(self, pcm: bytes) -> None: ...

    def flush(self) -> None: ...


class MicrophoneSound(Protocol):
    """What the microphone hears: a file, or a synthetic operator."""

    def read(self, samples: int) -> bytes | None:
        """The next `samples` of 16 kHz mono 16-bit sound, fewer at the end, None after it."""

    def handled(self, event: Event) -> None:
        """The session has handled this event: a synthetic operator responds to what it hears."""


class SimulatedCarriage(Protocol):
    """A driven carriage that moves as session time goes on, and to which a script does things."""

    pedal_down: bool

    def advance(self, to_s: float) -> None: ...

    def next_boundary(self) -> float | None: ...

    def pressed(self) -> bool: ...

    def released(self) -> None: ...

    def sled(self, away: bool) -> None: ...

    def mishap(self, what: DriveMishap, mm: float = 0.0) -> None: ...


class Keys(Protocol):
    """The terminal's keys."""

    def press(self, key: str) -> Event | None:
        """The event that pressing this key causes now, if any."""


class Rehearsal:
    """Plays script lines, sound files and deadlines in order of time."""

    def __init__(
        self,
        runner: Runner,
        clock: SetClock,
        script: Sequence[ScriptLine] = (),
        *,
        sound: FileSound | None = None,
        ear: FileEar | None = None,
        source: MicrophoneSound | None = None,
        keys: Keys | None = None,
        drive: SimulatedCarriage | None = None,
        real_time: bool = False,
        on_interrupt: Callable[[], None] | None = None,
    ):
        self._runner = runner
        self._clock = clock
        self._start = clock.at()
        self._script = list(script)
        self._sound, self._ear, self._source, self._keys = sound, ear, source, keys
        self._drive = drive
        self._wall = time.monotonic() if real_time else None
        self._on_interrupt = on_interrupt

    def run(self) -> None:
        """Play until the session closes or nothing more can happen."""
        self._drain()
        # A session may be over before its last words are.
        while self._runner.closing is None or self._sounding_until() is not None:
            target = self._next_time()
            if target is None:
                return
            self._hear_until(target)
            if self._wall is not None:
                time.sleep(max(0.0, self._wall + target - self._start - time.monotonic()))
            self._clock.set(target)
            if self._sound is not None:
                self._sound.advance(target)
            if self._drive is not None:
                self._drive.advance(target)
            self._drain()
            self._handle(TimePassed(self._clock.at(), self._clock.utc()))
            while self._script and self._start + self._script[0].at_s <= self._clock.at():
                self._play(self._script.pop(0))
                self._drain()

    def _sounding_until(self) -> float | None:
        return self._sound.next_boundary() if self._sound else None

    def _next_time(self) -> float | None:
        """When something happens next, or None: deadlines alone don't keep a rehearsal going."""
        times = [self._start + self._script[0].at_s] if self._script else []
        boundary = self._sounding_until()
        if boundary is not None:
            times.append(boundary)
        moving = self._drive.next_boundary() if self._drive else None
        if moving is not None:
            times.append(moving)
        if self._source is not None:
            times.append(self._clock.at() + CHUNK_S)
        if not times:
            return None
        deadline = self._runner.next_deadline()
        if deadline is not None:
            times.append(deadline)
        return max(min(times), self._clock.at())

    def _hear_until(self, target: float) -> None:
        if self._source is None or self._ear is None:
            return
        # Each time from the start, so that what rounding leaves doesn't add up.
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
            self._source.handled(event)

    def _play(self, line: ScriptLine) -> None:
        at, utc = self._clock.at(), self._clock.utc()
        event: Event | None
        match line.kind:
            case LineKind.INTERRUPT:
                # As if the plug were pulled: flush what was written, and clean up nothing else.
                if self._on_interrupt is not None:
                    self._on_interrupt()
                sys.stdout.flush()
                sys.stderr.flush()
                os._exit(1)
            case LineKind.PEDAL:
                event = self._pedal(line.argument, at, utc)
            case LineKind.KEY:
                halts = self._drive is not None and self._drive.pressed()
                event = self._keys.press(line.argument) if self._keys and not halts else None
            case LineKind.SLED | LineKind.CARRIAGE:
                event = None
                if self._drive is not None and line.kind == LineKind.SLED:
                    self._drive.sled(line.argument == SledPlace.AWAY)
                elif self._drive is not None:
                    what, _, mm = line.argument.partition(" ")
                    self._drive.mishap(DriveMishap(what), float(mm or 0))
            case LineKind.DEVICE:
                device, _, state = line.argument.partition(" ")
                text = DEVICE_TEXT.format(device=device, is_so=IS_SO[DeviceState(state)])
                event = DeviceChanged(at, utc, DeviceName(device), DeviceState(state), text)
            case LineKind.HEARD:
                event = self._heard(line.argument, at, utc)
        if event is not None:
            self._handle(event)

    def _pedal(self, argument: str, at: float, utc: str) -> Event | None:
        """A press lets go of what was held, and halts what moves; then it is its own gesture."""
        if self._drive is not None:
            self._drive.released()
            self._drive.pressed()
            self._drive.pedal_down = argument == Press.LONG
        return None if argument == RELEASE else Gesture(at, utc, Press(argument), at)

    def _heard(self, text: str, at: float, utc: str) -> Heard | NotHeard:
        """What a recogniser would make of it: the phrase in force with these words, else one from the whole table."""
        job = self._runner.state.the_job
        table = whole_table(job.checks, job.voice, self._runner.state.passes, MOST_FIGURE)
        phrase = next((phrase for phrase in (*self._runner.phrases, *table) if phrase.text == text), None)
        if phrase is None:
            return NotHeard(at, utc, f"not one of the phrases: {text}")
        generation = self._runner.state.generation
        return Heard(at, utc, Intent(phrase.intent), phrase.argument, phrase.text, at, generation)
