"""Synthetic voices and noise for the hearing tests. Sound is made at run time; nothing is kept in the repository."""

from __future__ import annotations

import functools
import shutil
import subprocess
import tempfile
import wave
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.hearing.contract import RATE
from assistant.hearing.sphinx import Sphinx
from assistant.hearing.wav import read_wav
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.wording.phrases import Phrase, whole_table

ESPEAK = ("en-us", "en-us+f3", "en-gb", "en-gb-scotland+m3")
FLITE = ("flite:slt", "flite:rms", "flite:awb", "flite:kal16")
LEAD_IN = "marigold"


@functools.cache
def sphinx() -> Sphinx:
    """One for all tests of a process: it takes longer to make than most of them, and keeps nothing of what it heard."""
    return Sphinx()


def table(passes: int = 12) -> tuple[Phrase, ...]:
    """Everything that can be said with the default checks, in the usual wordings."""
    return tuple(phrase for phrase in whole_table(DEFAULT_CHECKS, LEAD_IN, passes) if not phrase.short)


def short(passes: int = 12) -> tuple[Phrase, ...]:
    """The short wordings of it, for a recogniser that can doubt."""
    return tuple(phrase for phrase in whole_table(DEFAULT_CHECKS, LEAD_IN, passes) if phrase.short)


def need(program: str) -> None:
    """Skip where the voice isn't installed."""
    if shutil.which(program) is None:
        pytest.skip(f"needs {program} (a system package) to speak the test sentences")


def in_turn(voices: Sequence[str], sayings: Sequence[tuple[str, ...]]) -> list[Any]:
    """Parameters (voice, *saying): each saying in the next voice, and in the long run in every other one too."""
    return [
        pytest.param(voice, *saying, marks=() if n % len(voices) == m else pytest.mark.long)
        for n, saying in enumerate(sayings)
        for m, voice in enumerate(voices)
    ]


@functools.lru_cache(maxsize=4096)
def spoken(voice: str, text: str) -> bytes:
    """The bare sentence: 16 kHz mono, 16 bit, peak -3 dB, silence around it cut off."""
    if voice.startswith("flite:"):
        return read_spoken(["flite", "-voice", voice.removeprefix("flite:")], text)
    return read_spoken(["espeak-ng", "-v", voice], text)


def read_spoken(command: list[str], text: str) -> bytes:
    """As `spoken`, with a command of espeak-ng or flite to which the sentence and the file are added."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        rest = ["-t", text, "-o", str(path)] if command[0] == "flite" else ["-w", str(path), text]
        subprocess.run([*command, *rest], check=True, capture_output=True, timeout=30)
        samples = floats(read_wav(path))
    loud = np.flatnonzero(np.abs(samples) > 0.005 * np.abs(samples).max())
    samples = samples[loud[0] : loud[-1] + 1]
    return pcm(samples * 0.708 / np.abs(samples).max())


def padded(sound: bytes, before_s: float = 0.5, after_s: float = 0.8) -> bytes:
    """The sound with silence around it."""
    return bytes(2 * round(before_s * RATE)) + sound + bytes(2 * round(after_s * RATE))


def piece(voice: str, text: str) -> bytes:
    """The sound as the end-pointer would cut it: 0.3 s before, 0.35 s after."""
    return padded(spoken(voice, text), 0.3, 0.35)


def tone(hz: float, seconds: float = 1.0, amplitude: float = 0.5, rate: int = RATE) -> np.ndarray:
    """A sine that begins at zero. Amplitude 1 is full scale."""
    return amplitude * np.sin(2 * np.pi * hz * np.arange(round(rate * seconds)) / rate)


def sine_of(dbfs: float, seconds: float = 1.5) -> np.ndarray:
    """A sine of this level: RMS, where that of full scale would be 1."""
    return tone(440, seconds, 10 ** (dbfs / 20) * 2**0.5)


def floats(sound: bytes) -> np.ndarray:
    return np.frombuffer(sound, "<i2").astype(np.float64) / 32768


def pcm(samples: np.ndarray) -> bytes:
    return np.clip(samples * 32768, -32768, 32767).astype("<i2").tobytes()


def saw_noise(count: int, seed: int = 1) -> np.ndarray:
    """Unit variance; the hearing study's formula: falling spectrum, a blade tone at 1,600 Hz, hum at 120 Hz."""
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal(count))
    shaped = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.fft.rfftfreq(count, 1 / RATE), 80)), count)
    t = np.arange(count) / RATE
    blade = sum(np.sin(2 * np.pi * h * 1600 * t + rng.uniform(0, 2 * np.pi)) / h for h in (1, 2, 3))
    hum = sum(np.sin(2 * np.pi * h * 120 * t) / h for h in (1, 2, 3))
    noise = shaped / shaped.std() + 0.5 * blade + 0.4 * hum
    return noise / noise.std()


def noisy(sound: bytes, snr_db: float, seed: int = 1) -> bytes:
    """With saw noise at this ratio (the study's way of counting it), then halved."""
    samples = floats(sound)
    level = samples[np.abs(samples) > 500 / 32768].std()
    return pcm((samples + saw_noise(len(samples), seed) * level / 10 ** (snr_db / 20)) / 2)


def write_wav(path: Path, sound: bytes, rate: int = RATE, channels: int = 1, width: int = 2) -> Path:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(width)
        file.setframerate(rate)
        file.writeframes(sound)
    return path
