"""Speech as cepstra: what the voice templates are made of and compared by.

Mel-frequency cepstral coefficients after Davis and Mermelstein (1980), their slopes after Furui (1986).
Frames stand where the recogniser's stand: one every 10 ms, the first at the piece's first sample.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from assistant.hearing.contract import RATE

FRAME = 160  # samples from one frame to the next: 10 ms
WINDOW = 400  # samples looked at: 25 ms
BINS = 512
FILTERS = 26
BAND_HZ = (180.0, 6_800.0)  # above the mains' hum and a motor's, below the model's own upper edge
CEPSTRA = 13
SLOPE = 2  # frames on each side that a slope is taken over
PRE_EMPHASIS = 0.97
SMOOTH = 3  # frames; noise swings from frame to frame, speech hardly does
QUIETEST_DB = 40.0  # under the loudest band of the piece; what is fainter counts as this


def mel(hertz: float) -> float:
    """The mel scale, O'Shaughnessy's formula: 2595 log10(1 + f/700)."""
    return 2595.0 * float(np.log10(1.0 + hertz / 700.0))


def hertz(mels: np.ndarray) -> np.ndarray:
    """The other way round."""
    return np.asarray(700.0 * (10.0 ** (mels / 2595.0) - 1.0))


@cache
def _filters() -> np.ndarray:
    """`FILTERS` triangles over the bins of the spectrum, evenly spaced in mels; each sums to 1."""
    edges = hertz(np.linspace(mel(BAND_HZ[0]), mel(BAND_HZ[1]), FILTERS + 2))
    at = np.arange(BINS // 2 + 1) * RATE / BINS
    low, middle, high = edges[:-2, None], edges[1:-1, None], edges[2:, None]
    shape = np.maximum(np.minimum((at - low) / (middle - low), (high - at) / (high - middle)), 0.0)
    return np.asarray((shape / shape.sum(axis=1, keepdims=True)).T, np.float32)


@cache
def _cosines() -> np.ndarray:
    """The orthonormal cosine transform's first `CEPSTRA` rows."""
    k, n = np.arange(CEPSTRA)[:, None], np.arange(FILTERS)[None, :]
    rows = np.sqrt(2.0 / FILTERS) * np.cos(np.pi * k * (2 * n + 1) / (2 * FILTERS))
    rows[0] /= np.sqrt(2.0)
    return np.asarray(rows.T, np.float32)


def product(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """The matrix product, in this thread alone.

    A library's own threads, waiting for one another on a busy machine, take six times as long over matrices of this
    size.
    """
    return np.asarray(np.einsum("ij,jk->ik", one, other, optimize=False))


def frames_in(pcm16k: bytes) -> int:
    """How many whole frames of `FRAME` samples the piece has."""
    return len(pcm16k) // 2 // FRAME


def band_powers(pcm16k: bytes) -> np.ndarray:
    """Power of each frame in each mel band, re full scale, over `SMOOTH` frames: frames x `FILTERS`.

    No frame for less than 10 ms.
    """
    samples = np.frombuffer(pcm16k[: len(pcm16k) // 2 * 2], "<i2").astype(np.float32) / 32768
    count = len(samples) // FRAME
    if not count:
        return np.zeros((0, FILTERS), np.float32)
    sharp = np.append(samples[:1], samples[1:] - PRE_EMPHASIS * samples[:-1])
    padded = np.append(sharp, np.zeros(WINDOW, np.float32))
    framed = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[: count * FRAME : FRAME]
    power = np.abs(np.fft.rfft(framed * np.hamming(WINDOW).astype(np.float32), BINS)) ** 2
    return _smoothed(product(power.astype(np.float32) / WINDOW, _filters()))


def _smoothed(powers: np.ndarray) -> np.ndarray:
    reach = SMOOTH // 2
    padded = np.pad(powers, ((reach, reach), (0, 0)), mode="edge")
    return np.asarray(sum(padded[n : n + len(powers)] for n in range(SMOOTH)) / SMOOTH, np.float32)


def slopes(cepstra: np.ndarray) -> np.ndarray:
    """The straight line's slope through `SLOPE` frames on each side of every frame, per frame."""
    padded = np.pad(cepstra, ((SLOPE, SLOPE), (0, 0)), mode="edge")
    count = len(cepstra)
    rise = sum(n * (padded[SLOPE + n : SLOPE + n + count] - padded[SLOPE - n : SLOPE - n + count]) for n in (1, 2))
    return np.asarray(rise / (2 * sum(n * n for n in (1, 2))), np.float32)


def cepstra_of(powers: np.ndarray) -> np.ndarray:
    """`CEPSTRA` cepstra of the natural logs, their mean over the piece removed: frames x `CEPSTRA`.

    powers: as from `band_powers`, at least one frame. The mean takes the microphone, the room and the
    loudness away with it.
    """
    floor = max(float(powers.max()) * 10 ** (-QUIETEST_DB / 10), 1e-12)
    cepstra = product(np.log(np.maximum(powers, floor)).astype(np.float32), _cosines())
    return np.asarray(cepstra - cepstra.mean(axis=0), np.float32)


def bands_of(cepstra: np.ndarray) -> np.ndarray:
    """Back from cepstra: smoothed natural logs of the band powers, each band up to a constant of its own."""
    return product(cepstra, _cosines().T)


def features(powers: np.ndarray) -> np.ndarray:
    """The cepstra and their slopes: frames x 2 `CEPSTRA`. powers: as in `cepstra_of`."""
    cepstra = cepstra_of(powers)
    return np.hstack([cepstra, slopes(cepstra)])
