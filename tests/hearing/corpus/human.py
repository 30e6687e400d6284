"""Human speech: one speaker's telephone prompts, and read prose and short talk from a recogniser's own test data.

Sources: Debian's asterisk-core-sounds-en-g722; the source distribution of pocketsphinx 5.1.1, test/data. A file's
half goes by the hash of its name. Joined pairs of the radiotelephony alphabet's words are the only human positives.
"""

from __future__ import annotations

import hashlib
import io
import json
import subprocess
import sys
import tarfile
import wave
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from assistant.hearing.contract import RATE
from tests.hearing.corpus import cache
from tests.hearing.corpus.speakers import trimmed
from tests.hearing.voices import floats

SOUNDS = Path("/usr/share/asterisk/sounds")
SOURCE = "pocketsphinx==5.1.1"
READ = ("/test/data/librivox/", "/test/data/cards/")
NOT_SPEECH = ("silence/", "phonetic/", "beep", "tone")
ALPHABET = (
    "alpha",
    "bravo",
    "charlie",
    "delta",
    "echo",
    "foxtrot",
    "golf",
    "hotel",
    "india",
    "juliet",
    "kilo",
    "lima",
    "mike",
    "november",
    "oscar",
    "papa",
    "quebec",
    "romeo",
    "sierra",
    "tango",
    "uniform",
    "victor",
    "whiskey",
    "x-ray",
    "yankee",
    "zulu",
)
PAUSE_S, QUIET, SHORTEST_S, LONGEST_S = 0.3, 0.05, 0.2, 4.8


def half_of(name: str) -> str:
    """Either "tune" or "report", for good, by the name alone."""
    return ("tune", "report")[hashlib.sha256(name.encode()).digest()[0] % 2]


def prompts(half: str) -> list[tuple[str, bytes]]:
    """Names and pieces of the prompts, cut at pauses; none where the package is missing."""
    root = next(iter(sorted(SOUNDS.glob("en_US_f_*"))), None)
    if root is None:
        return []
    names = [path.relative_to(root).as_posix() for path in sorted(root.rglob("*.g722"))]
    names = [name for name in names if half_of(name) == half and not any(word in name for word in NOT_SPEECH)]
    with ThreadPoolExecutor(2) as pool:
        sounds = list(pool.map(lambda name: _decoded(root / name), names))
    return [
        (f"prompt {name}#{number}", piece)
        for name, sound in zip(names, sounds, strict=True)
        for number, piece in enumerate(cut(sound))
    ]


def read_speech(half: str) -> list[tuple[str, bytes]]:
    """Names and pieces of what was read aloud, cut at pauses; none without a registry to get the source from."""
    return [
        (f"read {name}#{number}", piece)
        for name, sound in _source_files().items()
        if half_of(name) == half
        for number, piece in enumerate(cut(sound))
    ]


def pairs(half: str) -> list[tuple[str, str, bytes]]:
    """Name, words and sound: each alphabet word with the one thirteen further on, 60 ms between."""
    root = next(iter(sorted(SOUNDS.glob("en_US_f_*"))), None)
    if root is None:
        return []
    words = {word: trimmed(floats(_decoded(root / f"phonetic/{word[0]}_p.g722"))) for word in ALPHABET}
    gap = bytes(2 * round(0.06 * RATE))
    found = []
    for number, word in enumerate(ALPHABET):
        other = ALPHABET[(number + 13) % 26]
        text = f"{word} {other}"
        if half_of(text) == half and "x-ray" not in text:
            found.append((f"pair {text}", text, words[word] + gap + words[other]))
    return found


def cut(sound: bytes) -> list[bytes]:
    """Pieces between pauses, peak -3 dB (hearing study, "Rebuilding the test audio"); skips long ones."""
    samples = floats(sound)
    frames = samples[: len(samples) // 160 * 160].reshape(-1, 160)
    level = np.sqrt((frames**2).mean(axis=1))
    if not len(level) or level.max() < 1e-3:
        return []
    loud = np.flatnonzero(level >= QUIET * level.max())
    groups = np.split(loud, np.flatnonzero(np.diff(loud) > PAUSE_S * 100) + 1)
    spans = [(group[0] * 160, (group[-1] + 1) * 160) for group in groups]
    return [trimmed(samples[first:last]) for first, last in spans if SHORTEST_S <= (last - first) / RATE <= LONGEST_S]


def _decoded(path: Path) -> bytes:
    data = path.read_bytes()
    command = ["ffmpeg", "-v", "error", "-f", "g722", "-i", "-", "-ar", str(RATE), "-ac", "1", "-f", "s16le", "-"]

    def make() -> bytes:
        return subprocess.run(command, input=data, check=True, capture_output=True, timeout=60).stdout

    return cache.kept(make, "g722", data)


def _source_files() -> dict[str, bytes]:
    """Name -> 16 kHz mono sound."""
    place = cache.folder() / "source"
    if not (place / "index.json").is_file():
        archive = _archive(place)
        if archive is None:
            return {}
        _unpacked(archive, place)
    names = json.loads((place / "index.json").read_text("utf-8"))
    return {name: (place / name).read_bytes() for name in names}


def _archive(place: Path) -> Path | None:
    place.mkdir(parents=True, exist_ok=True)
    command = [sys.executable, "-m", "pip", "download", "-q", "--no-binary", "pocketsphinx", "--no-deps", SOURCE]
    done = subprocess.run([*command, "-d", str(place)], capture_output=True, text=True, timeout=300, check=False)
    found = sorted(place.glob("pocketsphinx-*.tar.gz"))
    if not found:
        print(f"no read speech: the source of {SOURCE} can't be had: {done.stderr.strip()[-200:]}", file=sys.stderr)
        return None
    return found[0]


def _unpacked(archive: Path, place: Path) -> None:
    names = []
    with tarfile.open(archive) as tar:
        for member in tar.getmembers():
            if not (member.name.endswith(".wav") and any(part in member.name for part in READ)):
                continue
            file = tar.extractfile(member)
            assert file is not None
            with wave.open(io.BytesIO(file.read())) as sound:
                if (sound.getframerate(), sound.getnchannels(), sound.getsampwidth()) != (RATE, 1, 2):
                    continue
                name = Path(member.name).name.replace(".wav", ".raw")
                (place / name).write_bytes(sound.readframes(sound.getnframes()))
                names.append(name)
    (place / "index.json").write_text(json.dumps(sorted(names)), "utf-8")
