"""Labelled clips, and the streams that they are placed in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from assistant.hearing.contract import RATE
from tests.hearing.corpus import noise
from tests.hearing.voices import floats, pcm

HALVES = ("tune", "report")
SPEECH = 0.06  # level of the sounding samples, full scale = 1: as the study's, peak -3 dB halved
ROOM = 1e-4  # of a quiet room
GAP_S = (0.8, 1.2)
ROOMS = {"echo 0.6 s": 0.6, "echo 1.0 s": 1.0}  # RT60
PAUSES = {"pause 0.3 s": 0.3, "pause 0.5 s": 0.5}
CONDITIONS = ("clean", "20 dB", "10 dB", "5 dB", "0 dB", *ROOMS, "300-3400 Hz", "gain 0.1", *PAUSES)


@dataclass(frozen=True, slots=True)
class Clip:
    """Something said, and what must come of it.

    kind: one of `work.KINDS`. text: what must be heard, where anything must be. name: for people. sound: bare, 16 kHz,
    16 bit.
    """

    kind: str
    name: str
    text: str
    sound: bytes


@dataclass(frozen=True, slots=True)
class Stream:
    """sound: 16 kHz, 16 bit. spans: samples, the first and one past the last of each clip in order."""

    condition: str
    sound: bytes
    clips: tuple[Clip, ...]
    spans: tuple[tuple[int, int], ...]


def snr_of(condition: str) -> float | None:
    """dB, or None for quiet."""
    return float(condition.removesuffix(" dB")) if condition.endswith(" dB") else None


def stream(items: list[Clip], condition: str, seed: int) -> Stream:
    """The clips one after another on one background, 0.8 to 1.2 s of it between, 2 s before the first.

    In a room the next waits until the last has died away. A pause is in the clips already (`natural.paused`). Ratio:
    the study's way of counting, sounding samples of each clip against the noise.
    """
    rng = np.random.default_rng(seed)
    rt60 = ROOMS.get(condition, 0.0)
    bodies, spans, at = [], [], 2 * RATE
    for number, clip in enumerate(items):
        samples = floats(clip.sound)
        sounding = np.abs(samples) > 500 / 32768
        bare = len(samples)
        samples = samples * SPEECH / samples[sounding].std()
        if rt60:
            samples = noise.in_room(samples, rt60, seed + number)
        bodies.append((at, samples))
        spans.append((at, at + bare))
        at += bare + round((rng.uniform(*GAP_S) + rt60) * RATE)
    total = np.zeros(at + RATE)
    for start, samples in bodies:
        total[start : start + len(samples)] += samples
    snr = snr_of(condition)
    if snr is None:
        total += rng.standard_normal(len(total)) * ROOM
    else:
        total += noise.saw(len(total), seed) * SPEECH / 10 ** (snr / 20)
    if condition == "300-3400 Hz":
        total = noise.through_headset(total)
    elif condition == "gain 0.1":
        total *= 0.1
    return Stream(condition, pcm(total), tuple(items), tuple(spans))


@dataclass(frozen=True, slots=True)
class Block:
    """What one stream is made of: small enough to hand to another process. No clips: a minute of a working saw."""

    condition: str
    clips: tuple[Clip, ...]
    seed: int

    def stream(self) -> Stream:
        return stream(list(self.clips), self.condition, self.seed) if self.clips else self._noise()

    def _noise(self) -> Stream:
        sound = noise.working_saw(60, self.seed) * SPEECH / 10 ** (float(self.condition.split()[-2]) / 20)
        return Stream(self.condition, pcm(sound), (), ())


def noise_blocks(half: str, minutes: float) -> Iterator[Block]:
    """A working saw alone, a minute each, as loud as at 20, 10, 5 and 0 dB in turn."""
    for number in range(round(minutes)):
        yield Block(f"noise at {(20, 10, 5, 0)[number % 4]} dB", (), noise.SEEDS[half] + 900_000 + number)
