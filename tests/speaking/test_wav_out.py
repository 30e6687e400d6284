"""A WAV file that grows, valid at every moment."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import wave
from pathlib import Path

import pytest

from assistant.errors import BadInput, CouldNotRun
from assistant.speaking.wav_out import GrowingWav

ROOT = Path(__file__).parents[2]


def read(path: Path) -> bytes:
    """Second opinion: the standard library's reader, and the file's size against its header."""
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, 22050)
        data = file.readframes(file.getnframes())
    assert int.from_bytes(path.read_bytes()[4:8], "little") == 36 + len(data)
    return data


def test_it_is_whole_after_every_write_without_being_closed(tmp_path: Path) -> None:
    path = tmp_path / "said.wav"
    wav = GrowingWav(path, 22050)
    assert read(path) == b""
    for n in range(1, 4):
        wav.write(bytes([n, 0]) * 10)
        assert len(read(path)) == 20 * n and wav.frames == 10 * n
    wav.close()


def test_appending_goes_on_at_the_end(tmp_path: Path) -> None:
    path = tmp_path / "said.wav"
    for value in (1, 2):
        wav = GrowingWav(path, 22050, append=True)
        wav.write(bytes([value, 0]) * 5)
        wav.close()
    assert read(path) == b"\1\0" * 5 + b"\2\0" * 5
    GrowingWav(path, 22050).close()
    assert read(path) == b""


def test_samples_that_the_header_does_not_count_yet_are_dropped(tmp_path: Path) -> None:
    """The process was killed between the samples and the header."""
    path = tmp_path / "said.wav"
    wav = GrowingWav(path, 22050)
    wav.write(b"\1\0" * 5)
    wav.close()
    with path.open("ab") as file:
        file.write(b"\7\7\7")
    wav = GrowingWav(path, 22050, append=True)
    wav.write(b"\2\0")
    wav.close()
    assert read(path) == b"\1\0" * 5 + b"\2\0"


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no kill -9 here")
def test_a_killed_process_leaves_a_valid_file(tmp_path: Path) -> None:
    path = tmp_path / "said.wav"
    code = """
import os, signal, sys
from pathlib import Path
from assistant.speaking.wav_out import GrowingWav
wav = GrowingWav(Path(sys.argv[1]), 22050)
for _ in range(7):
    wav.write(b"\\5\\0" * 100)
os.kill(os.getpid(), signal.SIGKILL)
"""
    done = subprocess.run([sys.executable, "-c", code, str(path)], cwd=ROOT, env=os.environ)
    assert done.returncode == -signal.SIGKILL
    assert read(path) == b"\5\0" * 700


def test_a_file_of_another_kind_is_not_continued(tmp_path: Path) -> None:
    path = tmp_path / "said.wav"
    path.write_bytes(b"a letter, not a sound")
    with pytest.raises(BadInput, match="is not a WAV file.*another file with --speaker"):
        GrowingWav(path, 22050, append=True)
    assert path.read_bytes() == b"a letter, not a sound"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(44100)
        file.writeframes(bytes(400))
    with pytest.raises(BadInput, match=r"22050 Hz file can be continued \(got 2 channels, 16 bit, 44100 Hz\)"):
        GrowingWav(path, 22050, append=True)


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    with pytest.raises(CouldNotRun, match="can't be written"):
        GrowingWav(tmp_path / "missing" / "said.wav", 22050)
