"""Mixes announcements in order and clicks over them, and cuts off without a crack: samples only, no clock or thread."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from assistant.session.events import NOTE
from assistant.session.kinds import Tone

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from assistant.speaking.engine import Samples

FADE_S = 0.005  # an announcement that is cut off fades for so long, so that it doesn't crack
CLICK_S = 0.012
CLICK_HZ = 1800
CLICK_PEAK = 12000
# While a driven carriage moves, once a second: lower than the click, so that it is no press.
TICK_S = 0.006
TICK_HZ = 900
TICK_PEAK = 4000
# Two notes, before an announcement that asks for an answer.
NOTE_S = 0.09
NOTES_HZ = (440, 587)
NOTE_PEAK = 3000
# A driven carriage has arrived: one note, longer and higher than any other, that rings out.
ARRIVED_S = 0.4
ARRIVED_HZ = 880
ARRIVED_RISE_S = 0.01
# When speech led to nothing: two lower notes, and both the same, so that nobody mistakes them for those above.
LOW_NOTE_S, LOW_PAUSE_S = 0.07, 0.04
LOW_HZ = 294
# When speech is made louder, peaks above KNEE bend towards TOP: it never clips, and below KNEE it is exact.
KNEE, TOP = 22000, 31000


@dataclass(slots=True, eq=False)
class QueueSlot:
    """One announcement's place in the queue. samples: None until rendered.

    tone: the rest of the notes before its words. tone_begun: some of them have sounded.
    """

    id: str
    samples: Samples | None = None
    position: int = 0
    started: bool = False
    tone: Samples | None = None
    tone_begun: bool = False


class Happening(NamedTuple):
    """An announcement began or ended `offset` frames into the piece just mixed."""

    offset: int
    kind: Literal["started", "ended"]
    id: str


def click_sound(rate: int) -> Samples:
    """A short decaying tone."""
    return _decaying(rate, CLICK_S, CLICK_HZ, CLICK_PEAK)


def tick_sound(rate: int) -> Samples:
    """A shorter, lower and softer one."""
    return _decaying(rate, TICK_S, TICK_HZ, TICK_PEAK)


def _decaying(rate: int, seconds: float, hz: int, peak: int) -> Samples:
    import numpy as np

    at = np.arange(round(seconds * rate)) / rate
    # e⁻⁵ is under 1 %: quiet enough at its end not to crack.
    tone = np.sin(2 * math.pi * hz * at) * np.exp(-at * 5 / seconds)
    return np.rint(tone * peak).astype(np.int16)


def arrived_sound(rate: int) -> Samples:
    """One note that begins at once and rings out."""
    import numpy as np

    at = np.arange(round(ARRIVED_S * rate)) / rate
    rises = np.minimum(at / ARRIVED_RISE_S, 1)
    note = np.sin(2 * math.pi * ARRIVED_HZ * at) * rises * (1 - at / ARRIVED_S) ** 2
    return np.rint(note * NOTE_PEAK).astype(np.int16)


def tone_sound(rate: int) -> Samples:
    """Two notes, a fourth apart, that swell and fade (sine squared). They are softer and lower than the click."""
    import numpy as np

    at = np.arange(round(NOTE_S * rate)) / rate
    notes = [np.sin(2 * math.pi * hz * at) * np.sin(math.pi * at / NOTE_S) ** 2 for hz in NOTES_HZ]
    return np.rint(np.concatenate(notes) * NOTE_PEAK).astype(np.int16)


def low_sound(rate: int) -> Samples:
    """The same short low note twice. It swells and fades as the notes of `tone_sound` do."""
    import numpy as np

    at = np.arange(round(LOW_NOTE_S * rate)) / rate
    note = np.sin(2 * math.pi * LOW_HZ * at) * np.sin(math.pi * at / LOW_NOTE_S) ** 2
    twice = np.concatenate([note, np.zeros(round(LOW_PAUSE_S * rate)), note])
    return np.rint(twice * NOTE_PEAK).astype(np.int16)


def limited(samples: NDArray[np.float64]) -> NDArray[np.float64]:
    """The samples with their peaks bent to stay under `TOP`."""
    import numpy as np

    size = np.abs(samples)
    # tanh starts with a slope of 1, so there is no corner at KNEE, and never gets as far as TOP.
    bent = KNEE + (TOP - KNEE) * np.tanh((size - KNEE) / (TOP - KNEE))
    return np.where(size > KNEE, np.copysign(bent, samples), samples)


class Mixer:
    """What sounds and what waits, at `rate` frames per second. Not thread-safe: its owner takes a lock."""

    def __init__(self, rate: int):
        self.rate = rate
        self._queue: deque[QueueSlot] = deque()
        self._over: list[Samples] = []
        self._click = click_sound(rate)
        self._tick = tick_sound(rate)
        self._tones = {Tone.ASKS: tone_sound(rate), Tone.ARRIVED: arrived_sound(rate)}
        self._low = low_sound(rate)
        self._gain = self._gain_before = 1.0

    @property
    def busy(self) -> bool:
        """Whether anything sounds, fades or waits."""
        return bool(self._queue or self._over)

    def holds(self, slot: QueueSlot) -> bool:
        return slot in self._queue

    def reserve(self, id: str, tone: Tone | None = None) -> QueueSlot:
        """Takes the next place in the queue. Nothing after it sounds before it has been filled or dropped."""
        slot = QueueSlot(id, tone=self._tones[tone] if tone else None)
        self._queue.append(slot)
        return slot

    def note(self) -> None:
        """Plays two low notes from the next frame on, with the id `NOTE`, unless an announcement sounds or waits."""
        if not self._queue:
            self._queue.append(QueueSlot(NOTE, self._low))

    def drop(self, slot: QueueSlot) -> bool:
        """Removes an announcement that could not be rendered. False if it was no longer in the queue."""
        if slot not in self._queue:
            return False
        self._queue.remove(slot)
        return True

    def cut(self) -> list[str]:
        """Fades out what sounds, within 5 ms, and drops what waits. Returns their ids, in order."""
        ids = [slot.id for slot in self._queue]
        head = self._queue[0] if self._queue else None
        if head and head.started and head.samples is not None:
            self._fade(head.samples[head.position :])
        elif head and head.tone is not None and head.tone_begun:
            self._fade(head.tone)
        self._queue.clear()
        return ids

    def _fade(self, rest: Samples) -> None:
        import numpy as np

        frames = min(round(FADE_S * self.rate), len(rest))
        ramp = np.linspace(1, 0, frames, endpoint=False)
        faded = rest[:frames] * ramp
        # As loud as it sounded last: a new loudness would begin the fade with a jump.
        louder = self._gain_before
        self._over.append((faded if louder == 1 else limited(faded * louder)).astype(np.int16))

    def set_loudness(self, loudness_db: float) -> None:
        """Sets the gain of announcements from the next frame on, dB. Clicks keep their loudness."""
        self._gain = 10 ** (loudness_db / 20)

    def _louder(self, piece: Samples) -> Samples:
        """The piece at the loudness set. A change is spread over the whole piece, so that it doesn't crack."""
        import numpy as np

        if not len(piece):
            return piece
        before, self._gain_before = self._gain_before, self._gain
        if before == self._gain == 1:
            return piece
        return np.rint(limited(piece * np.linspace(before, self._gain, len(piece)))).astype(np.int16)

    def click(self) -> None:
        """Plays a click from the next frame on, over any announcement."""
        self._over.append(self._click)

    def tick(self) -> None:
        """Plays a tick from the next frame on, over any announcement."""
        self._over.append(self._tick)

    def silence(self) -> None:
        """Forgets clicks and fades, because no device will play them."""
        self._over.clear()

    def frames_left(self) -> int | None:
        """The frames until the first announcement ends or, during its notes, its words begin; None without one."""
        head = self._queue[0] if self._queue else None
        if head is None or head.samples is None:
            return None
        return len(head.samples) - head.position if head.tone is None else len(head.tone)

    def mix(self, frames: int) -> tuple[Samples, list[Happening]]:
        """Mixes the next `frames` frames; returns them and what began and ended in them. 0 only begins what is due."""
        import numpy as np

        # 32 bits, so that a click over loud speech is clipped at the end and doesn't wrap round.
        out = np.zeros(frames, np.int32)
        happened = self._mix_announcements(out)
        left = []
        for sound in self._over:
            n = min(frames, len(sound))
            out[:n] += sound[:n]
            if n < len(sound):
                left.append(sound[n:])
        self._over = left
        return np.clip(out, -32768, 32767).astype(np.int16), happened

    def _mix_announcements(self, out: NDArray[np.int32]) -> list[Happening]:
        """Adds announcements to `out`, each after its notes, until it is full or one is not yet rendered."""
        happened: list[Happening] = []
        at = 0
        while self._queue and self._queue[0].samples is not None:
            slot = self._queue[0]
            assert slot.samples is not None
            if slot.tone is not None:
                piece = slot.tone[: len(out) - at]
                out[at : at + len(piece)] += self._louder(piece)
                at += len(piece)
                slot.tone_begun = slot.tone_begun or len(piece) > 0
                slot.tone = slot.tone[len(piece) :] if len(piece) < len(slot.tone) else None
                if slot.tone is not None:
                    break
            if not slot.started:
                slot.started = True
                happened.append(Happening(at, "started", slot.id))
            piece = slot.samples[slot.position : slot.position + len(out) - at]
            out[at : at + len(piece)] += self._louder(piece)
            at += len(piece)
            slot.position += len(piece)
            if slot.position < len(slot.samples):
                break
            self._queue.popleft()
            happened.append(Happening(at, "ended", slot.id))
        return happened
