"""Resamples 16 kHz to 48 kHz and back, frame by frame, with a constant delay: linear-phase filters in numpy.

The filter is a Kaiser-windowed sinc: flat to 6.8 kHz, 60 dB down from 8 kHz (Oppenheim and Schafer, "Discrete-Time
Signal Processing", the chapter on window design). Each way delays by (`TAPS` - 1) / 2 samples at 48 kHz.
"""

from __future__ import annotations

import numpy as np

RATIO = 3
TAPS = 145  # (TAPS - 1) / RATIO is whole, so that both ways together delay by whole samples at 16 kHz
CUTOFF = 7_400 / 48_000  # cycles a sample
KAISER = 5.65  # 60 dB


def low_pass() -> np.ndarray:
    """The filter's taps. They add up to 1."""
    t = np.arange(TAPS) - (TAPS - 1) / 2
    taps = 2 * CUTOFF * np.sinc(2 * CUTOFF * t) * np.kaiser(TAPS, KAISER)
    return taps / taps.sum()


class Interpolator:
    """16 kHz in, 48 kHz out. Each stream has its own."""

    def __init__(self) -> None:
        # Between two samples come two zeros, which would take two thirds of the level.
        taps = RATIO * low_pass()
        length = -(-TAPS // RATIO)
        padded = np.concatenate([taps, np.zeros(length * RATIO - TAPS)])
        self._phases = padded.reshape(length, RATIO)[::-1].copy()
        self._past = np.zeros(length - 1)

    def frame(self, samples: np.ndarray) -> np.ndarray:
        """Three samples for each sample given."""
        heard = np.concatenate([self._past, samples])
        self._past = heard[len(samples) :]
        windows = np.lib.stride_tricks.sliding_window_view(heard, len(self._phases))
        return (windows @ self._phases).ravel()


class Decimator:
    """48 kHz in, 16 kHz out. Each stream has its own."""

    def __init__(self) -> None:
        self._taps = low_pass()[::-1].copy()
        self._past = np.zeros(TAPS - 1)

    def frame(self, samples: np.ndarray) -> np.ndarray:
        """One sample for three. Raises ValueError when their number is not a multiple of three."""
        if len(samples) % RATIO:
            raise ValueError(f"{len(samples)} samples are not a multiple of {RATIO}")
        heard = np.concatenate([self._past, samples])
        self._past = heard[len(samples) :]
        return np.lib.stride_tricks.sliding_window_view(heard, TAPS)[::RATIO] @ self._taps
