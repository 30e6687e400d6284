"""Mixes several WAV files into one sound."""

from __future__ import annotations

import wave
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


def mix(rows: Sequence[Sequence[Path]], rate: int) -> bytes:
    """Mixes the files of each row, and puts the rows one after another. Returns mono int16 samples at `rate`.

    rows: mono, 16 bit WAV files of any rate. A sum over full scale is clipped.
    """
    import numpy as np

    pieces = []
    for row in rows:
        tracks = [_samples(path, rate) for path in row]
        mixed = np.zeros(max(len(track) for track in tracks), np.float32)
        for track in tracks:
            mixed[: len(track)] += track
        pieces.append(mixed)
    return (np.clip(np.concatenate(pieces), -1, 1) * 32767).astype("<i2").tobytes()


def _samples(path: Path, rate: int) -> NDArray[np.float32]:
    """A file's samples at `rate`, as floats, -1 to 1."""
    import numpy as np

    from assistant.hearing.wav import resample

    with wave.open(str(path), "rb") as wav:
        own_rate = wav.getframerate()
        raw = np.frombuffer(wav.readframes(wav.getnframes()), "<i2")
    return resample(raw.astype(np.float32) / 32768, own_rate, rate)
