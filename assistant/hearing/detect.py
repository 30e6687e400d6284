"""Decides what is sounding, by the speech band's level over a running noise floor or by a probability of speech.

When the saw is switched on, it becomes the floor within seconds. If the noise suppression estimates how likely speech
is (hearing study, step 2), that is the better guide: a dropped board is loud too.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from assistant.hearing.contract import RATE

# An ordinary voice activity detector is no use here: in a saw's noise WebRTC's stays "in speech" for ever, from a
# signal-to-noise ratio of 5 to 10 dB down.
FRAME = RATE // 100
FRAME_S = 0.01


class Detector(Protocol):
    """Gets every frame that is listened to, in order, by `add`, and judges the last one.

    begins: an utterance begins with the last frame. sounding: the last frame by itself sounded.
    goes_on: the current utterance still sounds.
    """

    @property
    def begins(self) -> bool: ...

    @property
    def sounding(self) -> bool: ...

    @property
    def goes_on(self) -> bool: ...

    def add(self, frame: bytes, speech: float | None) -> None:
        """Takes the next frame: 10 ms, 16 kHz, 16 bit. speech: its probability of being speech, 0 to 1, or None."""

    def begun(self) -> None:
        """Takes note that an utterance has begun with the last frame."""

    def forget(self) -> None:
        """Forgets what was just heard."""


@dataclass(frozen=True, slots=True)
class LevelLimits:
    """Limits of `ByLevel`, in dB (full scale = 0) and seconds."""

    rise: float = 9.0  # over the floor, to begin
    fall: float = 5.0  # over the floor, to end
    depth: float = 35.0  # under the utterance's peak, to end
    faintest: float = -55.0  # nothing below this begins an utterance
    lowest_floor: float = -75.0
    memory: float = 4.0  # how far back the floor looks
    percentile: float = 10.0  # of the levels in that time
    start_floor: float = -50.0  # the highest floor believed in the first half second
    smooth: float = 0.05  # over which a frame's level is averaged


def band_level(frame: bytes) -> float:
    """The level of one 10 ms frame between 250 and 4,000 Hz, dB re a full-scale square wave; -100 for silence."""
    samples = np.frombuffer(frame, dtype="<i2").astype(np.float32) / 32768
    # Bins of 62.5 Hz: 4 to 63 are the band. Below, twice its power, for the negative frequencies (Parseval).
    power = np.abs(np.fft.rfft(samples * _WINDOW, 256)[4:64]) ** 2
    return float(10 * np.log10(max(float(power.sum()) * 2 / (256 * _WINDOW_POWER), 1e-10)))


_WINDOW = np.hanning(FRAME).astype(np.float32)
_WINDOW_POWER = float((_WINDOW**2).sum())


class NoiseFloor:
    """The running floor, dB: a low percentile of the last seconds' levels."""

    def __init__(self, limits: LevelLimits) -> None:
        self._limits = limits
        self._levels: deque[float] = deque(maxlen=round(limits.memory / FRAME_S))
        self._seen = 0
        self.level = limits.start_floor

    def add(self, level: float) -> None:
        """Takes one more frame's level. Updates the floor every 0.1 s."""
        self._levels.append(level)
        self._seen += 1
        if self._seen % 10 == 0 or self._seen < 10:
            floor = float(np.percentile(np.fromiter(self._levels, np.float32), self._limits.percentile))
            if self._seen < 50:
                floor = min(floor, self._limits.start_floor)
            self.level = max(floor, self._limits.lowest_floor)


class ByLevel:
    """Counts as sounding what rises above the noise floor."""

    def __init__(self, limits: LevelLimits | None = None) -> None:
        self.limits = limits or LevelLimits()
        self.floor = NoiseFloor(self.limits)
        self._smooth: deque[float] = deque(maxlen=round(self.limits.smooth / FRAME_S))
        self._level = self._mean = self._peak = -100.0

    def add(self, frame: bytes, speech: float | None) -> None:
        self._level = band_level(frame)
        self.floor.add(self._level)
        self._smooth.append(self._level)
        self._mean = sum(self._smooth) / len(self._smooth)
        self._peak = max(self._peak, self._mean)

    @property
    def begins(self) -> bool:
        return self._mean > max(self.floor.level + self.limits.rise, self.limits.faintest)

    @property
    def sounding(self) -> bool:
        return self._level >= self.floor.level + self.limits.fall

    @property
    def goes_on(self) -> bool:
        return self._mean > max(self.floor.level + self.limits.fall, self._peak - self.limits.depth)

    def begun(self) -> None:
        self._peak = -100.0

    def forget(self) -> None:
        self._smooth.clear()


@dataclass(frozen=True, slots=True)
class SpeechLimits:
    """Limits of the mean probability of speech over `frames` frames. Source: hearing study, step 2."""

    begin: float = 0.6
    end: float = 0.4
    frames: int = 7
    faintest: float = -60.0  # dB; nothing below this begins an utterance


class BySpeech:
    """Counts as sounding what the noise suppression takes for speech."""

    def __init__(self, limits: SpeechLimits | None = None) -> None:
        self.limits = limits or SpeechLimits()
        self._recent: deque[float] = deque(maxlen=self.limits.frames)
        self._level = -100.0
        self._mean = 0.0

    def add(self, frame: bytes, speech: float | None) -> None:
        self._recent.append(speech or 0.0)
        self._level = band_level(frame)
        self._mean = sum(self._recent) / self.limits.frames

    @property
    def begins(self) -> bool:
        return self._mean > self.limits.begin and self._level > self.limits.faintest

    @property
    def sounding(self) -> bool:
        return bool(self._recent) and self._recent[-1] > self.limits.end

    @property
    def goes_on(self) -> bool:
        return self._mean > self.limits.end

    def begun(self) -> None:
        """Nothing to keep."""

    def forget(self) -> None:
        self._recent.clear()
