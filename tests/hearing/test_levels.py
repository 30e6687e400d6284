"""Levels: full scale is 1, so that a full-scale sine is 3.01 dB below it (its RMS is 1 over the root of 2)."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.contract import RATE
from assistant.hearing.levels import NOTHING, loudness


def sine(amplitude: float) -> bytes:
    times = np.arange(RATE // 10) / RATE
    return (np.sin(2 * np.pi * 1000 * times) * amplitude * 32767).astype("<i2").tobytes()


@pytest.mark.parametrize(("amplitude", "level"), [(1.0, -3.01), (0.1, -23.01), (0.01, -43.01)])
def test_the_loudness_of_a_sine(amplitude: float, level: float) -> None:
    assert loudness(sine(amplitude)) == pytest.approx(level, abs=0.05)


def test_silence_and_nothing_at_all_have_the_lowest_level() -> None:
    assert loudness(bytes(960)) == loudness(b"") == NOTHING
