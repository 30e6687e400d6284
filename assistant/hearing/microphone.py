"""Opens the microphone, watches it and opens it again. Runs only in the hearing child.

It uses miniaudio, or sounddevice where miniaudio has no wheel. Neither says when a device goes away, so the time of
the last chunk shows it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Generator
from typing import Any

import numpy as np

from assistant.errors import NoSuchPart
from assistant.hearing.alsa import hush
from assistant.hearing.contract import RATE
from assistant.hearing.denoise_resample import RATIO, Decimator
from assistant.session.kinds import DeviceState

CHUNK_MS = 30
WIDE = 48_000  # Hz; nearly every device has it, and our own filter then makes 16 kHz of it, whatever the library
SILENT_AFTER_S = 1.0  # without a chunk for so long, the device counts as lost
FIRST_CHUNK_S = 4.0  # a sound server can take this long to deliver the first chunk
MUTED_AFTER_S = 10.0  # of nothing but zeros: any real microphone makes some noise
BACK_OFF_S = (0.5, 1.0, 2.0, 5.0, 10.0)  # pauses between attempts to open it

OnChunk = Callable[[bytes, float], None]
TellDevice = Callable[[DeviceState, str], None]


class Narrow:
    """48 kHz chunks of any length in, 16 kHz out: 16 bit mono, 1.5 ms later. Each stream has its own."""

    def __init__(self) -> None:
        self._decimator = Decimator()
        self._rest = b""

    def __call__(self, chunk: bytes) -> bytes:
        """As many whole samples as there are. Keeps the rest for the next chunk."""
        sound = self._rest + chunk
        whole = len(sound) // (2 * RATIO) * 2 * RATIO
        self._rest = sound[whole:]
        if not whole:
            return b""
        samples = np.frombuffer(sound[:whole], "<i2").astype(np.float64)
        return np.clip(np.rint(self._decimator.frame(samples)), -32768, 32767).astype("<i2").tobytes()


def _feeding(on_chunk: OnChunk) -> Generator[None, bytes, None]:
    """miniaudio's callback, a generator that must have come to its first yield before the device starts.

    An exception in it would end the capture silently.
    """
    narrow = Narrow()
    while True:
        chunk = yield
        on_chunk(narrow(bytes(chunk)), time.monotonic())


class _Miniaudio:
    def __init__(self, on_chunk: OnChunk, null_device: bool) -> None:
        import miniaudio

        backends = [miniaudio.Backend.NULL] if null_device else []
        try:
            self._device = miniaudio.CaptureDevice(
                miniaudio.SampleFormat.SIGNED16, 1, WIDE, buffersize_msec=CHUNK_MS, backends=backends
            )
        except miniaudio.MiniaudioError as error:
            raise NoSuchPart("no microphone was found") from error
        # With no sound system at all, the library silently falls back to a device that delivers silence.
        if str(getattr(self._device, "backend", "")).casefold() == "null" and not null_device:
            self._device.close()
            raise NoSuchPart("no microphone was found")
        generator = _feeding(on_chunk)
        # Without this first step the capture ends silently.
        next(generator)
        try:
            self._device.start(generator)
        except miniaudio.MiniaudioError as error:
            self._device.close()
            raise NoSuchPart("the microphone can't be started") from error

    def close(self) -> None:
        self._device.close()


class _Sounddevice:
    def __init__(self, on_chunk: OnChunk) -> None:
        import sounddevice

        try:
            self._stream = self._started(sounddevice, WIDE, on_chunk, Narrow())
        except (sounddevice.PortAudioError, ValueError):
            try:
                self._stream = self._started(sounddevice, RATE, on_chunk, bytes)
            except (sounddevice.PortAudioError, ValueError) as error:
                raise NoSuchPart("no microphone was found") from error

    @staticmethod
    def _started(sounddevice: Any, rate: int, on_chunk: OnChunk, narrow: Callable[[bytes], bytes]) -> Any:
        """A running stream at this rate. PortAudio doesn't convert: it refuses a rate that the device lacks."""

        def take(data: Any, _frames: int, _when: Any, _status: Any) -> None:
            on_chunk(narrow(bytes(data)), time.monotonic())

        stream = sounddevice.RawInputStream(rate, rate * CHUNK_MS // 1000, channels=1, dtype="int16", callback=take)
        stream.start()
        return stream

    def close(self) -> None:
        self._stream.close(ignore_errors=True)


def open_capture(on_chunk: OnChunk, null_device: bool = False) -> Any:
    """Starts a capture, which has `close()`. Its thread calls `on_chunk(bytes, monotonic seconds)`.

    null_device: the library's silent device, for tests. Raises NoSuchPart.
    """
    hush()
    try:
        return _Miniaudio(on_chunk, null_device)
    except ImportError:
        pass
    try:
        return _Sounddevice(on_chunk)
    except (ImportError, OSError) as error:
        raise NoSuchPart("neither miniaudio nor sounddevice with PortAudio is installed") from error


class Microphone:
    """Keeps a capture open. It has no thread: its owner must call `tick` often.

    on_chunk: see `open_capture`. tell(state, text): called with `DeviceState.WORKS` or `LOST`, only when that changes.
    opener: for tests.
    """

    def __init__(self, on_chunk: OnChunk, tell: TellDevice, opener: Callable[[OnChunk], Any] = open_capture) -> None:
        self._on_chunk, self._tell, self._opener = on_chunk, tell, opener
        self._capture: Any = None
        self._state: DeviceState | None = None
        self._failures = 0
        self._next_try = 0.0
        self._last_chunk = 0.0
        self._last_sound = 0.0
        self._heard_any = False
        self._ticked = 0.0

    def _take(self, chunk: bytes, at: float) -> None:
        self._last_chunk = max(self._last_chunk, at)
        if any(chunk):
            self._last_sound = self._last_chunk
        self._heard_any = True
        self._on_chunk(chunk, at)

    def tick(self, now: float) -> None:
        """Checks the capture; call it at least every `SILENT_AFTER_S` / 2. now: monotonic seconds."""
        if self._capture is not None and now - self._ticked > SILENT_AFTER_S:
            # A long decoding in this process, or a process that was stopped, has held up the chunks as well.
            self._last_chunk = max(self._last_chunk, now)
            self._last_sound = max(self._last_sound, now)
        self._ticked = now
        if self._capture is None:
            if now >= self._next_try:
                self._open(now)
            return
        patience = SILENT_AFTER_S if self._heard_any else FIRST_CHUNK_S
        if now - self._last_chunk > patience:
            self._lost(now, "the microphone delivers no more sound")
        elif self._heard_any and now - self._last_sound > MUTED_AFTER_S:
            text = "Voice is off: the microphone delivers only silence. Is it muted? Go on by pedal or keys."
            self._say(DeviceState.LOST, text)
        elif self._heard_any and self._state != DeviceState.WORKS:
            self._failures = 0
            self._say(DeviceState.WORKS, "The microphone works.")

    def _open(self, now: float) -> None:
        self._heard_any, self._last_chunk, self._last_sound = False, now, now
        try:
            self._capture = self._opener(self._take)
        except NoSuchPart as error:
            self._lost(now, str(error))

    def _lost(self, now: float, why: str) -> None:
        self.close()
        self._next_try = now + BACK_OFF_S[min(self._failures, len(BACK_OFF_S) - 1)]
        self._failures += 1
        self._say(DeviceState.LOST, f"Voice is off: {why}. Go on by pedal or keys.")

    def _say(self, state: DeviceState, text: str) -> None:
        if state != self._state:
            self._state = state
            self._tell(state, text)

    def close(self) -> None:
        """Lets go of the device."""
        capture, self._capture = self._capture, None
        if capture is not None:
            capture.close()
