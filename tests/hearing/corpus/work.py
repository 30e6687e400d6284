"""What is played to the recogniser: which clips, of whom, in which conditions."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor

from tests.hearing.corpus import human, natural, near, noise, speakers
from tests.hearing.corpus.clips import CONDITIONS, PAUSES, Block, Clip, noise_blocks
from tests.hearing.voices import table

# What one of these says must be heard as its text; what any other says, never.
WANTED = ("phrase", "short", "formant phrase", "pair")
# Hits are wanted in every condition, what must not be taken where the targets are.
NEGATIVE = ("clean", "10 dB", "5 dB")
WHERE: dict[str, tuple[str, ...]] = {
    "phrase": CONDITIONS,
    "opposite": NEGATIVE,
    "question": NEGATIVE,
    "harmless": NEGATIVE,
    "quoted": NEGATIVE,
    "order": NEGATIVE,
    "longer": NEGATIVE,
    "talk": NEGATIVE,
    "human": ("clean", "10 dB"),
    "pair": ("clean", "10 dB", "5 dB"),
    "formant phrase": ("clean", "10 dB", "5 dB"),
    "formant near": ("clean", "10 dB"),
    "formant denied": ("clean", "10 dB"),
    "short": CONDITIONS[:-2],
    "short denied": NEGATIVE,
}
KINDS = tuple(WHERE)
# Few clips, and the sharpest targets: twice as many as of the others where not all are played.
DENSE = ("opposite", "question", "harmless", "quoted", "order", "longer")
# The voices that have no say in the limits: each N-th only.
SPARSE = {"formant phrase": 4, "formant near": 8, "formant denied": 6}


def clips(half: str, kind: str, condition: str = "clean", every: int = 1) -> list[Clip]:
    """One half's clips of this kind as they are said for this condition, each N-th only; in a fixed order."""
    if kind == "phrase" and condition in PAUSES:
        return natural.paused(half, PAUSES[condition], every)
    if kind in natural.KINDS:
        return natural.clips(half, kind, max(1, every // 2) if kind in DENSE else every)
    if kind == "human":
        pieces = (human.prompts(half) + human.read_speech(half))[::every]
        return [Clip(kind, name, "", sound) for name, sound in pieces]
    if kind == "pair":
        return [Clip(kind, name, text, sound) for name, text, sound in human.pairs(half)[::every]]
    texts = {
        "formant phrase": tuple(phrase.text for phrase in table()),
        "formant near": near.near(half),
        "formant denied": near.denied(half),
    }[kind]
    wanted = [(voice, text) for text in texts for voice in speakers.usable(half)]
    # By hash: each N-th of the list could always be the same voice.
    wanted = sorted(wanted, key=lambda pair: zlib.crc32(":".join(pair).encode()))[:: every * SPARSE[kind]]
    with ThreadPoolExecutor(2) as pool:
        sounds = list(pool.map(lambda pair: speakers.say(*pair), wanted))
    return [Clip(kind, f"{voice}: {text}", text, sound) for (voice, text), sound in zip(wanted, sounds, strict=True)]


def blocks(half: str, kind: str, condition: str, every: int = 1, size: int = 16) -> Iterator[Block]:
    """All clips of one kind, `size` to a stream, each stream with its own seed."""
    items = clips(half, kind, condition, every)
    for number in range(0, len(items), size):
        seed = noise.SEEDS[half] + 1000 * (KINDS.index(kind) * len(CONDITIONS) + CONDITIONS.index(condition)) + number
        yield Block(condition, tuple(items[number : number + size]), seed)


def work(half: str, kinds: Sequence[str], conditions: Sequence[str], every: int, minutes: float) -> list[Block]:
    """Everything that must be heard, each N-th clip, and so many minutes of noise."""
    found = [
        block
        for kind in kinds
        for condition in WHERE[kind]
        if condition in conditions
        for block in blocks(half, kind, condition, every)
    ]
    return found + list(noise_blocks(half, minutes))
