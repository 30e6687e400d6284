"""Reads PCM WAV files as 16 kHz mono, 16 bit, the form that everything behind the microphone takes."""

from __future__ import annotations

import math
import os
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from assistant.errors import BadInput, Fault
from assistant.hearing.contract import RATE

RATES = (8_000, 96_000)  # samples per second, least and greatest
LONGEST_S = 4 * 3600  # half a working day; it is read into memory whole
UNKNOWN_SIZE = 0x7FFFF000  # a size from here on comes from a recorder that couldn't go back to write the true one
PCM, EXTENSIBLE = 1, 0xFFFE
# The subformat 00000001-0000-0010-8000-00AA00389B71, in the byte order of the file.
PCM_SUBFORMAT = bytes.fromhex("0100000000001000800000aa00389b71")
FORMATS = {2: "ADPCM", 3: "floating-point samples", 6: "A-law", 7: "mu-law", 85: "MP3"}
CROSSINGS = 16  # zero crossings of the sinc on each side of the resampling filter
CHUNK = 16_384  # output samples worked on at once, which limits the memory


def _fault(path: Path, what: str, value: str = "", mend: str = "give a PCM WAV file") -> BadInput:
    return BadInput([Fault(what, value, str(path), mend)])


def _decoded(raw: bytes, width: int) -> np.ndarray:
    """The samples as floats, -1 to 1. width: bytes per sample."""
    if width == 1:
        # Only 8-bit samples are unsigned in a WAV file.
        return (np.frombuffer(raw, np.uint8).astype(np.float32) - 128) / 128
    if width == 3:
        bytes3 = np.frombuffer(raw, np.uint8).reshape(-1, 3)
        wide = np.zeros((len(bytes3), 4), np.uint8)
        # As the upper three bytes of 32 bits, which brings the sign along.
        wide[:, 1:] = bytes3
        return wide.view("<i4")[:, 0].astype(np.float32) / 2**31
    return np.frombuffer(raw, f"<i{width}").astype(np.float32) / 2 ** (8 * width - 1)


def resample(samples: np.ndarray, rate: int, to: int = RATE) -> np.ndarray:
    """Resamples from `rate` to `to` (Hz), by a windowed sinc; aliases are some 70 dB down. Returns floats.

    Output sample n has the time of input sample n * rate / to, so nothing is delayed.
    """
    if rate == to or not len(samples):
        return samples.astype(np.float32)
    common = math.gcd(rate, to)
    up, down = to // common, rate // common
    cutoff = 0.95 * min(1.0, to / rate)
    reach = math.ceil(CROSSINGS / cutoff)
    padded = np.concatenate([np.zeros(reach), samples, np.zeros(reach + 1)]).astype(np.float32)
    count = len(samples) * up // down
    taps = np.arange(-reach + 1, reach + 1)
    parts = [_filtered(padded, range(n, min(n + CHUNK, count)), up, down, cutoff, taps) for n in range(0, count, CHUNK)]
    return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def _filtered(padded: np.ndarray, wanted: range, up: int, down: int, cutoff: float, taps: np.ndarray) -> np.ndarray:
    """Computes the output samples `wanted`."""
    at = np.arange(wanted.start, wanted.stop, dtype=np.int64) * down
    phases, which = np.unique(at % up, return_inverse=True)
    reach = int(taps[-1])
    distance = taps[None, :] - (phases / up)[:, None]
    kernel = cutoff * np.sinc(cutoff * distance) * (np.kaiser(2049, 8.0)[_window_index(distance, reach)])
    kernel /= kernel.sum(axis=1, keepdims=True)
    picked = padded[(at // up)[:, None] + taps[None, :] + reach]
    return np.einsum("ij,ij->i", picked, kernel[which].astype(np.float32))


def _window_index(distance: np.ndarray, reach: int) -> np.ndarray:
    return np.clip(np.rint((distance / reach + 1) * 1024), 0, 2048).astype(np.int64)


def to_pcm16(samples: np.ndarray) -> bytes:
    """Floats, -1 to 1, as 16 bit little endian. Values beyond that range are clipped."""
    return np.clip(np.rint(samples * 32768), -32768, 32767).astype("<i2").tobytes()


@dataclass(frozen=True, slots=True)
class Sound:
    """A file's sound. pcm: 16 kHz mono, 16 bit little endian. promised_s: its length by the header, seconds."""

    pcm: bytes
    promised_s: float

    @property
    def seconds(self) -> float:
        return len(self.pcm) / 2 / RATE

    @property
    def cut_short(self) -> bool:
        return self.seconds < self.promised_s - 0.01


def read_wav(path: str | Path) -> bytes:
    """The samples that `read_sound` gives."""
    return read_sound(path).pcm


def read_sound(path: str | Path) -> Sound:
    """Reads the file's sound. Averages several channels. Gives what is there of a file that was cut short.

    Takes PCM of 8, 16, 24 or 32 bit (plain or in the extensible format), any number of channels,
    8 to 96 kHz, up to four hours.
    Raises BadInput for a file that is missing, cut short in its header, of another kind or outside these limits.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            kind, size = _header(path, file)
            raw = file.read(min(size, LONGEST_S * kind.rate * kind.frame))
    except OSError as error:
        raise _fault(path, f"can't be read: {error.strerror or error}", mend="check the path") from error
    except struct.error as error:
        raise _fault(path, "not a PCM WAV file: it ends too soon") from error
    whole = len(raw) // kind.frame * kind.frame
    samples = _decoded(raw[:whole], kind.width).reshape(-1, kind.channels).mean(axis=1)
    promised = whole if size >= UNKNOWN_SIZE else size
    return Sound(to_pcm16(resample(samples, kind.rate)), promised / kind.frame / kind.rate)


@dataclass(frozen=True, slots=True)
class _Kind:
    """The kind of sound in a file. rate: frames per second. width: bytes per sample."""

    channels: int
    rate: int
    width: int

    @property
    def frame(self) -> int:
        return self.channels * self.width


def _header(path: Path, file: BinaryIO) -> tuple[_Kind, int]:
    """Reads up to the first byte of sound. Returns the kind of sound and the size in bytes that the header promises.

    Chunks as in "Multimedia Programming Interface and Data Specifications 1.0", 1991, and its
    extensible format of 2001.
    """
    riff, _, wave = struct.unpack("<4sI4s", file.read(12))
    if (riff, wave) != (b"RIFF", b"WAVE"):
        raise _fault(path, "not a PCM WAV file: it doesn't start like one")
    kind: _Kind | None = None
    while True:
        name, size = struct.unpack("<4sI", file.read(8))
        if name == b"data" and kind is not None:
            _check_length(path, kind, size)
            return kind, size
        if name == b"fmt ":
            kind = _kind(path, file.read(size))
            # A chunk of odd length is padded with a byte that its size doesn't count.
            file.seek(size % 2, os.SEEK_CUR)
        else:
            file.seek(size + size % 2, os.SEEK_CUR)


def _kind(path: Path, fmt: bytes) -> _Kind:
    code, channels, rate, _, _, bits = struct.unpack_from("<HHIIHH", fmt)
    if code == EXTENSIBLE:
        code = PCM if fmt[24:40] == PCM_SUBFORMAT else struct.unpack_from("<H", fmt, 24)[0]
    if code != PCM:
        what = FORMATS.get(code, f"format {code}")
        raise _fault(path, f"not a PCM WAV file: it holds {what}", mend="save it as 16-bit PCM")
    if not channels or bits not in (8, 16, 24, 32):
        raise _fault(path, "not a PCM WAV file that can be read", f"{channels} channels of {bits} bit")
    if not RATES[0] <= rate <= RATES[1]:
        raise _fault(path, "the sample rate is out of range", f"{rate} Hz", "give a rate of 8 to 96 kHz")
    return _Kind(channels, rate, bits // 8)


def _check_length(path: Path, kind: _Kind, size: int) -> None:
    if size < UNKNOWN_SIZE and size > LONGEST_S * kind.rate * kind.frame:
        raise _fault(path, "too long", f"{size / kind.frame / kind.rate:.0f} s", "give four hours at most")


class WavSource:
    """A WAV file as the microphone of a rehearsal. A second of silence follows, so that its last word ends.

    Raises BadInput as `read_wav` does.
    """

    def __init__(self, path: str | Path) -> None:
        self._pcm = read_wav(path) + bytes(2 * RATE)
        self._at = 0

    def read(self, samples: int) -> bytes | None:
        """The next `samples` samples, fewer at the end, then None."""
        if self._at >= len(self._pcm):
            return None
        chunk = self._pcm[self._at : self._at + 2 * samples]
        self._at += 2 * samples
        return chunk

    def handled(self, event: object) -> None:
        """Does nothing: a recording doesn't react to events."""
