"""Tracks sound together within a row, and one row after another."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest

from assistant.speaking.mix import mix

RATE = 22050


def track(path: Path, samples: np.ndarray, rate: int = RATE) -> Path:
    with wave.open(str(path), "wb") as wav:
        wav.setnchannels(1)
        wav.setsampwidth(2)
        wav.setframerate(rate)
        wav.writeframes((samples * 32768).astype("<i2").tobytes())
    return path


def test_rows_follow_one_another_and_their_tracks_add_up(tmp_path: Path) -> None:
    quarter = track(tmp_path / "a.wav", np.full(1000, 0.25))
    half = track(tmp_path / "b.wav", np.full(400, 0.5))
    mixed = np.frombuffer(mix([[quarter, half], [half]], RATE), "<i2") / 32767
    assert len(mixed) == 1400
    assert mixed[:400] == pytest.approx(0.75, abs=1e-4)
    assert mixed[400:1000] == pytest.approx(0.25, abs=1e-4)
    assert mixed[1000:] == pytest.approx(0.5, abs=1e-4)


def test_what_is_too_loud_together_is_clipped_and_not_wrapped_round(tmp_path: Path) -> None:
    loud = track(tmp_path / "a.wav", np.full(100, 0.9))
    assert set(np.frombuffer(mix([[loud, loud]], RATE), "<i2")) == {32767}


def test_a_track_of_another_rate_keeps_its_pitch_and_length(tmp_path: Path) -> None:
    tone = track(tmp_path / "a.wav", 0.5 * np.sin(2 * np.pi * 440 * np.arange(16000) / 16000), 16000)
    mixed = np.frombuffer(mix([[tone]], RATE), "<i2") / 32767
    assert len(mixed) == pytest.approx(RATE, abs=2)
    spectrum = np.abs(np.fft.rfft(mixed * np.hanning(len(mixed))))
    assert np.argmax(spectrum) * RATE / len(mixed) == pytest.approx(440, abs=1)
