"""Records sound for `soundcheck`: a number of seconds, or one utterance. It is held in memory, never in a file."""

from __future__ import annotations

import queue
from collections.abc import Callable
from typing import Any

from assistant.errors import NoSuchPart
from assistant.hearing.contract import BYTES_PER_S, RATE
from assistant.hearing.endpoint import FRAME_BYTES, Endpointer, Utterance
from assistant.hearing.levels import dbfs, floats
from assistant.hearing.microphone import FIRST_CHUNK_S, SILENT_AFTER_S, OnChunk, open_capture

SHOW_EVERY = RATE // 10  # samples between two updates of the bar
DRAIN = 64  # chunks, about two seconds
MEND = "connect one, choose it in the system's sound settings, or give recordings: --quiet, --saw, --said"

ShowLevel = Callable[[float, float], None]  # the level and peak of the last tenth of a second, dBFS


class Recorder:
    """A running microphone. Owned by one thread, which must call `close`.

    opener: for tests. Raises NoSuchPart when there is no microphone.
    """

    def __init__(self, opener: Callable[[OnChunk], Any] = open_capture) -> None:
        self._chunks: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        try:
            self._capture = opener(lambda chunk, _: self._chunks.put(chunk))
        except NoSuchPart as error:
            raise NoSuchPart(f"{error}; {MEND}") from error
        self._first = True

    def close(self) -> None:
        """Lets go of the device."""
        self._capture.close()

    def read(self) -> bytes:
        """The next chunk. Raises NoSuchPart when no more come."""
        patience = FIRST_CHUNK_S if self._first else SILENT_AFTER_S
        try:
            chunk = self._chunks.get(timeout=patience)
        except queue.Empty as error:
            gone = "delivers no sound" if self._first else "delivers no more sound"
            raise NoSuchPart(f"the microphone {gone}; {MEND}") from error
        self._first = False
        return chunk

    def skip(self) -> None:
        """Drops the sound that has come in the meantime, which nobody was asked for."""
        for _ in range(DRAIN):
            try:
                self._chunks.get_nowait()
            except queue.Empty:
                return

    def seconds(self, seconds: float, show: ShowLevel) -> bytes:
        """Records this much sound from now on."""
        self.skip()
        taken = bytearray()
        meter = Meter(show)
        while len(taken) < seconds * BYTES_PER_S:
            chunk = self.read()
            meter.add(chunk)
            taken += chunk
        return bytes(taken[: 2 * round(seconds * RATE)])


class Meter:
    """Calls `show` with the level of every tenth of a second of sound."""

    def __init__(self, show: ShowLevel) -> None:
        self._show = show
        self._part = bytearray()

    def add(self, chunk: bytes) -> None:
        """Takes the stream's next chunk."""
        self._part += chunk
        if len(self._part) >= 2 * SHOW_EVERY:
            samples = floats(bytes(self._part))
            self._part.clear()
            self._show(dbfs(float((samples**2).mean())), dbfs(float((samples**2).max())))


class Listening:
    """One stream, cut by the real end-pointer. All of it stays in `stream`, where utterances have their places."""

    def __init__(self) -> None:
        self.stream = bytearray()
        self._endpointer = Endpointer()
        self._heard = 0

    @property
    def seconds(self) -> float:
        """The length of the stream, s."""
        return len(self.stream) / BYTES_PER_S

    @property
    def active(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return self._endpointer.active

    def feed(self, pcm16k: bytes) -> list[Utterance]:
        """Takes any number of bytes; returns the utterances that ended with them, knocks and overlong sounds too."""
        self.stream += pcm16k
        found = []
        while self._heard + FRAME_BYTES <= len(self.stream):
            done = self._endpointer.frame(bytes(self.stream[self._heard : self._heard + FRAME_BYTES]))
            self._heard += FRAME_BYTES
            if done:
                found.append(done)
        return found

    def flush(self) -> list[Utterance]:
        """Ends the stream; returns the utterance that was going on."""
        done = self._endpointer.flush()
        return [done] if done else []


def next_utterance(recorder: Recorder, listening: Listening, within_s: float, show: ShowLevel) -> Utterance | None:
    """Waits for the next utterance that begins within `within_s`, ignoring knocks; None if there is none.

    A sound that went on too long comes back with its reason.
    """
    until = listening.seconds + within_s
    meter = Meter(show)
    while listening.active or listening.seconds < until:
        chunk = recorder.read()
        meter.add(chunk)
        for done in listening.feed(chunk):
            if not done.knock:
                return done
    return None


def microphone_name() -> str:
    """The name of the microphone that would be opened, or "default" if the library doesn't know it."""
    try:
        import miniaudio
    except ImportError:
        return _sounddevice_name()
    from assistant.hearing.alsa import hush

    hush()
    try:
        captures = miniaudio.Devices().get_captures()
    except miniaudio.MiniaudioError:
        return "default"
    return str(captures[0]["name"]) if captures else "default"


def _sounddevice_name() -> str:
    try:
        import sounddevice

        return str(sounddevice.query_devices(kind="input")["name"])
    except Exception:  # a missing PortAudio is an OSError; PortAudio's own faults have another type
        return "default"
