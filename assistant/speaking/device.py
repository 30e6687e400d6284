"""The loudspeaker: a small contract, and the two libraries that can drive one.

The device calls `fill(frames)` from its own thread, once per period, for int16 mono bytes.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Generator, Sequence
from typing import Any, Protocol

from assistant.errors import NoSuchPart
from assistant.hearing.alsa import hush

PERIOD_MS = 10  # so a click is heard within two of them
Fill = Callable[[int], bytes]


class Device(Protocol):
    """An output that can be opened, closed and opened again.

    instead: why a different device from the one asked for was opened, a plain clause; "" if it was not.
    """

    instead: str

    def open(self, rate: int, fill: Fill) -> str:
        """Starts to play what `fill` gives, mono at `rate`. Returns what was opened. Raises NoSuchPart."""

    def close(self) -> None:
        """Stops. Does no harm if the device is not open."""


def number_of(wanted: str, names: Sequence[str]) -> int | None:
    """The index of the device meant: exactly this name, else the first name that contains it; None if none does."""
    folded, sought = [name.casefold() for name in names], wanted.casefold().strip()
    if sought in folded:
        return folded.index(sought)
    return next((n for n, name in enumerate(folded) if sought in name), None)


def not_there(wanted: str, names: Sequence[str]) -> str:
    """Why the default loudspeaker is used, a plain clause."""
    there = ", ".join(f'"{name}"' for name in names) or "none"
    return f'no loudspeaker is called "{wanted}", so the default one is used; there are: {there}'


class MiniaudioDevice:
    """miniaudio's playback.

    name: as in `plans.model.VoiceSettings.loudspeaker`. allow_null: for tests; otherwise the null backend is refused.
    backends: the backends to try; None for all.
    """

    def __init__(self, name: str = "", allow_null: bool = False, backends: list[Any] | None = None):
        self._name, self._allow_null, self._backends = name, allow_null, backends
        self._device: Any = None
        self.instead = ""

    def open(self, rate: int, fill: Fill) -> str:
        try:
            import miniaudio
        except ImportError as error:
            raise NoSuchPart("miniaudio is not installed; pip install miniaudio") from error
        hush()
        try:
            device_id, shown = self._wanted(miniaudio)
            # The period is short because the library's own default of 200 ms would delay every click and word.
            device = miniaudio.PlaybackDevice(
                output_format=miniaudio.SampleFormat.SIGNED16,
                nchannels=1,
                sample_rate=rate,
                buffersize_msec=PERIOD_MS,
                device_id=device_id,
                backends=self._backends,
                app_name="kerfcall",
            )
        except miniaudio.MiniaudioError as error:
            raise NoSuchPart("none can be opened") from error
        self._device = device
        # With no sound system at all, the library silently falls back to a device that plays to nobody.
        if device.backend.lower() == "null" and not self._allow_null:
            self.close()
            raise NoSuchPart("there is no loudspeaker, only the null device")
        try:
            device.start(_primed(fill))
        except miniaudio.MiniaudioError as error:
            self.close()
            raise NoSuchPart(f"the loudspeaker did not start ({error})") from error
        return f"{shown}{device.backend} through miniaudio"

    def _wanted(self, miniaudio: Any) -> tuple[Any, str]:
        """The device asked for and its name to show; None and "" for the default device."""
        self.instead = ""
        if not self._name:
            return None, ""
        there = miniaudio.Devices(self._backends).get_playbacks()
        names = [str(one["name"]) for one in there]
        number = number_of(self._name, names)
        if number is None:
            self.instead = not_there(self._name, names)
            return None, ""
        return there[number]["id"], f"{names[number]}, "

    def close(self) -> None:
        device, self._device = self._device, None
        if device is not None:
            device.close()


def _primed(fill: Fill) -> Generator[bytes, int, None]:
    """The generator that miniaudio plays from, already at its first yield. It gets the number of frames wanted."""

    def forever() -> Generator[bytes, int, None]:
        frames = yield b""
        # It never ends: after the end of its generator the device would go on, playing silence.
        while True:
            frames = yield fill(frames)

    generator = forever()
    next(generator)
    return generator


class SounddeviceDevice:
    """PortAudio through sounddevice, for systems where miniaudio has no wheel. name: as in `MiniaudioDevice`."""

    def __init__(self, name: str = ""):
        self._name = name
        self._stream: Any = None
        self.instead = ""

    def open(self, rate: int, fill: Fill) -> str:
        try:
            import sounddevice
        except (ImportError, OSError) as error:
            raise NoSuchPart(
                f"sounddevice did not load ({error}); pip install sounddevice, and on Linux also the system package "
                "libportaudio2"
            ) from error

        hush()

        def callback(out: Any, frames: int, _time: Any, _status: Any) -> None:
            # An exception here would stop the stream for good; `fill` never raises.
            out[:] = fill(frames)

        try:
            number, shown = self._wanted(sounddevice)
            self._stream = sounddevice.RawOutputStream(
                samplerate=rate,
                blocksize=rate * PERIOD_MS // 1000,
                device=number,
                channels=1,
                dtype="int16",
                latency="low",
                callback=callback,
            )
            self._stream.start()
        except (sounddevice.PortAudioError, ValueError) as error:
            self.close()
            raise NoSuchPart("none can be opened") from error
        return f"{shown or 'the default device'} through sounddevice"

    def _wanted(self, sounddevice: Any) -> tuple[int | None, str]:
        self.instead = ""
        if not self._name:
            return None, ""
        # By name at every opening, since a device's number can change.
        there = [
            (n, str(one["name"])) for n, one in enumerate(sounddevice.query_devices()) if one["max_output_channels"]
        ]
        names = [name for _, name in there]
        number = number_of(self._name, names)
        if number is None:
            self.instead = not_there(self._name, names)
            return None, ""
        return there[number]

    def close(self) -> None:
        stream, self._stream = self._stream, None
        if stream is not None:
            import sounddevice

            with contextlib.suppress(sounddevice.PortAudioError):
                stream.abort()
                stream.close()


def default_device(name: str = "") -> Device:
    """The loudspeaker of this name ("": the default), through miniaudio if that is installed, else sounddevice.

    Raises NoSuchPart when neither is installed.
    """
    import importlib.util

    # miniaudio's wheel needs nothing else; sounddevice's for Linux lacks PortAudio itself.
    if importlib.util.find_spec("miniaudio"):
        return MiniaudioDevice(name)
    if importlib.util.find_spec("sounddevice"):
        return SounddeviceDevice(name)
    raise NoSuchPart("no library for a loudspeaker; pip install miniaudio (or sounddevice)")
