"""The labelled clips of one half, and the streams that they are placed in."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from assistant.hearing.contract import RATE
from tests.hearing.corpus import human, near, noise, speakers
from tests.hearing.voices import floats, pcm, table

HALVES = ("tune", "report")
KINDS = ("phrase", "pair", "human", "near", "other", "one off", "denied")
SPEECH = 0.06  # level of the sounding samples, full scale = 1: as the study's, peak -3 dB halved
ROOM = 1e-4  # of a quiet room
GAP_S = (0.8, 1.2)
CONDITIONS = ("clean", "echo", "20 dB", "10 dB", "5 dB", "0 dB")


@dataclass(frozen=True, slots=True)
class Clip:
    """Something said, and what must come of it.

    kind: one of `KINDS`; "phrase" and "pair" must be heard as `text`, the others never. name: for people. sound:
    bare, 16 kHz, 16 bit.
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


def clips(half: str, kind: str, every: int = 1) -> list[Clip]:
    """One half's clips of this kind, each N-th only; in a fixed order. Speaks two at a time."""
    if kind == "human":
        pieces = (human.prompts(half) + human.read_speech(half))[::every]
        return [Clip(kind, name, "", sound) for name, sound in pieces]
    if kind == "pair":
        return [Clip(kind, name, text, sound) for name, text, sound in human.pairs(half)[::every]]
    texts = {
        "phrase": tuple(phrase.text for phrase in table()),
        "near": near.near(half),
        "other": near.other(half),
        "one off": near.one_off(half),
        "denied": near.denied(half),
    }[kind]
    wanted = [(voice, text) for text in texts for voice in speakers.usable(half)]
    # By hash: each N-th of the list could always be the same voice.
    wanted = sorted(wanted, key=lambda pair: zlib.crc32(":".join(pair).encode()))[::every]
    with ThreadPoolExecutor(2) as pool:
        sounds = list(pool.map(lambda pair: speakers.say(*pair), wanted))
    return [Clip(kind, f"{voice}: {text}", text, sound) for (voice, text), sound in zip(wanted, sounds, strict=True)]


def snr_of(condition: str) -> float | None:
    """dB, or None for quiet."""
    return float(condition.removesuffix(" dB")) if condition.endswith(" dB") else None


def stream(items: list[Clip], condition: str, seed: int) -> Stream:
    """The clips one after another on one background, 0.8 to 1.2 s of it between, 2 s before the first.

    Ratio: the study's way of counting, sounding samples of each clip against the noise.
    """
    rng = np.random.default_rng(seed)
    bodies, spans, at = [], [], 2 * RATE
    for number, clip in enumerate(items):
        samples = floats(clip.sound)
        sounding = np.abs(samples) > 500 / 32768
        bare = len(samples)
        samples = samples * SPEECH / samples[sounding].std()
        if condition == "echo":
            samples = noise.echoed(samples, seed + number)
        bodies.append((at, samples))
        spans.append((at, at + bare))
        at += bare + round(rng.uniform(*GAP_S) * RATE)
    total = np.zeros(at + RATE)
    for start, samples in bodies:
        total[start : start + len(samples)] += samples
    snr = snr_of(condition)
    if snr is None:
        total += rng.standard_normal(len(total)) * ROOM
    else:
        total += noise.saw(len(total), seed) * SPEECH / 10 ** (snr / 20)
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


def blocks(half: str, kind: str, condition: str, every: int = 1, size: int = 16) -> Iterator[Block]:
    """All clips of one kind, `size` to a stream, each stream with its own seed."""
    items = clips(half, kind, every)
    for number in range(0, len(items), size):
        seed = noise.SEEDS[half] + 1000 * (KINDS.index(kind) * 7 + CONDITIONS.index(condition)) + number
        yield Block(condition, tuple(items[number : number + size]), seed)


def noise_blocks(half: str, minutes: float) -> Iterator[Block]:
    """A working saw alone, a minute each, as loud as at 20, 10, 5 and 0 dB in turn."""
    for number in range(round(minutes)):
        yield Block(f"noise at {(20, 10, 5, 0)[number % 4]} dB", (), noise.SEEDS[half] + 900_000 + number)
