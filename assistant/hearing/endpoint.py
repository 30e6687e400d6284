"""Where an utterance begins and ends: the speech band's level against a running noise floor.

Frames of 10 ms. The floor is a low percentile of the last seconds, so a saw that is switched on
becomes the floor within them; a hard maximum ends what never falls. The onset of an utterance is
where its first sound was, not where it was noticed.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from assistant.hearing.contract import RATE

FRAME = RATE // 100  # samples
FRAME_BYTES = 2 * FRAME
FRAME_S = 0.01


@dataclass(frozen=True, slots=True)
class Limits:
    """Times in seconds, levels in dB (full scale = 0). Times: hearing study, step 2."""

    pre_roll: float = 0.3
    hangover: float = 0.35
    ahead: float = 0.2  # of quiet after which the piece may be decoded before its end is sure
    shortest: float = 0.3
    longest: float = 5.0
    rise: float = 9.0  # over the floor, to begin
    fall: float = 5.0  # over the floor, to end
    depth: float = 35.0  # under the utterance's peak, to end
    faintest: float = -55.0  # nothing below this begins
    lowest_floor: float = -75.0
    memory: float = 4.0  # over which the floor is taken
    percentile: float = 10.0
    start_floor: float = -50.0  # highest floor believed in the first half second
    smooth: float = 0.05


@dataclass(frozen=True, slots=True)
class Utterance:
    """pcm16k: the piece with its pre-roll and tail. first, end: samples since the stream began, of the first
    sound and of the last one. reason: "" to be decoded, else why it was dropped, a plain clause. knock: it was
    too short for speech."""

    pcm16k: bytes
    first: int
    end: int
    reason: str = ""
    knock: bool = False


def band_level(frame: bytes) -> float:
    """dB of one 10 ms frame between 250 and 4,000 Hz, re a full-scale square wave; -100 for silence."""
    samples = np.frombuffer(frame, dtype="<i2").astype(np.float32) / 32768
    power = np.abs(np.fft.rfft(samples * _WINDOW, 256)[4:64]) ** 2
    return float(10 * np.log10(max(float(power.sum()) * 2 / (256 * _WINDOW_POWER), 1e-10)))


_WINDOW = np.hanning(FRAME).astype(np.float32)
_WINDOW_POWER = float((_WINDOW**2).sum())


class NoiseFloor:
    """The running floor, dB."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._levels: deque[float] = deque(maxlen=round(limits.memory / FRAME_S))
        self._seen = 0
        self.level = limits.start_floor

    def add(self, level: float) -> None:
        """One more frame; the floor is worked out anew every 0.1 s."""
        self._levels.append(level)
        self._seen += 1
        if self._seen % 10 == 0 or self._seen < 10:
            floor = float(np.percentile(np.fromiter(self._levels, np.float32), self._limits.percentile))
            if self._seen < 50:
                floor = min(floor, self._limits.start_floor)
            self.level = max(floor, self._limits.lowest_floor)


class Endpointer:
    """Cuts a stream of frames into utterances. One per stream; not thread-safe."""

    def __init__(self, limits: Limits | None = None) -> None:
        self.limits = limits or Limits()
        self.floor = NoiseFloor(self.limits)
        self._recent: deque[tuple[bytes, float]] = deque(maxlen=self._frames(self.limits.pre_roll * 2))
        self._smooth: deque[float] = deque(maxlen=self._frames(self.limits.smooth))
        self._frames_seen = 0
        self._reset()

    @staticmethod
    def _frames(seconds: float) -> int:
        return round(seconds / FRAME_S)

    def _reset(self) -> None:
        self._piece: list[bytes] = []
        self._first = self._last = 0
        self._peak = -100.0
        self._speaking = False
        self._overlong = False

    @property
    def active(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return self._speaking

    @property
    def first(self) -> int:
        """Sample of the first sound of the utterance that is going on."""
        return self._first * FRAME

    def drop(self) -> None:
        """Forget the utterance going on and what was just heard (it was ours)."""
        self._reset()
        self._recent.clear()
        self._smooth.clear()

    def skip(self) -> None:
        """A frame that must not be listened to has gone by."""
        self._frames_seen += 1

    def frame(self, frame: bytes) -> Utterance | None:
        """Take one frame of `FRAME_BYTES` bytes; an utterance when one ends with it."""
        level = band_level(frame)
        self.floor.add(level)
        self._smooth.append(level)
        self._frames_seen += 1
        mean = sum(self._smooth) / len(self._smooth)
        if not self._speaking:
            self._recent.append((frame, level))
            if mean > max(self.floor.level + self.limits.rise, self.limits.faintest):
                self._begin()
            return None
        return self._go_on(frame, mean)

    def _end_level(self) -> float:
        return max(self.floor.level + self.limits.fall, self._peak - self.limits.depth)

    def _begin(self) -> None:
        """Back over the sounding frames to the first sound, then the pre-roll before it."""
        frames = list(self._recent)
        sounding = 0
        for _, level in reversed(frames):
            if level < self.floor.level + self.limits.fall:
                break
            sounding += 1
        sounding = min(max(sounding, 1), self._frames(self.limits.pre_roll))
        self._speaking = True
        self._last = self._frames_seen
        self._first = self._frames_seen - sounding
        self._piece = [frame for frame, _ in frames[-(sounding + self._frames(self.limits.pre_roll)) :]]
        self._recent.clear()

    def _go_on(self, frame: bytes, mean: float) -> Utterance | None:
        self._peak = max(self._peak, mean)
        if mean > self._end_level():
            self._last = self._frames_seen
        sounding = (self._last - self._first) * FRAME_S
        if sounding > self.limits.longest:
            self._overlong = True
            self._piece.clear()
        else:
            self._piece.append(frame)
        if self._frames_seen - self._last < self._frames(self.limits.hangover):
            return None
        return self._finish(sounding)

    def _finish(self, sounding: float) -> Utterance:
        reason, knock = "", False
        if self._overlong:
            reason = f"sound went on for more than {self.limits.longest:g} s"
        elif sounding < self.limits.shortest:
            knock = True
            reason = f"a sound of less than {self.limits.shortest:g} s"
        pcm = b"" if reason else b"".join(self._piece)
        done = Utterance(pcm, self._first * FRAME, self._last * FRAME, reason, knock)
        self._reset()
        return done

    def ahead(self) -> Utterance | None:
        """The utterance as it stands, at the one frame at which its quiet has lasted `Limits.ahead`.

        It is the whole one if the utterance then ends with the same `end`. None at any other frame, and for what
        would not be decoded.
        """
        sounding = (self._last - self._first) * FRAME_S
        quiet = self._frames_seen - self._last == self._frames(self.limits.ahead)
        if not (self._speaking and quiet) or self._overlong or sounding < self.limits.shortest:
            return None
        return Utterance(b"".join(self._piece), self._first * FRAME, self._last * FRAME)

    def flush(self) -> Utterance | None:
        """The stream has ended: the utterance going on, as far as it came."""
        return self._finish((self._last - self._first) * FRAME_S) if self._speaking else None
