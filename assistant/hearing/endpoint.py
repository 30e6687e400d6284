"""Finds where an utterance begins and ends, in frames of 10 ms.

A detector (`detect`) decides what counts as sounding. A hard maximum ends a sound that never stops. An utterance's
onset is its first sound, not the moment when it was noticed.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from assistant.hearing.contract import RATE
from assistant.hearing.detect import ByLevel, Detector

FRAME = RATE // 100  # samples
FRAME_BYTES = 2 * FRAME
FRAME_S = 0.01


def check_frame(pcm: bytes) -> None:
    """Raises ValueError unless `pcm` is one whole frame."""
    if len(pcm) != FRAME_BYTES:
        raise ValueError(f"a frame has {FRAME_BYTES} bytes, not {len(pcm)}")


@dataclass(frozen=True, slots=True)
class Limits:
    """Times in seconds. Source: hearing study, step 2."""

    pre_roll: float = 0.3  # kept from before the first sound
    hangover: float = 0.35  # of quiet that ends an utterance
    waiting: float = 0.85  # of quiet that ends it where more is expected: see `Endpointer.wait`
    ahead: float = 0.06  # of quiet after which the piece can be decoded, before its end is certain
    shortest: float = 0.3  # a shorter sound is a knock
    longest: float = 5.0  # a longer sound is no phrase


@dataclass(frozen=True, slots=True)
class Utterance:
    """A piece of sound between two silences.

    pcm16k: the piece with its pre-roll and tail. first, end: the samples of its first and last sound, counted from the
    stream's start. reason: why it was dropped, a plain clause; "" if it must be decoded. knock: too short for speech.
    """

    pcm16k: bytes
    first: int
    end: int
    reason: str = ""
    knock: bool = False


class Endpointer:
    """Cuts a stream of frames into utterances. Each stream has its own; not thread-safe."""

    def __init__(self, limits: Limits | None = None, detector: Detector | None = None) -> None:
        self.limits = limits or Limits()
        self.detector = detector or ByLevel()
        self._recent: deque[tuple[bytes, bool]] = deque(maxlen=self._frames(self.limits.pre_roll * 2))
        self._frames_seen = 0
        self._reset()

    @staticmethod
    def _frames(seconds: float) -> int:
        return round(seconds / FRAME_S)

    def _reset(self) -> None:
        self._piece: list[bytes] = []
        self._first = self._last = 0
        self._speaking = False
        self._overlong = False
        self._hangover = self.limits.hangover

    @property
    def active(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return self._speaking

    @property
    def first(self) -> int:
        """The sample of the current utterance's first sound."""
        return self._first * FRAME

    def drop(self) -> None:
        """Forgets the current utterance and what was just heard, because it was our own voice."""
        self._reset()
        self._recent.clear()
        self.detector.forget()

    def skip(self) -> None:
        """Counts a frame that must not be listened to."""
        self._frames_seen += 1

    def frame(self, frame: bytes, speech: float | None = None) -> Utterance | None:
        """Takes one frame of `FRAME_BYTES` bytes; returns an utterance if one ends with it.

        speech: its probability of being speech, 0 to 1, if the noise suppression estimates it.
        """
        self.detector.add(frame, speech)
        self._frames_seen += 1
        if self._speaking:
            return self._go_on(frame)
        self._recent.append((frame, self.detector.sounding))
        if self.detector.begins:
            self._begin()
        return None

    def _begin(self) -> None:
        """Begins an utterance: goes back over the sounding frames to the first sound, and adds the pre-roll."""
        frames = list(self._recent)
        sounding = 0
        for _, sounded in reversed(frames):
            if not sounded:
                break
            sounding += 1
        sounding = min(max(sounding, 1), self._frames(self.limits.pre_roll))
        self._speaking = True
        self._last = self._frames_seen
        self._first = self._frames_seen - sounding
        self._piece = [frame for frame, _ in frames[-(sounding + self._frames(self.limits.pre_roll)) :]]
        self._recent.clear()
        self.detector.begun()

    def _go_on(self, frame: bytes) -> Utterance | None:
        if self.detector.goes_on:
            self._last = self._frames_seen
            self._hangover = self.limits.hangover
        sounding = (self._last - self._first) * FRAME_S
        if sounding > self.limits.longest:
            self._overlong = True
            self._piece.clear()
        else:
            self._piece.append(frame)
        if self._frames_seen - self._last < self._frames(self._hangover):
            return None
        return self._finish(sounding)

    def _finish(self, sounding: float) -> Utterance:
        reason, knock = "", False
        if self._overlong:
            reason = f"the sound went on for more than {self.limits.longest:g} s"
        elif sounding < self.limits.shortest:
            knock = True
            reason = f"the sound was shorter than {self.limits.shortest:g} s"
        pcm = b"" if reason else b"".join(self._piece)
        done = Utterance(pcm, self._first * FRAME, self._last * FRAME, reason, knock)
        self._reset()
        return done

    def ahead(self) -> Utterance | None:
        """The current utterance so far, at the one frame when its quiet has lasted `Limits.ahead`.

        If the utterance then ends with the same `end`, this was all of it. None at any other frame, and for a sound
        that would not be decoded.
        """
        sounding = (self._last - self._first) * FRAME_S
        quiet = self._frames_seen - self._last == self._frames(self.limits.ahead)
        if not (self._speaking and quiet) or self._overlong or sounding < self.limits.shortest:
            return None
        return Utterance(b"".join(self._piece), self._first * FRAME, self._last * FRAME)

    @property
    def ending(self) -> bool:
        """Whether the utterance ends with the next frame, if that is quiet too."""
        quiet = self._frames_seen - self._last
        return self._speaking and not self._overlong and quiet == self._frames(self._hangover) - 1

    def wait(self) -> None:
        """Ends the utterance only after `Limits.waiting` of quiet, because more is expected."""
        self._hangover = self.limits.waiting

    def flush(self) -> Utterance | None:
        """Ends the stream; returns the current utterance, as far as it has come."""
        return self._finish((self._last - self._first) * FRAME_S) if self._speaking else None
