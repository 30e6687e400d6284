"""Any PCM WAV becomes 16 kHz mono; anything else is refused by name."""

from __future__ import annotations

import shutil
import struct
import subprocess
import uuid

import numpy as np
import pytest

from assistant.errors import BadInput
from assistant.hearing.contract import RATE
from assistant.hearing.wav import WavSource, read_sound, read_wav, resample
from tests.hearing.voices import floats, pcm, tone, write_wav


@pytest.mark.parametrize("rate", [8000, 11025, 22050, 44100, 48000, 96000])
def test_a_tone_keeps_its_length_place_and_height_at_any_rate(tmp_path, rate):
    heard = floats(read_wav(write_wav(tmp_path / "a.wav", pcm(tone(440, rate=rate)), rate)))
    assert len(heard) == RATE
    middle = slice(2000, 14000)
    assert np.abs(heard[middle] - tone(440)[middle]).max() < 0.003


def test_what_lies_above_half_the_rate_is_not_folded_down():
    folded = resample(tone(11000, rate=48000), 48000)
    assert np.abs(folded[1000:-1000]).max() < 0.5 / 1000  # 60 dB down


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_every_sample_width_is_read(tmp_path, width):
    wave = tone(440)
    whole = np.rint(wave * (2 ** (8 * width - 1) - 1)).astype(np.int64)
    raw = (
        (whole + 128).astype(np.uint8).tobytes()
        if width == 1
        else b"".join(int(v).to_bytes(width, "little", signed=True) for v in whole)
    )
    heard = floats(read_wav(write_wav(tmp_path / "a.wav", raw, width=width)))
    assert np.abs(heard - wave).max() < (0.01 if width == 1 else 1e-4)


def test_channels_are_averaged(tmp_path):
    both = np.stack([tone(440), np.zeros(RATE), np.zeros(RATE)], axis=1).reshape(-1)
    heard = floats(read_wav(write_wav(tmp_path / "a.wav", pcm(both), channels=3)))
    assert np.abs(heard - tone(440) / 3).max() < 1e-3


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
    whole = write_wav(tmp_path / "b.wav", pcm(tone(440))).read_bytes()
    (tmp_path / "c.wav").write_bytes(whole[:10_001])
    assert 4900 < len(read_wav(tmp_path / "c.wav")) // 2 < 5000


def test_a_source_gives_the_file_then_silence_then_nothing(tmp_path):
    source = WavSource(write_wav(tmp_path / "a.wav", pcm(tone(440, 0.25))))
    chunks = []
    while (chunk := source.read(1600)) is not None:
        chunks.append(chunk)
    sound = b"".join(chunks)
    assert len(sound) // 2 == 4000 + RATE
    assert sound[8000:] == bytes(2 * RATE)


def riff(fmt: bytes, data: bytes, promised: int | None = None, before: bytes = b"") -> bytes:
    """A WAV file made of its chunks. promised: the bytes of sound that its header gives."""
    size = len(data) if promised is None else promised
    chunks = b"WAVE" + before + b"fmt " + struct.pack("<I", len(fmt)) + fmt + b"data" + struct.pack("<I", size) + data
    return b"RIFF" + struct.pack("<I", len(chunks) & 0xFFFFFFFF) + chunks


def fmt(code: int, bits: int = 16, channels: int = 1) -> bytes:
    frame = channels * bits // 8
    return struct.pack("<HHIIHH", code, channels, RATE, RATE * frame, frame, bits)


def extensible(subformat: str, bits: int = 16) -> bytes:
    """The 2001 extension: its size, valid bits, channel mask, and a GUID with the fields it has on paper."""
    return fmt(0xFFFE, bits) + struct.pack("<HHI", 22, bits, 4) + uuid.UUID(subformat).bytes_le


def test_the_extensible_format_with_pcm_inside_is_pcm(tmp_path):
    (tmp_path / "a.wav").write_bytes(riff(extensible("00000001-0000-0010-8000-00aa00389b71"), pcm(tone(440))))
    assert read_wav(tmp_path / "a.wav") == read_wav(write_wav(tmp_path / "plain.wav", pcm(tone(440))))


def test_what_another_program_writes_is_read(tmp_path):
    """For 24 bits sox writes the extensible format; outside reference: its own conversion of the same tone."""
    if shutil.which("sox") is None:
        pytest.skip("needs sox (a system package) to write the extensible format")
    write_wav(tmp_path / "a.wav", pcm(tone(440)))
    subprocess.run(["sox", "a.wav", "-b", "24", "b.wav"], cwd=tmp_path, check=True)
    assert (tmp_path / "b.wav").read_bytes()[20:22] == b"\xfe\xff"
    assert np.abs(floats(read_wav(tmp_path / "b.wav")) - tone(440)).max() < 1e-3


def test_other_kinds_are_named(tmp_path):
    cases = {
        "float": (extensible("00000003-0000-0010-8000-00aa00389b71", 32), "holds floating-point samples"),
        "mulaw": (fmt(7, 8), "holds mu-law"),
        "odd": (fmt(77), "holds format 77"),
        "bits": (fmt(1, 12), r"1 channels of 12 bit"),
        "none": (fmt(1, 16, 0), r"0 channels"),
    }
    for name, (head, told) in cases.items():
        (tmp_path / f"{name}.wav").write_bytes(riff(head, bytes(100)))
        with pytest.raises(BadInput, match=told):
            read_wav(tmp_path / f"{name}.wav")


def test_other_chunks_are_passed_over_and_an_odd_one_has_a_pad(tmp_path):
    list_chunk = b"LIST" + struct.pack("<I", 5) + b"notes" + b"\0"
    (tmp_path / "a.wav").write_bytes(riff(fmt(1), pcm(tone(440)), before=list_chunk))
    assert len(read_wav(tmp_path / "a.wav")) == 2 * RATE


def test_a_file_cut_short_is_told_from_one_whose_length_was_never_known(tmp_path):
    sound = pcm(tone(440))
    (tmp_path / "cut.wav").write_bytes(riff(fmt(1), sound, promised=4 * len(sound)))
    cut = read_sound(tmp_path / "cut.wav")
    assert cut.cut_short and (cut.seconds, cut.promised_s) == (1.0, 4.0)
    for unknown in (0x7FFFF000, 0xFFFFFFFF):
        (tmp_path / "pipe.wav").write_bytes(riff(fmt(1), sound, promised=unknown))
        assert not read_sound(tmp_path / "pipe.wav").cut_short
    assert not read_sound(write_wav(tmp_path / "b.wav", pcm(tone(440, rate=44100)), 44100)).cut_short


def test_five_hours_are_too_long(tmp_path):
    (tmp_path / "a.wav").write_bytes(riff(fmt(1), b"", promised=5 * 3600 * 2 * RATE))
    with pytest.raises(BadInput, match=r"too long.*18000 s.*four hours"):
        read_wav(tmp_path / "a.wav")
