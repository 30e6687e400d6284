"""`python -m tests.bench.hearing`: hits, wrong phrases and false accepts, and what hearing costs.

All of it synthetic: espeak-ng's and flite's voices, the sentences of tests.hearing.sentences and the
hearing study's saw noise, undenoised. The acceptance limits were set on these same voices and sentences, so
the figures are optimistic. Ratio to a floor of the same run: CPU seconds a second of audio.
`--every N` takes each N-th sentence only (1: all of them, some ten minutes).
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterable

import numpy as np

from assistant.hearing.contract import BYTES_PER_S
from assistant.hearing.endpoint import Limits
from assistant.hearing.sphinx import Sphinx
from tests.hearing import sentences
from tests.hearing.voices import ESPEAK, FLITE, noisy, piece, table

NOISES: tuple[float | None, ...] = (None, 10.0, 5.0)
REACTION_LIMIT_S = 0.6
MEMORY_LIMIT_MB = 250
CPU_LIMIT = 0.35  # CPU seconds a second of audio


def pieces(voices: Iterable[str], texts: Iterable[str], snr_db: float | None) -> Iterable[tuple[str, str, bytes]]:
    """Voice, sentence and sound of each."""
    for seed, voice in enumerate(voices):
        for text in texts:
            sound = piece(voice, text)
            yield voice, text, sound if snr_db is None else noisy(sound, snr_db, seed)


def main(argv: list[str] | None = None) -> int:
    """Print the table; 1 when the ratio is over its limit."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--every", type=int, default=3)
    every = parser.parse_args(argv).every
    voices = ESPEAK + (FLITE if shutil.which("flite") else ())
    phrases, recogniser = table(), Sphinx()
    commands = [phrase.text for phrase in phrases][::every]
    audio_s, cpu = 0.0, time.process_time()
    took: list[float] = []
    for snr_db in NOISES:
        print(f"-- {'clean' if snr_db is None else f'{snr_db:g} dB'}")
        tally: Counter[tuple[str, str]] = Counter()
        for voice, text, sound in pieces(voices, commands, snr_db):
            began = time.perf_counter()
            result = recogniser.decode(sound, phrases)
            took.append(time.perf_counter() - began)
            audio_s += len(sound) / BYTES_PER_S
            kind = "hit" if result.text == text else "wrong" if result.text else "miss"
            tally[voice, kind] += 1
            if kind != "hit":
                print(f"   {kind}: {voice}: {text!r}: {result.text or result.reason} {_figures(result.measures)}")
        for voice in voices:
            print(f"{voice:20s} hits {tally[voice, 'hit']}/{len(commands)} wrong {tally[voice, 'wrong']}")
        for name in ("NEAR", "OTHER", "DENIALS"):
            texts = getattr(sentences, name)[::every]
            taken = 0
            for voice, text, sound in pieces(voices, texts, snr_db):
                result = recogniser.decode(sound, phrases)
                audio_s += len(sound) / BYTES_PER_S
                if result.text:
                    taken += 1
                    print(f"   taken: {voice}: {text!r} for {result.text!r} {_figures(result.measures)}")
            print(f"{name:20s} taken for a phrase {taken}/{len(texts) * len(voices)}")
    ratio = (time.process_time() - cpu) / audio_s
    reactions = [Limits().hangover + seconds for seconds in took]
    median, worst = float(np.median(reactions)), float(np.percentile(reactions, 95))
    print(f"last sound to answer, hangover and decoding: median {median:.2f} s, p95 {worst:.2f} s", end="")
    print(f" (to hold: {REACTION_LIMIT_S} s)")
    print(f"main and child listening: {listening_mb():.0f} MB PSS (to hold: {MEMORY_LIMIT_MB} MB)")
    print(f"audio {audio_s:.0f} s, CPU/audio {ratio:.3f} (at most {CPU_LIMIT})")
    return int(ratio > CPU_LIMIT)


def listening_mb() -> float:
    """Proportional set size, MB, of a bare program that listens and of its child, after ten seconds of sound."""
    done = subprocess.run([sys.executable, "-c", LISTENING], capture_output=True, text=True, check=True)
    return float(done.stdout.split()[-1])


LISTENING = """
import psutil
from assistant.hearing.listener import FileListener
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.model import VoiceSettings
from assistant.runner.clock import SetClock

if __name__ == "__main__":
    ear = FileListener(SetClock(), lambda event: None, VoiceSettings(), DEFAULT_CHECKS)
    for _ in range(100):
        ear.feed(bytes(3200))
    sizes = [psutil.Process(pid).memory_full_info().pss for pid in (None, ear.pid)]
    ear.close()
    print(sum(sizes) / 1e6)
"""


def _figures(measures: dict[str, float]) -> str:
    return " ".join(f"{name}={value:.2f}" for name, value in measures.items())


if __name__ == "__main__":
    sys.exit(main())
