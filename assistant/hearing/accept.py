"""Whether a decoded phrase was really said: the checks that a recogniser's own confidence can't give.

The method is the hearing study's (step 5): the words' acoustic score against a free phone loop
over the same piece, the phones against those heard freely, and what is around and inside the
phrase. All scores are natural logs per 10 ms frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from assistant.wording.phrases import Phrase

VOWELS = frozenset(("AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"))
CLASSES = {
    phone: name
    for name, members in {
        "stop": "B D G K P T",
        "affricate": "CH JH",
        "fricative": "DH F S SH TH V Z ZH HH",
        "nasal": "M N NG",
        "liquid": "L R W Y",
    }.items()
    for phone in members.split()
}
FRAME = 160  # samples: 10 ms at 16 kHz
SLACK = 5  # frames on each side of the phrase that are not yet "outside"


@dataclass(frozen=True, slots=True)
class Unit:
    """A word or phone of a decoding. first, last: 10 ms frames, inclusive. score: natural log, over all its frames."""

    name: str
    first: int
    last: int
    score: float

    @property
    def frames(self) -> int:
        return self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class Bar:
    """What a phrase must reach. Scores: natural log per frame, words minus phone loop; ratio: 0 = same phones."""

    mean: float
    worst_word: float
    piece: float
    edit_ratio: float
    loud_outside: int  # frames
    slowest: float  # frames a dictionary phone
    fastest: float
    inner_silence: int  # frames
    margin: float = -1e9  # over the piece: words minus the same phrase with another number


def substitution(a: str, b: str) -> float:
    """What it costs to take phone `a` for `b`, 0 to 1 (weights: the study's)."""
    if a == b:
        return 0.0
    if (a in VOWELS) != (b in VOWELS):
        return 1.0
    if a in VOWELS:
        return 0.5
    return 0.4 if CLASSES.get(a) == CLASSES.get(b) else 0.9


def phone_distance(wanted: Sequence[str], heard: Sequence[str]) -> float:
    """The weighted edit distance: delete 1, insert 0.8, substitute as `substitution` says."""
    row = [0.8 * j for j in range(len(heard) + 1)]
    for i, a in enumerate(wanted, 1):
        previous, row = row, [float(i)]
        for j, b in enumerate(heard, 1):
            row.append(min(previous[j] + 1.0, row[j - 1] + 0.8, previous[j - 1] + substitution(a, b)))
    return row[-1]


def frame_levels(pcm16k: bytes) -> np.ndarray:
    """dB of each 10 ms frame, re full scale, never below -100."""
    samples = np.frombuffer(pcm16k, dtype="<i2").astype(np.float32) / 32768
    frames = samples[: len(samples) // FRAME * FRAME].reshape(-1, FRAME)
    return 10 * np.log10(np.maximum((frames**2).mean(axis=1), 1e-10))


def loud_outside(pcm16k: bytes, first: int, last: int) -> int:
    """Loud frames more than `SLACK` frames outside first..last.

    Loud: over the piece's 10th percentile + 10 dB and over its maximum - 25 dB.
    """
    levels = frame_levels(pcm16k)
    if not len(levels):
        return 0
    loud = levels > max(float(np.percentile(levels, 10)) + 10, float(levels.max()) - 25)
    loud[max(0, first - SLACK) : last + SLACK + 1] = False
    return int(loud.sum())


def background(phones: Sequence[Unit], frames: int) -> np.ndarray:
    """The phone loop's score spread evenly over each phone's frames."""
    spread = np.zeros(frames)
    for phone in phones:
        spread[phone.first : phone.last + 1] = phone.score / max(1, phone.frames)
    return spread


def _region_measures(words: Sequence[Unit], loop: np.ndarray) -> dict[str, float]:
    differences = [word.score - float(loop[word.first : word.last + 1].sum()) for word in words]
    frames = sum(word.frames for word in words)
    per_word = [difference / word.frames for difference, word in zip(differences, words, strict=True)]
    return {"mean": sum(differences) / frames, "worst word": min(per_word)}


def measure(
    pcm16k: bytes, units: Sequence[Unit], phones: Sequence[Unit], wanted: Sequence[str], fillers: frozenset[str]
) -> dict[str, float]:
    """The figures that `judge` looks at.

    units: the grammar's decoding, silences (named in `fillers`) included. phones: the phone loop's.
    wanted: the phrase's phones by the dictionary.
    """
    words = [unit for unit in units if unit.name not in fillers]
    first, last = words[0].first, words[-1].last
    region = last - first + 1
    loop = background(phones, max(units[-1].last, phones[-1].last if phones else 0) + 1)
    whole = sum(unit.score for unit in units) - float(loop.sum())
    free = [p.name for p in phones if p.name not in fillers and p.last >= first and p.first <= last]
    silences = [u.frames for u in units if u.name in fillers and first < u.first <= last]
    return {
        "first": float(first),
        "last": float(last),
        **_region_measures(words, loop),
        "piece": whole / region,
        "edit ratio": phone_distance(wanted, free) / max(1, len(wanted)),
        "loud outside": float(loud_outside(pcm16k, first, last)),
        "frames a phone": region / max(1, len(wanted)),
        "inner silence": float(max(silences, default=0)),
    }


def judge(measures: dict[str, float], bar: Bar) -> str:
    """ "" when the phrase passes, else the first reason why not, a plain clause.

    Measures that a recogniser can't give are left out and not judged.
    """
    tests = (
        (
            "loud outside",
            measures.get("loud outside", 0) <= bar.loud_outside,
            "there was other talk or noise around it",
        ),
        (
            "frames a phone",
            measures.get("frames a phone", bar.fastest) >= bar.fastest,
            "it was too quick for the phrase",
        ),
        (
            "frames a phone",
            measures.get("frames a phone", bar.slowest) <= bar.slowest,
            "it was too slow for the phrase",
        ),
        ("inner silence", measures.get("inner silence", 0) <= bar.inner_silence, "there was a pause inside the phrase"),
        ("mean", measures.get("mean", 0.0) >= bar.mean, "it didn't sound enough like the phrase"),
        ("worst word", measures.get("worst word", 0.0) >= bar.worst_word, "one word didn't sound like the phrase"),
        ("piece", measures.get("piece", 0.0) >= bar.piece, "it didn't sound like the phrase alone"),
        ("edit ratio", measures.get("edit ratio", 0.0) <= bar.edit_ratio, "its sounds were not those of the phrase"),
        ("margin", measures.get("margin", bar.margin) >= bar.margin, "its number could have been another"),
    )
    return next((reason for _, passed, reason in tests if not passed), "")


# Method: hearing study, step 5; scores are likelihood ratios, since both decoders compute every sound in every frame.
# Set on the tuning half of tests.hearing.corpus with RNNoise (70 phrases a condition, a third of all; 62 pieces of
# human speech and 50 near-miss sentences in quiet and at 10 dB, a ninth and a sixth).
# What moving them by so much a frame (the worst word twice that) would do:
#
#   moved by   hits %: clean, 10 dB, 5 dB   wrong of 210   human taken of 62   near-miss taken of 50
#     -2.0         100, 100, 91                  0                 13                   13
#     -1.0         100, 100, 91                  0                  6                    7
#     -0.5          99, 100, 91                  0                  3                    2
#      0            99, 100, 89                  0                  1                    0
#     +0.5          94, 100, 89                  0                  0                    0
#     +1.0          90,  99, 79                  0                  0                    0
#     +1.5          86,  90, 67                  0                  0                    0
#
# and the margin between numbers: without one 2 wrong and 93 % hits at 5 dB, at 20 none and 89 %, at 40 none and 84 %.
SPHINX_BARS = (
    Bar(-4.4, -9.5, -4.7, 0.78, 8, 14.0, 6.4, 20, margin=20.0),
    Bar(-3.8, -7.6, -4.1, 0.72, 6, 14.0, 6.8, 6, margin=20.0),
)
# vosk gives no comparable scores: only what is around and inside the phrase is judged, and its rate, which is in
# frames a syllable here.
VOSK_BARS = (
    Bar(0.0, 0.0, 0.0, 1.0, 12, 45.0, 7.0, 25),
    Bar(0.0, 0.0, 0.0, 1.0, 8, 45.0, 7.0, 25),
)


def bar_for(phrase: Phrase, bars: tuple[Bar, Bar], all_strict: bool = False) -> Bar:
    """bars: (the usual one, the strict one). all_strict: the strict one for every phrase.

    Consequence sets the bar: what records, confirms, moves or ends needs the lead-in word, which keeps other talk
    off better than any score; a phrase without it has its score alone, so that is held higher.
    """
    return bars[1] if all_strict or not phrase.lead_in else bars[0]
