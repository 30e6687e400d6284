"""`python -m tests.bench.hearing`: hits, wrong phrases and false accepts, and what hearing costs.

All of it synthetic: espeak-ng's and flite's voices, the sentences of tests.hearing.sentences and the
hearing study's saw noise. Ratios to a floor of the same run: CPU seconds a second of audio.
`--every N` takes each N-th sentence only.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import sys
import time
from collections import Counter
from collections.abc import Iterable

from assistant.hearing.contract import BYTES_PER_S
from assistant.hearing.sphinx import Sphinx
from tests.hearing import sentences
from tests.hearing.voices import ESPEAK, FLITE, noisy, piece, table

NOISES: tuple[float | None, ...] = (None, 15.0)
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
    parser.add_argument("--every", type=int, default=1)
    every = parser.parse_args(argv).every
    voices = ESPEAK + (FLITE if shutil.which("flite") else ())
    phrases, recogniser = table(), Sphinx()
    commands = [phrase.text for phrase in phrases][::every]
    audio_s, cpu = 0.0, time.process_time()
    for snr_db in NOISES:
        print(f"-- {'clean' if snr_db is None else f'{snr_db:g} dB'}")
        tally: Counter[tuple[str, str]] = Counter()
        for voice, text, sound in pieces(voices, commands, snr_db):
            result = recogniser.decode(sound, phrases)
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
    resident = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"audio {audio_s:.0f} s, CPU/audio {ratio:.3f} (limit {CPU_LIMIT}), largest resident size {resident:.0f} MB")
    return int(ratio > CPU_LIMIT)


def _figures(measures: dict[str, float]) -> str:
    return " ".join(f"{name}={value:.2f}" for name, value in measures.items())


if __name__ == "__main__":
    sys.exit(main())
