"""Turns speech into cepstra, which the voice templates consist of and are compared by.

Mel-frequency cepstral coefficients after Davis and Mermelstein (1980), their slopes after Furui (1986).
The frames match the recogniser's: one every 10 ms, the first at the piece's first sample.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from assistant.hearing.contract import RATE

FRAME = 160  # samples from one frame to the next: 10 ms
WINDOW = 400  # samples in a frame's window: 25 ms
BINS = 512
FILTERS = 26
BAND_HZ = (180.0, 6_800.0)  # above the mains' hum and a motor's, below the model's own upper edge
CEPSTRA = 13
SLOPE = 2  # frames on each side, for a slope
PRE_EMPHASIS = 0.97
SMOOTH = 3  # frames; noise swings from frame to frame, speech hardly does
QUIETEST_DB = 40.0  # below the loudest band of the piece; anything fainter counts as this


def mel(hertz: float) -> float:
    """Hertz to mels, by O'Shaughnessy's formula: 2595 log10(1 + f/700)."""
    return 2595.0 * float(np.log10(1.0 + hertz / 700.0))


def hertz(mels: np.ndarray) -> np.ndarray:
    """Mels to hertz: the inverse of `mel`."""
    return np.asarray(700.0 * (10.0 ** (mels / 2595.0) - 1.0))


@cache
def _filters() -> np.ndarray:
    """`FILTERS` triangular filters over the spectrum's bins, evenly spaced in mels; each sums to 1."""
    edges = hertz(np.linspace(mel(BAND_HZ[0]), mel(BAND_HZ[1]), FILTERS + 2))
    at = np.arange(BINS // 2 + 1) * RATE / BINS
    low, middle, high = edges[:-2, None], edges[1:-1, None], edges[2:, None]
    shape = np.maximum(np.minimum((at - low) / (middle - low), (high - at) / (high - middle)), 0.0)
    return np.asarray((shape / shape.sum(axis=1, keepdims=True)).T, np.float32)


@cache
def _cosines() -> np.ndarray:
    """The first `CEPSTRA` rows of the orthonormal cosine transform."""
    k, n = np.arange(CEPSTRA)[:, None], np.arange(FILTERS)[None, :]
    rows = np.sqrt(2.0 / FILTERS) * np.cos(np.pi * k * (2 * n + 1) / (2 * FILTERS))
    rows[0] /= np.sqrt(2.0)
    return np.asarray(rows.T, np.float32)


def product(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """The matrix product, computed in this thread alone.

    On a busy machine a library's threads wait for one another, and take six times as long for matrices of this size.
    """
    return np.asarray(np.einsum("ij,jk->ik", one, other, optimize=False))


def frames_in(pcm16k: bytes) -> int:
    """How many whole frames of `FRAME` samples the piece has."""
    return len(pcm16k) // 2 // FRAME


def band_powers(pcm16k: bytes) -> np.ndarray:
    """The power of each frame in each mel band, re full scale, averaged over `SMOOTH` frames: frames x `FILTERS`.

    A piece shorter than 10 ms has no frames.
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
    """The slope of a straight line through `SLOPE` frames on each side of every frame, per frame."""
    padded = np.pad(cepstra, ((SLOPE, SLOPE), (0, 0)), mode="edge")
    count = len(cepstra)
    rise = sum(n * (padded[SLOPE + n : SLOPE + n + count] - padded[SLOPE - n : SLOPE - n + count]) for n in (1, 2))
    return np.asarray(rise / (2 * sum(n * n for n in (1, 2))), np.float32)


def cepstra_of(powers: np.ndarray) -> np.ndarray:
    """The first `CEPSTRA` cepstra of the natural logs, with their mean over the piece removed: frames x `CEPSTRA`.

    powers: as from `band_powers`, at least one frame. Removing the mean also removes the effect of the microphone, the
    room and the loudness.
    """
    floor = max(float(powers.max()) * 10 ** (-QUIETEST_DB / 10), 1e-12)
    cepstra = product(np.log(np.maximum(powers, floor)).astype(np.float32), _cosines())
    return np.asarray(cepstra - cepstra.mean(axis=0), np.float32)


def bands_of(cepstra: np.ndarray) -> np.ndarray:
    """Smoothed natural logs of the band powers, back from cepstra; each band lacks a constant (the mean removed)."""
    return product(cepstra, _cosines().T)


def features(powers: np.ndarray) -> np.ndarray:
    """The cepstra and their slopes: frames x 2 `CEPSTRA`. powers: as in `cepstra_of`."""
    cepstra = cepstra_of(powers)
    return np.hstack([cepstra, slopes(cepstra)])
