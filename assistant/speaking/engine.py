"""The contract of a voice, text in and samples out, and the little that every voice needs done to both."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from assistant.errors import KerfcallError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Samples = NDArray[np.int16]

LONGEST_TEXT = 2000  # minutes of speech; no announcement comes near it
# Silence after each announcement; without it, two in a row run together.
BREATH_S = 0.1


class VoiceFailed(KerfcallError):
    """A voice could not render a text. The message says why."""


@dataclass(frozen=True, slots=True, eq=False)
class Pcm:
    """Rendered speech: int16 mono samples at `rate` frames per second."""

    samples: Samples
    rate: int

    @property
    def frames(self) -> int:
        return len(self.samples)

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate


def never() -> bool:
    """Always False: for a render that nobody will cancel."""
    return False


class Engine(Protocol):
    """A voice. Only one thread at a time calls it.

    name: for the cache and the screen. voice: its own name for the voice. words_a_minute: the speech rate
    asked for. rate: frames per second of what it renders.
    """

    name: str
    voice: str
    words_a_minute: int
    rate: int

    def render(self, text: str, cancelled: Callable[[], bool] = never) -> Pcm | None:
        """Renders `text`; returns None if `cancelled` became true on the way. Raises VoiceFailed."""

    def set_rate(self, words_a_minute: int) -> None:
        """Renders at this rate from the next text on. Call it on the thread that renders."""

    def close(self) -> None:
        """Releases what the voice holds. A closed voice renders no more."""


def speakable(text: str) -> str:
    """`text` without control characters (a NUL would end it early), with single blanks, 2000 characters at most."""
    kept = (" " if unicodedata.category(character).startswith("C") else character for character in text)
    return " ".join("".join(kept).split())[:LONGEST_TEXT]


def is_words(text: str) -> bool:
    """Whether the text makes any sound: punctuation alone makes none."""
    return any(character.isalnum() for character in text)


def nothing(rate: int) -> Pcm:
    """The rendering of an empty text."""
    import numpy as np

    return Pcm(np.zeros(0, np.int16), rate)


def at_rate(pcm: Pcm, rate: int) -> Pcm:
    """The same speech at another rate, by linear interpolation: good enough for a voice, and no filter rings."""
    if pcm.rate == rate:
        return pcm
    if not pcm.frames:
        return nothing(rate)
    import numpy as np

    frames = round(pcm.frames * rate / pcm.rate)
    where = np.arange(frames) * (pcm.rate / rate)
    there = np.interp(where, np.arange(pcm.frames), pcm.samples)
    return Pcm(np.rint(there).astype(np.int16), rate)


def trimmed(pcm: Pcm, quieter_than: int = 64) -> Pcm:
    """Cuts the speech to its sound, from the first (so that it is heard at once) to a breath after the last."""
    import numpy as np

    loud = np.flatnonzero(np.abs(pcm.samples.astype(np.int32)) >= quieter_than)
    if not len(loud):
        return nothing(pcm.rate)
    breath = np.zeros(round(BREATH_S * pcm.rate), np.int16)
    return Pcm(np.concatenate([pcm.samples[loud[0] : loud[-1] + 1], breath]), pcm.rate)
