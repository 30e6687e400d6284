"""Writes a WAV file that grows and is valid at every moment, even if the process is killed."""

from __future__ import annotations

import struct
import wave
from pathlib import Path

from assistant.errors import BadInput, CouldNotRun, Fault

HEADER = struct.Struct("<4sI4s4sIHHIIHH4sI")
LONGEST_BYTES = 0xFFFF_FFFF - HEADER.size  # a WAV file's sizes are 32-bit numbers


class GrowingWav:
    """The file, int16 mono at `rate`. append: continue at the end of an existing file.

    Raises BadInput for a file that can't be continued (it is not such a WAV), CouldNotRun if it can't be written.
    """

    def __init__(self, path: Path, rate: int, append: bool = False):
        self._path, self._rate = path, rate
        try:
            self.frames = _frames_in(path, rate) if append and path.exists() else 0
            self._file = path.open("r+b" if self.frames else "wb")
        except OSError as error:
            raise CouldNotRun(f"{path} can't be written: {error}") from error
        try:
            self._write_header()
            # A run that was killed may have left samples that the header doesn't count.
            self._file.truncate(HEADER.size + 2 * self.frames)
        except OSError as error:
            self._file.close()
            raise CouldNotRun(f"{path} can't be written: {error}") from error

    def write(self, samples: bytes) -> None:
        """Appends whole frames. When this returns, they are in the file, and its header counts them."""
        if HEADER.size + 2 * self.frames + len(samples) > LONGEST_BYTES:
            raise CouldNotRun(f"{self._path} has reached the 4 GB that a WAV file can hold")
        try:
            self._file.seek(HEADER.size + 2 * self.frames)
            self._file.write(samples)
            # The samples are written before the header that counts them: a header never promises what isn't there.
            self._file.flush()
            self.frames += len(samples) // 2
            self._write_header()
        except OSError as error:
            raise CouldNotRun(f"{self._path} can't be written: {error}") from error

    def close(self) -> None:
        self._file.close()

    def _write_header(self) -> None:
        size = 2 * self.frames
        riff, data = size + HEADER.size - 8, size
        fields = (b"RIFF", riff, b"WAVE", b"fmt ", 16, 1, 1, self._rate, 2 * self._rate, 2, 16, b"data", data)
        self._file.seek(0)
        self._file.write(HEADER.pack(*fields))
        self._file.flush()


def _frames_in(path: Path, rate: int) -> int:
    try:
        with wave.open(str(path), "rb") as file:
            found = (file.getnchannels(), file.getsampwidth(), file.getframerate())
            frames = file.getnframes()
        with path.open("rb") as raw:
            start = raw.read(HEADER.size)
    except (wave.Error, EOFError) as error:
        raise BadInput([_not_ours(path, f"is not a WAV file: {error}")]) from error
    if found != (1, 2, rate):
        value = f"{found[0]} channels, {8 * found[1]} bit, {found[2]} Hz"
        raise BadInput([_not_ours(path, f"only a mono, 16 bit, {rate} Hz file can be continued", value)])
    # Where our own header has it: the sizes are written over in place.
    if start[36:40] != b"data":
        raise BadInput([_not_ours(path, "has other chunks before its samples")])
    return min(frames, (path.stat().st_size - HEADER.size) // 2)


def _not_ours(path: Path, what: str, value: str = "") -> Fault:
    return Fault(what, value, str(path), "give another file with --speaker, or move this one away")
