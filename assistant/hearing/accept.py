"""Decides whether a decoded phrase was really said, since a recogniser's own confidence doesn't show it.

The method is the hearing study's (step 5). It compares the words' acoustic score with that of a free phone loop over
the same piece, and the phrase's phones with those heard freely, and it looks at what is around and inside the phrase.
All scores are natural logs per 10 ms frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from assistant.plans.alike import KINDS
from assistant.wording.phrases import Phrase

VOWELS = frozenset(phone for phone, kind in KINDS.items() if kind == "vowel")
FRAME = 160  # samples: 10 ms at 16 kHz
NEVER = -1e9  # a limit that every measure passes: it never refuses
SLACK = 5  # frames on each side of the phrase that don't count as "outside"


@dataclass(frozen=True, slots=True)
class Unit:
    """A word or phone of a decoding. first, last: 10 ms frames, inclusive. score: natural log, sum over its frames."""

    name: str
    first: int
    last: int
    score: float

    @property
    def frames(self) -> int:
        return self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class Bar:
    """The limits that a phrase must reach.

    Scores are natural logs per frame, words minus phone loop. An edit ratio of 0 means the same phones.
    """

    mean: float
    worst_word: float
    piece: float
    edit_ratio: float
    loud_outside: int  # frames
    slowest: float  # frames per dictionary phone
    fastest: float
    inner_silence: int  # frames
    margin: float = NEVER  # sum over the piece: words minus the same phrase with another number
    evidence: float = NEVER  # see `evidence`; where it is judged, the limits above only keep out the absurd


def substitution(a: str, b: str) -> float:
    """The cost of taking phone `a` for `b`, 0 to 1, with the study's weights."""
    if a == b:
        return 0.0
    if (a in VOWELS) != (b in VOWELS):
        return 1.0
    if a in VOWELS:
        return 0.5
    return 0.4 if KINDS.get(a) == KINDS.get(b) else 0.9


def phone_distance(wanted: Sequence[str], heard: Sequence[str]) -> float:
    """The weighted edit distance: a deletion costs 1, an insertion 0.8, a substitution as `substitution` says."""
    row = [0.8 * j for j in range(len(heard) + 1)]
    for i, a in enumerate(wanted, 1):
        previous, row = row, [float(i)]
        for j, b in enumerate(heard, 1):
            row.append(min(previous[j] + 1.0, row[j - 1] + 0.8, previous[j - 1] + substitution(a, b)))
    return row[-1]


def frame_levels(pcm16k: bytes) -> np.ndarray:
    """The level of each 10 ms frame, dB re full scale, never below -100."""
    samples = np.frombuffer(pcm16k, dtype="<i2").astype(np.float32) / 32768
    frames = samples[: len(samples) // FRAME * FRAME].reshape(-1, FRAME)
    return 10 * np.log10(np.maximum((frames**2).mean(axis=1), 1e-10))


def loud_outside(pcm16k: bytes, first: int, last: int) -> int:
    """The number of loud frames more than `SLACK` frames outside first..last.

    A frame is loud if it is over the piece's 10th percentile + 10 dB and over its maximum - 25 dB (hearing study,
    step 5).
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
    """The figures that `judge` looks at, by name.

    units: the grammar's decoding, including silences (named in `fillers`). phones: the phone loop's decoding.
    wanted: the phrase's phones according to the dictionary.
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


# From a logistic regression, on the tuning half, of phrases rightly heard against everything else that was heard as a
# phrase: natural log of the odds, for as many of one kind as of the other. One sum separates them better than a limit
# for each measure: at the cost of one hit in a hundred it wrongly accepts a quarter of what the limits accepted.
EVIDENCE = {"mean": 1.1, "worst word": 1.0, "edit ratio": -11.0, "loud outside": -0.4, "inner silence": -0.05}
EVIDENCE_AT_ZERO = 16.5
TYPICAL = {"mean": -1.9, "worst word": -3.7, "edit ratio": 0.54, "loud outside": 0.0, "inner silence": 1.0}  # of hits


def evidence(measures: dict[str, float]) -> float:
    """How likely all the measures together make it that the phrase was said: natural log of the odds.

    Raises KeyError when one of the measures in `EVIDENCE` is missing.
    """
    return EVIDENCE_AT_ZERO + sum(weight * measures[name] for name, weight in EVIDENCE.items())


def _weakest(measures: dict[str, float]) -> str:
    """The name of the measure that speaks most against the phrase."""
    return min(EVIDENCE, key=lambda name: EVIDENCE[name] * (measures[name] - TYPICAL[name]))


WHY_NOT = {
    "mean": "it didn't sound enough like the phrase",
    "worst word": "one word didn't sound like the phrase",
    "edit ratio": "it didn't have the sounds of the phrase",
    "loud outside": "there was other talk or noise around it",
    "inner silence": "there was a pause inside the phrase",
}


def judge(measures: dict[str, float], bar: Bar) -> str:
    """The first reason to refuse the phrase, a plain clause; "" if it passes.

    Measures that a recogniser can't give are missing and not judged.
    """
    fastest = measures.get("frames a phone", bar.fastest) >= bar.fastest
    slowest = measures.get("frames a phone", bar.slowest) <= bar.slowest
    tests = (
        (measures.get("loud outside", 0) <= bar.loud_outside, WHY_NOT["loud outside"]),
        (fastest, "it was too quick to be the phrase"),
        (slowest, "it was too slow to be the phrase"),
        (measures.get("inner silence", 0) <= bar.inner_silence, WHY_NOT["inner silence"]),
        (measures.get("mean", 0.0) >= bar.mean, WHY_NOT["mean"]),
        (measures.get("worst word", 0.0) >= bar.worst_word, WHY_NOT["worst word"]),
        (measures.get("piece", 0.0) >= bar.piece, "it didn't sound like the phrase alone"),
        (measures.get("edit ratio", 0.0) <= bar.edit_ratio, WHY_NOT["edit ratio"]),
    )
    first = next((reason for passed, reason in tests if not passed), "")
    if not first and bar.evidence > NEVER and evidence(measures) < bar.evidence:
        first = WHY_NOT[_weakest(measures)]
    if not first and measures.get("margin", bar.margin) < bar.margin:
        first = "it could have been another number"
    return first


# Method: hearing study, step 5. The scores are likelihood ratios, since both decoders compute every sound in every
# frame. The limits were set on all of the tuning half of tests.hearing.corpus with RNNoise: 210 phrases per condition
# (clean, echo, 10 dB, 5 dB), 273 pieces of human speech and 150 near-miss sentences, both in quiet and at 10 dB. This
# is the effect of moving both evidence limits:
#
#   moved by   hits %: clean, 10 dB, 5 dB, echo   wrong of 840   human taken of 546   near-miss taken of 300
#     -3          98.6, 98.6, 95.2, 95.7                2                 6                    13
#     -2          98.6, 98.6, 95.2, 95.7                2                 2                     7
#     -1          98.1, 98.1, 93.3, 95.7                2                 2                     4
#      0          98.1, 97.1, 88.1, 95.2                2                 0                     2
#     +1          98.1, 96.7, 81.9, 94.8                2                 0                     1
#     +2          97.1, 92.9, 72.9, 92.4                2                 0                     1
#     +3          94.8, 84.8, 64.3, 90.0                0                 0                     0
#
# And this is the effect of the margin between numbers, the only thing that keeps one from being taken for another:
#
#   margin     hits %: clean, 10 dB, 5 dB, echo   wrong of 840
#      0          98.6, 98.6, 91.0, 96.7                6
#     20          98.6, 98.6, 91.0, 96.7                5
#     40          98.6, 97.6, 89.5, 96.2                4
#     50          98.1, 97.1, 88.1, 95.2                2
#     60          97.6, 97.1, 86.7, 94.8                1
#     80          95.7, 95.7, 83.3, 92.4                1
SPHINX_BARS = (
    Bar(-5.0, -11.0, -5.5, 0.85, 8, 16.0, 5.6, 22, margin=50.0, evidence=-0.5),
    Bar(-5.0, -11.0, -5.5, 0.85, 8, 16.0, 5.6, 22, margin=50.0, evidence=2.5),
)
# vosk gives no scores that can be compared, so only what is around and inside the phrase is judged, and its speaking
# rate, here in frames per syllable.
VOSK_BARS = (
    Bar(0.0, 0.0, 0.0, 1.0, 12, 45.0, 7.0, 25),
    Bar(0.0, 0.0, 0.0, 1.0, 8, 45.0, 7.0, 25),
)


# How far below the evidence limit a phrase still counts as nearly said: row -3 of the first table. Its false accepts
# would be low notes in answer to other talk, for 6 of 546 pieces of human speech. The hits that it adds, 7 of 100
# phrases in noise at 5 dB, are phrases whose speaker then hears that they failed.
NEARLY = 3.0


def nearly(measures: dict[str, float], bar: Bar) -> bool:
    """Whether the speech that `judge` refused was nearly the phrase, so that the speaker should hear about it.

    It was if the evidence fell short by at most `NEARLY`, or if only the number was in doubt. A recogniser without
    scores has matched every word, and refuses only because of what is around or between them.
    """
    return "mean" not in measures or not judge(measures, replace(bar, evidence=bar.evidence - NEARLY, margin=NEVER))


# The worst word's limit for a phrase that records, confirms, moves or ends something, natural log per frame. In a
# sentence that differs from a phrase in one word, that word mostly falls below it while all the others fit.
STRICT_WORST_WORD = -8.0


def bar_for(phrase: Phrase, bars: tuple[Bar, Bar], all_strict: bool = False) -> Bar:
    """The limits for this phrase. bars: (the usual ones, the strict ones). all_strict: use the strict ones always.

    The lead-in word keeps other talk out better than any score, and every phrase that records, confirms, moves or
    ends something needs it. A phrase without it has only its score, so its limits are the strict ones. A phrase with a
    consequence also has a higher limit for its worst word.
    """
    bar = bars[1] if all_strict or not phrase.lead_in else bars[0]
    return replace(bar, worst_word=max(bar.worst_word, STRICT_WORST_WORD)) if phrase.strict else bar


@dataclass(frozen=True, slots=True)
class ScoreLimits:
    """What the neural model's measures must reach, natural logs: see `scores.Measured`.

    fit: whatever the noise; `least_fit` asks for more where there is less of it.
    """

    fit: float
    end: float
    lead_in: float = NEVER
    first: float = NEVER
    margin: float = 2.0
    rivals: float = 5.0


# Set on the tuning half of the natural voices (tests.hearing.corpus.natural), with everything open at once. Rivals
# keep out what the rules foresee: of 98 true phrases down to 10 dB none comes nearer to a rival than 5.1. The odds of
# the end keep out longer sentences: true phrases have -1.2 or more, the 25 longer ones -3.4 or less. Without the
# lead-in word there is only the text itself to tell a phrase from other talk.
LED = ScoreLimits(fit=-11.5, end=-2.0, lead_in=-8.0)
BARE = ScoreLimits(fit=-8.0, end=-1.0, first=-6.0)
# How far the speech is above its noise, dB, and the least fit there; straight lines in between. In quiet no true phrase
# fits worse than -5.2, and of what no rule foresees ("safety card fitted", "backing face needs a fresh one") nothing
# better than -6.0. Noise lowers both: the limit follows, or it would cost half the phrases at 5 dB.
LEAST_FIT = ((9.0, -11.5), (13.0, -7.0), (22.0, -5.5))
# A piece is in doubt down to this fit, if the model is sure of nothing else either: pocketsphinx is then asked what it
# makes of it by its grammar. Of true phrases that fitted badly, in noise or in formant voices, the model wrote what it
# gave less than -2.2; of sentences with one word changed ("carry on walking") it wrote every word, at -2.1 or more.
DOUBTFUL = -14.0
SURE = -2.2


def least_fit(limits: ScoreLimits, clear_db: float) -> float:
    """The fit that a phrase must have, for speech so far above its noise (dB, `blend.clearness`)."""
    noise, fits = zip(*LEAST_FIT, strict=True)
    return max(limits.fit, float(np.interp(clear_db, noise, fits)))


def weigh(measures: dict[str, float], limits: ScoreLimits) -> str:
    """The first reason to refuse the phrase by the neural model's measures, a plain clause; "" if it passes."""
    tests = (
        (measures.get("lead-in", 0.0) >= limits.lead_in, "the lead-in word was not heard clearly"),
        (measures.get("rivals", limits.rivals) >= limits.rivals, "it could have been the opposite or a question"),
        (measures["end"] >= limits.end, "something followed the phrase"),
        (measures["margin"] >= limits.margin, "it could have been another phrase"),
        (measures.get("first", 0.0) >= limits.first, WHY_NOT["mean"]),
        (measures["fit"] >= limits.fit, WHY_NOT["mean"]),
    )
    return next((reason for passed, reason in tests if not passed), "")
