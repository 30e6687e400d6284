"""`python -m tests.hearing.template_study`: what voice templates keep and refuse in noise, at the limit in force.

Each synthetic user enrols every phrase at three durations and pitches and says it again at another; the sentences
that must not pass are of the same voice, and count where the grammar alone takes them for a phrase: so what is shown
is what templates add to a recogniser that accepts everything. Noise: the hearing study's formula. Pieces go through
the noise suppression in force, and are judged both as they come out of it and as they went in. The limits were set
on users of even number; users of odd number are shown apart. `--every N`: each N-th phrase; `--users N`: so many.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from assistant.hearing.contract import RATE
from assistant.hearing.decoder import units
from assistant.hearing.denoise import choose_denoiser
from assistant.hearing.sphinx import FILLERS, Sphinx
from assistant.hearing.templates import Voice, judge
from assistant.hearing.wav import read_wav
from tests.hearing import sentences
from tests.hearing.voices import floats, padded, pcm, saw_noise, table

USERS = ("en-us", "flite:slt", "en-gb-scotland+m3", "flite:rms", "en-us+f3", "flite:awb", "en-gb", "flite:kal16")
F0_HZ = {"slt": 170, "rms": 105, "awb": 100, "kal16": 105}
ENROLLED = ((0.88, 0.94), (1.07, 1.0), (1.2, 1.06))  # duration, pitch, times the voice's own
NEW = (1.0, 1.0)
NOISES: tuple[float | None, ...] = (None, 20.0, 10.0, 5.0, 0.0)
ROOM = 0.001  # of full scale
SETTLING_S = 2.0  # of noise that the suppression hears first


def said(user: str, text: str, duration: float, pitch: float) -> bytes:
    """16 kHz mono, peak -3 dB, 0.3 s of silence before and 0.35 s after."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        if user.startswith("flite:"):
            voice = user.removeprefix("flite:")
            settings = [f"duration_stretch={duration}", f"int_f0_target_mean={F0_HZ[voice] * pitch}"]
            words = ["flite", "-voice", voice, "--setf", settings[0], "--setf", settings[1], "-t", text, "-o"]
        else:
            speed, height = round(160 / duration), round(50 + 150 * (pitch - 1))
            words = ["espeak-ng", "-v", user, "-s", str(speed), "-p", str(height), text, "-w"]
        subprocess.run([*words, str(path)], check=True, capture_output=True, timeout=30)
        samples = floats(read_wav(path))
    loud = np.flatnonzero(np.abs(samples) > 0.005 * np.abs(samples).max())
    samples = samples[loud[0] : loud[-1] + 1]
    return padded(pcm(samples * 0.708 / np.abs(samples).max()), 0.3, 0.35)


def through(sound: bytes, snr_db: float | None, seed: int) -> tuple[bytes, bytes]:
    """The piece in its noise, and the same after noise suppression that has settled."""
    samples = floats(sound)
    settling = round(SETTLING_S * RATE)
    count = settling + len(samples) + RATE
    noise = np.random.default_rng(seed).standard_normal(count) * ROOM
    if snr_db is not None:
        level = samples[np.abs(samples) > 500 / 32768].std()
        noise += saw_noise(count, seed) * level / 10 ** (snr_db / 20)
    noise[settling : settling + len(samples)] += samples
    stream = pcm(noise / 2)
    denoiser, _ = choose_denoiser()
    clean = b"".join(denoiser.frame(stream[n : n + 320]) for n in range(0, len(stream) // 320 * 320, 320))
    start, length = 2 * settling, len(sound)
    late = start + 2 * round(denoiser.delay_s * RATE)
    return stream[start : start + length], clean[late : late + length]


@dataclass(frozen=True, slots=True)
class Judged:
    user: int
    true: bool
    snr_db: float | None
    heard: bool
    distances: dict[str, tuple[float, float]]  # by "suppressed" and "raw": distance, limit


class User:
    """A synthetic user, enrolled twice: with pieces as they came in, and after noise suppression."""

    def __init__(self, number: int, every: int) -> None:
        self.number, self.name = number, USERS[number]
        self._phrases = table(12)
        texts = [p.text for p in self._phrases if p.intent != "go to"][::every]
        self.texts = texts
        self.voices = {"suppressed": Voice(), "raw": Voice()}
        self._sphinx = Sphinx()
        self._sphinx._use(self._phrases, tuple(p.text for p in self._phrases))
        for text in texts:
            pairs = [through(said(self.name, text, *manner), None, n) for n, manner in enumerate(ENROLLED)]
            for kind, place in (("raw", 0), ("suppressed", 1)):
                # From the first sound to the last, as the end-pointer does it.
                self.voices[kind].enrol(text, [pair[place][2 * 4800 : -2 * 5600] for pair in pairs])

    def heard(self, piece: bytes) -> tuple[str, int, int] | None:
        """The grammar's words, however poor their scores, and their first and last frame."""
        found = units(self._sphinx._grammar, self._sphinx._dithered(piece))
        words = [unit for unit in found if unit.name not in FILLERS]
        if not words:
            return None
        return " ".join(self._sphinx._plain(unit.name) for unit in words), words[0].first, words[-1].last

    def judged(self, text: str, true: bool) -> Iterator[Judged]:
        sound = said(self.name, text, *NEW)
        for n, snr_db in enumerate(NOISES):
            raw, clean = through(sound, snr_db, 10 * self.number + n + 3)
            found = self.heard(clean)
            wanted = {text} if true else set(self.texts)
            if found is None or found[0] not in wanted:
                yield Judged(self.number, true, snr_db, False, {})
                continue
            results = {
                kind: judge(self.voices[kind], piece, found[1], found[2], found[0]) or (float("inf"), 0.0)
                for kind, piece in (("suppressed", clean), ("raw", raw))
            }
            yield Judged(self.number, true, snr_db, True, results)


def shown(results: list[Judged], kind: str) -> None:
    print(f"-- {kind}: phrases kept and sentences refused by the limit; at the limit that keeps 90, 95, 98 %")
    for snr_db in NOISES:
        here = [one for one in results if one.snr_db == snr_db]
        made_out = [one.distances[kind] for one in here if one.true and one.heard]
        near = [one.distances[kind] for one in here if not one.true and one.heard]
        if not made_out or not near:
            continue
        true, false = np.array(made_out), np.array(near)
        at = [
            f"{(false[:, 0] > np.percentile(true[:, 0] / true[:, 1], q) * false[:, 1]).mean():.2f}"
            for q in (90, 95, 98)
        ]
        kept, refused = (true[:, 0] <= true[:, 1]).mean(), (false[:, 0] > false[:, 1]).mean()
        name = "clean" if snr_db is None else f"{snr_db:g} dB"
        middle = (np.median(true[:, 0]), np.median(false[:, 0]), np.median(true[:, 1]))
        median = "median {:.2f} against {:.2f}, limit {:.2f}".format(*middle)
        print(
            f"{name:>6}: kept {kept:.2f} of {len(true):3d}, refused {refused:.2f} of {len(false):3d}; {median}; ", *at
        )


def main(argv: list[str] | None = None) -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--every", type=int, default=2)
    parser.add_argument("--users", type=int, default=4)
    args = parser.parse_args(argv)
    print(choose_denoiser()[1])
    results: list[Judged] = []
    for number in range(min(args.users, len(USERS))):
        user = User(number, args.every)
        for text in user.texts:
            results += user.judged(text, True)
        for text in (sentences.NEAR + sentences.DENIALS)[:: args.every]:
            results += user.judged(text, False)
        spreads = ", ".join(f"{kind} {voice.spread:.2f}" for kind, voice in user.voices.items())
        print(f"{user.name}: spread of its own repeats: {spreads}", flush=True)
    for kind in ("suppressed", "raw"):
        for name, half in (("even users", 0), ("odd users", 1)):
            print(f"== {name}")
            shown([one for one in results if one.user % 2 == half], kind)
    return 0


if __name__ == "__main__":
    sys.exit(main())
