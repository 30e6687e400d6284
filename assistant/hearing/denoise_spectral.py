"""The built-in noise suppression, in numpy alone.

Noise spectrum: Gerkmann and Hendriks, "Unbiased MMSE-Based Noise Power Estimation With Low Complexity and Low
Tracking Delay", IEEE Transactions on Audio, Speech, and Language Processing 20(4), 2012.
Gain: Ephraim and Malah, "Speech Enhancement Using a Minimum Mean-Square Error Log-Spectral Amplitude Estimator",
IEEE Transactions on Acoustics, Speech, and Signal Processing 33(2), 1985, with their decision-directed
a priori ratio.
"""

from __future__ import annotations

import math

import numpy as np

from assistant.hearing.endpoint import FRAME, check_frame
from assistant.plans.model import DenoiserName

WINDOW = 3 * FRAME  # 30 ms: the blade's tones need narrow bins
LEARN = 10  # frames averaged for the first estimate of the noise
PRESENT = 10**1.5  # the a priori ratio assumed where there is speech; this and the next line: Gerkmann and Hendriks
KEEP_PRESENCE, STUCK, KEEP_NOISE = 0.9, 0.99, 0.8
KEEP_RATIO = 0.98  # the decision-directed weight of Ephraim and Malah
LEAST_RATIO = 10**-2.5
LEAST_POWER = 1e-12  # of a bin, so that nothing is divided by zero; far below one step of 16 bits


def exponential_integral(v: np.ndarray) -> np.ndarray:
    """E1(v) for v > 0, within 1e-6 (Abramowitz and Stegun, 5.1.53 and 5.1.56)."""
    small = np.minimum(v, 1.0)
    series = np.polyval((0.00107857, -0.00976004, 0.05519968, -0.24991055, 0.99999193, -0.57721566), small)
    large = np.maximum(v, 1.0)
    above = np.polyval((1.0, 8.5733287401, 18.0590169730, 8.6347608925, 0.2677737343), large)
    below = np.polyval((1.0, 9.5733223454, 25.6329561486, 21.0996530827, 3.9584969228), large)
    return np.where(v <= 1.0, series - np.log(small), np.exp(-large) * above / (large * below))


def _gain_table() -> tuple[np.ndarray, np.ndarray]:
    v = np.logspace(-6, 2, 800)
    return np.log(v), np.exp(0.5 * exponential_integral(v))


class Spectral:
    """The denoiser `spectral`. floor_db: the most that noise is turned down, dB, over 0 to 60.

    Raises ValueError for a floor outside that range.
    """

    name = DenoiserName.SPECTRAL
    delay_s = (WINDOW - FRAME) / 16_000
    tells_speech = False
    speech: float | None = None

    def __init__(self, floor_db: float = 15.0) -> None:
        if not 0 < floor_db <= 60 or not math.isfinite(floor_db):
            raise ValueError(f"the floor must be over 0 to 60 dB, not {floor_db}")
        self._floor = 10 ** (-floor_db / 20)
        # It is applied twice, before and after: together that is a Hann window, whose overlaps add up to a constant.
        self._window = np.sqrt(np.hanning(WINDOW + 1)[:-1])
        self._scale = FRAME / (self._window**2).sum()
        self._table = _gain_table()
        self._heard = np.zeros(WINDOW)
        self._made = np.zeros(WINDOW)
        self._noise = np.zeros(WINDOW // 2 + 1)
        self._presence = np.zeros(WINDOW // 2 + 1)
        self._clean = np.zeros(WINDOW // 2 + 1)
        self._frames = 0

    def frame(self, pcm: bytes) -> bytes:
        """See `denoise.Denoiser.frame`."""
        check_frame(pcm)
        self._heard[:-FRAME] = self._heard[FRAME:]
        self._heard[-FRAME:] = np.frombuffer(pcm, "<i2")
        spectrum = np.fft.rfft(self._heard * self._window)
        power = spectrum.real**2 + spectrum.imag**2
        self._learn(power)
        made = np.fft.irfft(spectrum * self._gain(power), WINDOW) * self._window * self._scale
        self._made[:-FRAME] = self._made[FRAME:]
        self._made[-FRAME:] = 0
        self._made += made
        return np.clip(np.rint(self._made[:FRAME]), -32768, 32767).astype("<i2").tobytes()

    def _learn(self, power: np.ndarray) -> None:
        """Moves the noise estimate towards this frame's power, as far as this frame is noise."""
        self._frames += 1
        if self._frames <= LEARN:
            self._noise += (power - self._noise) / self._frames
            return
        ratio = np.minimum(power / np.maximum(self._noise, LEAST_POWER), 200.0)
        speech = 1 / (1 + (1 + PRESENT) * np.exp(-ratio * PRESENT / (1 + PRESENT)))
        self._presence = KEEP_PRESENCE * self._presence + (1 - KEEP_PRESENCE) * speech
        speech = np.where(self._presence > STUCK, np.minimum(speech, STUCK), speech)
        expected = (1 - speech) * power + speech * self._noise
        self._noise = KEEP_NOISE * self._noise + (1 - KEEP_NOISE) * expected

    def _gain(self, power: np.ndarray) -> np.ndarray:
        noise = np.maximum(self._noise, LEAST_POWER)
        after = np.minimum(power / noise, 1000.0)
        before = KEEP_RATIO * self._clean / noise + (1 - KEEP_RATIO) * np.maximum(after - 1, 0)
        before = np.maximum(before, LEAST_RATIO)
        wiener = before / (1 + before)
        gain = wiener * np.interp(np.log(np.maximum(wiener * after, 1e-6)), *self._table)
        gain = np.clip(gain, self._floor, 1.0)
        self._clean = gain**2 * power
        return gain
