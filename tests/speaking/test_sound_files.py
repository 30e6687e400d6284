"""WAV, AIFF and AIFF-C as system voices write them, against files written by another program."""

from __future__ import annotations

import shutil
import struct
import subprocess
import wave
from pathlib import Path

import numpy as np
import pytest

from assistant.speaking.engine import VoiceFailed
from assistant.speaking.sound_files import read_sound

SAMPLES = np.rint(9000 * np.sin(np.arange(2205) / 7)).astype(np.int16)


def write_wav(path: Path, samples: np.ndarray, channels: int = 1, width: int = 2) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(width)
        file.setframerate(22050)
        file.writeframes(samples.tobytes())


def test_a_wav_file(tmp_path: Path) -> None:
    write_wav(tmp_path / "a.wav", SAMPLES)
    pcm = read_sound(tmp_path / "a.wav")
    assert pcm.rate == 22050 and np.array_equal(pcm.samples, SAMPLES)


def test_two_channels_become_their_mean(tmp_path: Path) -> None:
    both = np.stack([SAMPLES, np.zeros_like(SAMPLES)], axis=1)
    write_wav(tmp_path / "a.wav", both, channels=2)
    assert np.allclose(read_sound(tmp_path / "a.wav").samples, SAMPLES / 2, atol=1)


@pytest.mark.skipif(shutil.which("sox") is None, reason="sox is not installed")
@pytest.mark.parametrize("rate", [22050, 44100, 11025])
def test_an_aiff_file_of_another_program(tmp_path: Path, rate: int) -> None:
    """A file as `sox` writes it: big-endian samples, the rate as an 80-bit float."""
    raw = tmp_path / "a.raw"
    raw.write_bytes(SAMPLES.tobytes())
    source = ["-t", "raw", "-r", str(rate), "-e", "signed", "-b", "16", "-c", "1", str(raw)]
    for suffix in ("aiff", "aifc"):
        made = tmp_path / f"a.{suffix}"
        subprocess.run(["sox", "-D", *source, str(made)], check=True)
        pcm = read_sound(made)
        assert pcm.rate == rate and np.array_equal(pcm.samples, SAMPLES)


def aifc(coding: bytes, bits: int, body: bytes) -> bytes:
    """Apple's AIFF-C draft (1991): COMM with a compression name, SSND with offset and block size."""
    rate = struct.pack(">hQ", 16383 + 14, 22050 << (63 - 14))
    common = struct.pack(">hIh", 1, len(SAMPLES), bits) + rate + coding + b"\0\0"
    chunks = b"FVER" + struct.pack(">II", 4, 0xA2805140)
    chunks += b"COMM" + struct.pack(">I", len(common)) + common
    chunks += b"SSND" + struct.pack(">III", len(body) + 8, 0, 0) + body
    return b"FORM" + struct.pack(">I", len(chunks) + 4) + b"AIFC" + chunks


@pytest.mark.parametrize(
    ("coding", "bits", "body"),
    [
        (b"sowt", 16, SAMPLES.astype("<i2").tobytes()),
        (b"twos", 16, SAMPLES.astype(">i2").tobytes()),
        (b"fl32", 32, (SAMPLES / 32767).astype(">f4").tobytes()),
    ],
)
def test_the_aiff_c_codings_of_a_system_voice(tmp_path: Path, coding: bytes, bits: int, body: bytes) -> None:
    (tmp_path / "a.aiff").write_bytes(aifc(coding, bits, body))
    pcm = read_sound(tmp_path / "a.aiff")
    assert pcm.rate == 22050 and np.array_equal(pcm.samples, SAMPLES)


@pytest.mark.parametrize("content", [b"", b"RIFF", b"FORM\0\0\0\x04AIFF", b"no sound at all, no header, nothing", None])
def test_what_is_no_sound_file_is_our_error(tmp_path: Path, content: bytes | None) -> None:
    if content is not None:
        (tmp_path / "a.wav").write_bytes(content)
    with pytest.raises(VoiceFailed, match="can't be read"):
        read_sound(tmp_path / "a.wav")


def test_other_sample_widths_are_named(tmp_path: Path) -> None:
    write_wav(tmp_path / "a.wav", np.zeros(300, np.uint8), width=1)
    with pytest.raises(VoiceFailed, match="8 bit"):
        read_sound(tmp_path / "a.wav")
    (tmp_path / "a.aiff").write_bytes(aifc(b"ulaw", 8, bytes(100)))
    with pytest.raises(VoiceFailed, match="ulaw"):
        read_sound(tmp_path / "a.aiff")
