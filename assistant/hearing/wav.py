"""WAV files of any PCM kind -> 16 kHz mono, 16 bit, as everything behind the microphone wants it."""

from __future__ import annotations

import math
import wave
from pathlib import Path

import numpy as np

from assistant.errors import BadInput, Fault
from assistant.hearing.contract import RATE

RATES = (8_000, 96_000)  # samples a second, least and greatest
LONGEST_S = 4 * 3600
CROSSINGS = 16  # of the sinc on each side of the resampling filter
CHUNK = 16_384  # output samples worked on at once, bounds the memory


def _fault(path: Path, what: str, value: str = "", mend: str = "give a PCM WAV file") -> BadInput:
    return BadInput([Fault(what, value, str(path), mend)])


def _decoded(raw: bytes, width: int) -> np.ndarray:
    """Samples as floats in -1..1. width: bytes a sample."""
    if width == 1:
        return (np.frombuffer(raw, np.uint8).astype(np.float32) - 128) / 128
    if width == 3:
        bytes3 = np.frombuffer(raw, np.uint8).reshape(-1, 3)
        wide = np.zeros((len(bytes3), 4), np.uint8)
        wide[:, 1:] = bytes3
        return wide.view("<i4")[:, 0].astype(np.float32) / 2**31
    return np.frombuffer(raw, f"<i{width}").astype(np.float32) / 2 ** (8 * width - 1)


def resample(samples: np.ndarray, rate: int, to: int = RATE) -> np.ndarray:
    """`samples` at `rate` (Hz) as floats at `to` (Hz), by a windowed sinc; aliases are some 70 dB down.

    Output sample n stands at the time of input sample n * rate / to, so nothing is delayed.
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
    """The output samples `wanted`."""
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
    """Floats in -1..1 -> 16 bit little endian; what lies beyond is clipped."""
    return np.clip(np.rint(samples * 32768), -32768, 32767).astype("<i2").tobytes()


def read_wav(path: str | Path) -> bytes:
    """The file's sound as 16 kHz mono, 16 bit little endian; several channels are averaged.

    Takes PCM of 8, 16, 24 or 32 bit, any number of channels, 8 to 96 kHz, up to four hours.
    Raises BadInput for a file that is missing, cut short in its header, of another kind or out of these limits.
    """
    path = Path(path)
    try:
        with wave.open(str(path), "rb") as file:
            channels, width, rate = file.getnchannels(), file.getsampwidth(), file.getframerate()
            if not RATES[0] <= rate <= RATES[1]:
                raise _fault(path, "the sample rate is out of range", f"{rate} Hz", "give one of 8 to 96 kHz")
            if file.getnframes() > LONGEST_S * rate:
                raise _fault(path, "too long", f"{file.getnframes() / rate:.0f} s", "give four hours at most")
            raw = file.readframes(file.getnframes())
    except OSError as error:
        raise _fault(path, f"can't be read: {error.strerror or error}", mend="check the path") from error
    except (wave.Error, EOFError) as error:
        raise _fault(path, f"not a PCM WAV file: {error or 'it ends too soon'}") from error
    whole = len(raw) // (width * channels) * width * channels
    samples = _decoded(raw[:whole], width).reshape(-1, channels).mean(axis=1)
    return to_pcm16(resample(samples, rate))


class WavSource:
    """A WAV file as the microphone of a rehearsal; a second of silence follows it, so that its last word ends.

    Raises BadInput as `read_wav` does.
    """

    def __init__(self, path: str | Path) -> None:
        self._pcm = read_wav(path) + bytes(2 * RATE)
        self._at = 0

    def read(self, samples: int) -> bytes | None:
        """The next `samples`, fewer at the end, None after it."""
        if self._at >= len(self._pcm):
            return None
        chunk = self._pcm[self._at : self._at + 2 * samples]
        self._at += 2 * samples
        return chunk

    def heed(self, event: object) -> None:
        """A recording answers to nothing."""
