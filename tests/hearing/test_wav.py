"""Any PCM WAV becomes 16 kHz mono; anything else is refused by name."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.errors import BadInput
from assistant.hearing.contract import RATE
from assistant.hearing.wav import WavSource, read_wav, resample
from tests.hearing.voices import floats, pcm, write_wav


def tone(rate: int, hz: float = 440.0, seconds: float = 1.0) -> np.ndarray:
    return 0.5 * np.sin(2 * np.pi * hz * np.arange(round(rate * seconds)) / rate)


@pytest.mark.parametrize("rate", [8000, 11025, 22050, 44100, 48000, 96000])
def test_a_tone_keeps_its_length_place_and_height_at_any_rate(tmp_path, rate):
    heard = floats(read_wav(write_wav(tmp_path / "a.wav", pcm(tone(rate)), rate)))
    assert len(heard) == RATE
    middle = slice(2000, 14000)
    assert np.abs(heard[middle] - tone(RATE)[middle]).max() < 0.003


def test_what_lies_above_half_the_rate_is_not_folded_down():
    folded = resample(tone(48000, 11000.0), 48000)
    assert np.abs(folded[1000:-1000]).max() < 0.5 / 1000  # 60 dB down


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_every_sample_width_is_read(tmp_path, width):
    wave = tone(RATE)
    whole = np.rint(wave * (2 ** (8 * width - 1) - 1)).astype(np.int64)
    raw = (
        (whole + 128).astype(np.uint8).tobytes()
        if width == 1
        else b"".join(int(v).to_bytes(width, "little", signed=True) for v in whole)
    )
    heard = floats(read_wav(write_wav(tmp_path / "a.wav", raw, width=width)))
    assert np.abs(heard - wave).max() < (0.01 if width == 1 else 1e-4)


def test_channels_are_averaged(tmp_path):
    both = np.stack([tone(RATE), np.zeros(RATE), np.zeros(RATE)], axis=1).reshape(-1)
    heard = floats(read_wav(write_wav(tmp_path / "a.wav", pcm(both), channels=3)))
    assert np.abs(heard - tone(RATE) / 3).max() < 1e-3


def test_bad_files_are_refused_by_name(tmp_path):
    (tmp_path / "empty.wav").write_bytes(b"")
    (tmp_path / "text.wav").write_text("no sound at all, only text in here")
    (tmp_path / "short.wav").write_bytes(write_wav(tmp_path / "a.wav", bytes(100)).read_bytes()[:30])
    slow = write_wav(tmp_path / "slow.wav", bytes(100), rate=4000)
    for name in ("empty.wav", "text.wav", "short.wav", "missing.wav"):
        with pytest.raises(BadInput, match=name):
            read_wav(tmp_path / name)
    with pytest.raises(BadInput, match=r"sample rate.*4000 Hz.*8 to 96 kHz"):
        read_wav(slow)


def test_a_file_without_sound_is_empty_and_one_cut_short_gives_what_is_there(tmp_path):
    assert read_wav(write_wav(tmp_path / "a.wav", b"")) == b""
    whole = write_wav(tmp_path / "b.wav", pcm(tone(RATE))).read_bytes()
    (tmp_path / "c.wav").write_bytes(whole[:10_001])
    assert 4900 < len(read_wav(tmp_path / "c.wav")) // 2 < 5000


def test_a_source_gives_the_file_then_silence_then_nothing(tmp_path):
    source = WavSource(write_wav(tmp_path / "a.wav", pcm(tone(RATE, seconds=0.25))))
    chunks = []
    while (chunk := source.read(1600)) is not None:
        chunks.append(chunk)
    sound = b"".join(chunks)
    assert len(sound) // 2 == 4000 + RATE
    assert sound[8000:] == bytes(2 * RATE)
