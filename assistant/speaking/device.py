"""The loudspeaker: a small contract, and the two libraries that can drive one.

`fill(frames)` gives int16 mono bytes; the device calls it from its own thread, every period.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Generator
from typing import Any, Protocol

from assistant.errors import NoSuchPart
from assistant.hearing.alsa import hush

PERIOD_MS = 10
Fill = Callable[[int], bytes]


class Device(Protocol):
    """An output that can be opened, closed and opened again."""

    def open(self, rate: int, fill: Fill) -> str:
        """Start playing what `fill` gives, mono at `rate`. Returns what was opened. Raises NoSuchPart."""

    def close(self) -> None:
        """Stop; harmless when not open."""


class MiniaudioDevice:
    """miniaudio's playback. allow_null: for tests; without it the null backend is refused. backends: None for all."""

    def __init__(self, allow_null: bool = False, backends: list[Any] | None = None):
        self._allow_null, self._backends = allow_null, backends
        self._device: Any = None

    def open(self, rate: int, fill: Fill) -> str:
        try:
            import miniaudio
        except ImportError as error:
            raise NoSuchPart("miniaudio is not installed; mend: pip install miniaudio") from error
        hush()
        try:
            # The library's own default period is 200 ms.
            device = miniaudio.PlaybackDevice(
                output_format=miniaudio.SampleFormat.SIGNED16,
                nchannels=1,
                sample_rate=rate,
                buffersize_msec=PERIOD_MS,
                backends=self._backends,
                app_name="kerfcall",
            )
        except miniaudio.MiniaudioError as error:
            raise NoSuchPart("none can be opened") from error
        self._device = device
        # With no sound system at all the library silently falls back on a device that plays to nobody.
        if device.backend.lower() == "null" and not self._allow_null:
            self.close()
            raise NoSuchPart("there is no loudspeaker, only the null device")
        try:
            device.start(_primed(fill))
        except miniaudio.MiniaudioError as error:
            self.close()
            raise NoSuchPart(f"the loudspeaker did not start ({error})") from error
        return f"{device.backend} through miniaudio"

    def close(self) -> None:
        device, self._device = self._device, None
        if device is not None:
            device.close()


def _primed(fill: Fill) -> Generator[bytes, int, None]:
    def forever() -> Generator[bytes, int, None]:
        frames = yield b""
        while True:
            frames = yield fill(frames)

    generator = forever()
    next(generator)
    return generator


class SounddeviceDevice:
    """PortAudio through sounddevice, where miniaudio has no wheel. name: a device's name, None for the default."""

    def __init__(self, name: str | None = None):
        self._name = name
        self._stream: Any = None

    def open(self, rate: int, fill: Fill) -> str:
        try:
            import sounddevice
        except (ImportError, OSError) as error:
            raise NoSuchPart(
                f"sounddevice did not load ({error}); mend: pip install sounddevice, on Linux the system "
                "package libportaudio2 as well"
            ) from error

        hush()

        def callback(out: Any, frames: int, _time: Any, _status: Any) -> None:
            out[:] = fill(frames)

        try:
            self._stream = sounddevice.RawOutputStream(
                samplerate=rate,
                blocksize=rate * PERIOD_MS // 1000,
                device=self._name,
                channels=1,
                dtype="int16",
                latency="low",
                callback=callback,
            )
            self._stream.start()
        except (sounddevice.PortAudioError, ValueError) as error:
            self.close()
            raise NoSuchPart("none can be opened") from error
        return f"{self._name or 'the default device'} through sounddevice"

    def close(self) -> None:
        stream, self._stream = self._stream, None
        if stream is not None:
            import sounddevice

            with contextlib.suppress(sounddevice.PortAudioError):
                stream.abort()
                stream.close()


def default_device() -> Device:
    """miniaudio where it is installed, else sounddevice. Raises NoSuchPart when neither is there."""
    import importlib.util

    if importlib.util.find_spec("miniaudio"):
        return MiniaudioDevice()
    if importlib.util.find_spec("sounddevice"):
        return SounddeviceDevice()
    raise NoSuchPart("no library for a loudspeaker; mend: pip install miniaudio (or sounddevice)")
