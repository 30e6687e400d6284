"""Reads the files of system voices: WAV (Linux, Windows) and AIFF or AIFF-C (macOS), 16 bit or 32-bit float."""

from __future__ import annotations

import struct
import wave
from pathlib import Path
from typing import Any

from assistant.speaking.engine import Pcm, VoiceFailed

# AIFF-C compression names that mean no compression.
_BIG_ENDIAN, _LITTLE_ENDIAN, _FLOAT = (b"NONE", b"twos"), (b"sowt",), (b"fl32", b"FL32")


def read_sound(path: Path) -> Pcm:
    """Reads the file as mono int16, averaging several channels. Raises VoiceFailed for any other kind of file."""
    try:
        with path.open("rb") as file:
            kind = file.read(4)
        return _read_aiff(path.read_bytes()) if kind == b"FORM" else _read_wav(path)
    except (OSError, EOFError, wave.Error, struct.error, ValueError, KeyError) as error:
        raise VoiceFailed(f"the voice wrote a sound file that can't be read: {error}") from error


def _read_wav(path: Path) -> Pcm:
    import numpy as np

    with wave.open(str(path), "rb") as file:
        if file.getsampwidth() != 2:
            raise ValueError(f"{file.getsampwidth() * 8} bit samples, not 16")
        samples = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
        return Pcm(_mono(samples, file.getnchannels()), file.getframerate())


def _read_aiff(data: bytes) -> Pcm:
    import numpy as np

    chunks, at = {}, 12
    while at + 8 <= len(data):
        name, size = struct.unpack(">4sI", data[at : at + 8])
        chunks[name] = data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2  # a chunk of odd length is padded with a byte that its size doesn't count
    common, sound = chunks[b"COMM"], chunks[b"SSND"]
    channels, _, bits = struct.unpack(">hIh", common[:8])
    rate = _extended(common[8:18])
    coding = common[18:22] if data[8:12] == b"AIFC" else b"NONE"
    (skip,) = struct.unpack(">I", sound[:4])
    raw = sound[8 + skip :]
    if bits == 16 and coding in _BIG_ENDIAN + _LITTLE_ENDIAN:
        samples = np.frombuffer(raw, dtype="<i2" if coding in _LITTLE_ENDIAN else ">i2").astype(np.int16)
    elif bits == 32 and coding in _FLOAT:
        samples = np.rint(np.clip(np.frombuffer(raw, dtype=">f4"), -1, 1) * 32767).astype(np.int16)
    else:
        raise ValueError(f"{bits} bit {coding!r} samples")
    return Pcm(_mono(samples, channels), rate)


def _extended(ten: bytes) -> int:
    """Decodes AIFF's rate, an 80-bit float: an exponent of bias 16383, a mantissa with 63 bits after the point."""
    exponent, mantissa = struct.unpack(">hQ", ten)
    return round(mantissa * 2.0 ** (exponent - 16383 - 63))


def _mono(samples: Any, channels: int) -> Any:
    import numpy as np

    if channels == 1:
        return samples
    return np.rint(samples.reshape(-1, channels).mean(axis=1)).astype(np.int16)
