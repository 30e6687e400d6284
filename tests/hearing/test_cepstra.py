"""Cepstra: against the textbook formulas, and what must not change them."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing import cepstra
from assistant.hearing.contract import RATE
from tests.hearing.voices import pcm, saw_noise


def noise(seconds: float = 1.0, level: float = 0.1) -> bytes:
    return pcm(saw_noise(round(seconds * RATE)) * level)


@pytest.mark.parametrize(("hertz", "mels"), [(0, 0.0), (700, 781.17), (1000, 999.99), (6800, 2672.75)])
def test_the_mel_scale_is_the_published_one(hertz, mels):
    """O'Shaughnessy, Speech Communication (1987): 2595 log10(1 + f/700); 1000 Hz come to 1000 mel."""
    assert cepstra.mel(hertz) == pytest.approx(mels, abs=0.1)
    assert cepstra.hertz(np.array([cepstra.mel(hertz)]))[0] == pytest.approx(hertz, abs=1e-6)


def test_a_frame_stands_every_ten_milliseconds():
    assert cepstra.band_powers(noise(1.0)).shape == (100, cepstra.FILTERS)
    assert cepstra.frames_in(noise(1.0)) == 100
    assert cepstra.band_powers(bytes(100)).shape == (0, cepstra.FILTERS)


@pytest.mark.parametrize("hertz", [400, 1000, 3000, 5500])
def test_a_tone_lies_in_the_band_around_it(hertz):
    tone = pcm(0.3 * np.sin(2 * np.pi * hertz * np.arange(RATE) / RATE))
    loudest = int(cepstra.band_powers(tone)[10:-10].mean(axis=0).argmax())
    edges = cepstra.hertz(
        np.linspace(cepstra.mel(cepstra.BAND_HZ[0]), cepstra.mel(cepstra.BAND_HZ[1]), cepstra.FILTERS + 2)
    )
    assert edges[loudest] < hertz < edges[loudest + 2]


def test_the_cepstra_are_the_cosine_transform_of_the_log_bands():
    """Davis and Mermelstein (1980): sum of log band n times cos(pi k (n + 1/2) / N), here with orthonormal weights."""
    powers = cepstra.band_powers(noise(0.3))
    floor = powers.max() * 10 ** (-cepstra.QUIETEST_DB / 10)
    logs = np.log(np.maximum(powers.astype(float), floor))
    wanted = np.zeros((len(powers), cepstra.CEPSTRA))
    count = cepstra.FILTERS
    for k in range(cepstra.CEPSTRA):
        weight = np.sqrt((1 if k == 0 else 2) / count)
        for n in range(count):
            wanted[:, k] += weight * logs[:, n] * np.cos(np.pi * k * (n + 0.5) / count)
    wanted -= wanted.mean(axis=0)
    assert cepstra.cepstra_of(powers) == pytest.approx(wanted, abs=1e-3)


def test_the_way_back_smooths_the_bands_and_loses_their_mean_only():
    powers = cepstra.band_powers(noise(0.5))
    logs = np.log(np.maximum(powers, powers.max() * 10 ** (-cepstra.QUIETEST_DB / 10)))
    back = cepstra.bands_of(cepstra.cepstra_of(powers))
    assert back.shape == powers.shape
    assert back.mean(axis=0) == pytest.approx(np.zeros(cepstra.FILTERS), abs=1e-4)
    assert cepstra.cepstra_of(np.exp(back)) == pytest.approx(cepstra.cepstra_of(powers), abs=1e-3)
    assert (back - (logs - logs.mean(axis=0))).std() < (logs - logs.mean(axis=0)).std()


def test_loudness_and_a_steady_filter_change_nothing():
    """A microphone's and a room's colour are taken away with the mean."""
    powers = cepstra.band_powers(noise(0.5))
    louder = cepstra.features(powers * 100)
    assert louder == pytest.approx(cepstra.features(powers), abs=1e-3)
    coloured = cepstra.features(powers * np.linspace(0.7, 1.4, cepstra.FILTERS, dtype=np.float32))
    assert coloured == pytest.approx(cepstra.features(powers), abs=0.05)


def test_the_slope_of_a_straight_line_is_its_own():
    line = np.outer(np.arange(20.0), np.ones(3)) * 0.7
    assert cepstra.slopes(line)[2:-2] == pytest.approx(np.full((16, 3), 0.7))


def test_silence_has_features_without_a_fault():
    assert np.isfinite(cepstra.features(cepstra.band_powers(bytes(16000)))).all()
