"""The demo's sound: two tracks an act, mixed into one WAV at the end."""

from __future__ import annotations

import wave
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import CouldNotRun

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

RATE = 22050


def voice_track(folder: Path, act: int) -> Path:
    """What Kerfcall says in this act."""
    return folder / f"demo-voice-{act}.wav"


def operator_track(folder: Path, act: int) -> Path:
    """What the operator says in this act, 16 kHz."""
    return folder / f"demo-operator-{act}.wav"


def write_mix(folder: Path, acts: int, out: Path) -> float:
    """Both tracks of every act, one after another, as mono 22,050 Hz; returns the length in seconds."""
    import numpy as np

    pieces = []
    for act in range(acts):
        tracks = [_samples(voice_track(folder, act)), _samples(operator_track(folder, act))]
        mixed = np.zeros(max(len(track) for track in tracks), np.float32)
        for track in tracks:
            mixed[: len(track)] += track
        pieces.append(mixed)
    sound = np.clip(np.concatenate(pieces), -1, 1)
    try:
        # Not by its name: a WAV writer that can't open its file complains again when it is collected.
        with out.open("wb") as file, wave.open(file, "wb") as wav:
            wav.setnchannels(1)
            wav.setsampwidth(2)
            wav.setframerate(RATE)
            wav.writeframes((sound * 32767).astype("<i2").tobytes())
    except OSError as error:
        raise unwritable(out, error) from error
    return len(sound) / RATE


def must_be_writable(out: Path) -> None:
    """Raises CouldNotRun when a file of this name can't be written; leaves one as it is and makes none."""
    there = out.exists()
    try:
        with out.open("ab"):
            pass
        if not there:
            out.unlink()
    except OSError as error:
        raise unwritable(out, error) from error


def unwritable(out: Path, error: OSError) -> CouldNotRun:
    return CouldNotRun(f"{out} can't be written: {error.strerror or error}; give another name with --out FILE.wav")


def _samples(path: Path) -> NDArray[np.float32]:
    """A track as floats at RATE."""
    import numpy as np

    from assistant.hearing.wav import resample

    with wave.open(str(path), "rb") as wav:
        rate = wav.getframerate()
        raw = np.frombuffer(wav.readframes(wav.getnframes()), "<i2")
    return resample(raw.astype(np.float32) / 32768, rate, RATE)
