"""Twelve synthetic voices of three engines, six to a half.

The same speaker stands behind flite's kal16 and festival's kal_diphone, and behind flite's slt and festival's
HTS voice: both of each are on one side.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np

from assistant.hearing.wav import read_wav
from tests.hearing.corpus import cache
from tests.hearing.voices import floats, pcm

VOICES: dict[str, tuple[str, ...]] = {
    "tune": (
        "flite:kal16",
        "flite:rms",
        "festival:kal_diphone",
        "espeak:en-us",
        "espeak:en-gb+f3",
        "espeak:en-gb-scotland",
    ),
    "report": (
        "flite:slt",
        "flite:awb",
        "festival:cmu_us_slt_arctic_hts",
        "espeak:en-us+f3",
        "espeak:en-gb",
        "espeak:en-gb-scotland+m3",
    ),
}
PROGRAMS = {"flite": "flite", "festival": "text2wave", "espeak": "espeak-ng"}
FESTIVAL_VOICES = Path("/usr/share/festival/voices")
SILENT = 0.005  # of the peak


def installed(voice: str) -> bool:
    """Whether its engine and festival's voice package are installed."""
    engine, _, name = voice.partition(":")
    if shutil.which(PROGRAMS[engine]) is None:
        return False
    return engine != "festival" or any(FESTIVAL_VOICES.glob(f"*/{name}"))


def usable(half: str) -> tuple[str, ...]:
    return tuple(voice for voice in VOICES[half] if installed(voice))


def say(voice: str, text: str) -> bytes:
    """The bare sentence: 16 kHz mono, 16 bit, peak -3 dB, silence around it cut off."""
    return cache.kept(lambda: _spoken(voice, text), "voice", voice, text)


def _spoken(voice: str, text: str) -> bytes:
    engine, _, name = voice.partition(":")
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "said.wav"
        commands = {
            "flite": ["flite", "-voice", name, "-t", text, "-o", str(path)],
            "festival": ["text2wave", "-eval", f"(voice_{name})", "-o", str(path)],
            "espeak": ["espeak-ng", "-v", name, "-w", str(path), text],
        }
        said = text.encode() if engine == "festival" else b""
        subprocess.run(commands[engine], input=said, check=True, capture_output=True, timeout=60)
        return trimmed(floats(read_wav(path)))


def trimmed(samples: np.ndarray) -> bytes:
    """Silence at its ends cut off, peak -3 dB."""
    peak = np.abs(samples).max()
    loud = np.flatnonzero(np.abs(samples) > SILENT * peak)
    return pcm(samples[loud[0] : loud[-1] + 1] * 0.708 / peak)
