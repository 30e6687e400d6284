"""Decides whether a phrase was really said, since a recogniser's own confidence doesn't show it.

The neural model's measures are of texts (`weigh`): against its own free continuation, other phrases and rivals.
Pocketsphinx's are of sounds (`judge`): how well the words fit what was heard, and what sounded around them. vosk gives
no score that can be compared, so only what is around the words is judged. All scores are natural logs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from assistant.wording.phrases import Phrase

FRAME = 160  # samples: 10 ms at 16 kHz
NEVER = -1e9  # a limit that every measure passes: it never refuses
SLACK = 5  # frames on each side of the phrase that don't count as "outside"


@dataclass(frozen=True, slots=True)
class DecodedWord:
    """A word of a decoding. first, last: 10 ms frames, inclusive. score: natural log, sum over its frames.

    Pocketsphinx's scores are relative to the likeliest sound of each frame, whatever words there are to choose from.
    """

    name: str
    first: int
    last: int
    score: float

    @property
    def frames(self) -> int:
        return self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class Bar:
    """The limits that a phrase must reach. sound: at least, per frame. loud_outside: at most, frames."""

    sound: float
    loud_outside: int


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


def measure(pcm16k: bytes, decoding: Sequence[DecodedWord], fillers: frozenset[str] = frozenset()) -> dict[str, float]:
    """The figures that `judge` looks at, by name. Silences in the decoding are named in `fillers`."""
    words = [word for word in decoding if word.name not in fillers]
    first, last = words[0].first, words[-1].last
    return {
        "first": float(first),
        "last": float(last),
        "sound": sum(word.score for word in words) / sum(word.frames for word in words),
        "loud outside": float(loud_outside(pcm16k, first, last)),
    }


UNLIKE = "it didn't sound enough like the phrase"


def judge(measures: dict[str, float], bar: Bar) -> str:
    """The first reason to refuse the phrase by `measure`'s figures, a plain clause; "" if it passes."""
    if measures["loud outside"] > bar.loud_outside:
        return "there was other talk or noise around it"
    return "" if measures["sound"] >= bar.sound else UNLIKE


# Set on the tuning half of tests.hearing.corpus (each 6th clip, natural voices; clean, 10 dB, 5 dB, 0.6 s of echo) with
# all phrases and their rivals open at once. Columns: what was heard as itself, of 84; what was taken of 90 opposites
# and questions, of 24 with one word changed, of 51 that were longer, quoted or in another order, of 107 pieces of talk.
#
#   least "sound"                     hits   denied   one word   longer   talk
#   none, and nothing but the words    79      17        19        31      68
#   -7.0                               76       9        16         2       1
#   -6.6                               76       8        16         1       0
#   -6.2                               76       8        16         0       0
#   -6.0                               74       6        13         0       0
#   -5.8                               73       4        13         0       0
#   -5.5                               69       4        13         0       0
#   -5.0                               61       2        11         0       0
#
# It replaced a free loop of phones beside the words, with limits for the worst word, the phones' distance, the rate and
# pauses, and a regression on all of them, and a second decoding of numbers: 68 hits, 3 denied, 14, 1, 0 and twice the
# time. No number was taken for another by either. Nothing here tells an answer from its opposite where no rule foresees
# the words, so a check is asked a second time (ear.py). The plainest formant voice, which the demo speaks with, needs
# the lower of the limits that keep out talk; a British one fits worse than any person (half its phrases under -7).
SPHINX_BARS = (Bar(-6.6, 8), Bar(-6.4, 8))
# The Korean model's grammar made no phrase of any of 152 pieces of other talk, so what it matched is believed.
VOSK_BARS = (Bar(NEVER, 12), Bar(NEVER, 8))


# How far below its limit a phrase still counts as nearly said. One of the 107 pieces of
# talk above, and none of its noise, would get a low note for an answer.
NEARLY = 0.4


def nearly(measures: dict[str, float], bar: Bar) -> bool:
    """Whether the speech that `judge` refused was nearly the phrase, so that the speaker should hear about it."""
    return not judge(measures, replace(bar, sound=bar.sound - NEARLY))


def bar_for(phrase: Phrase, bars: tuple[Bar, Bar], all_strict: bool = False) -> Bar:
    """The limits for this phrase. bars: (the usual ones, the strict ones). all_strict: use the strict ones always.

    The lead-in word keeps other talk out better than any score, and every phrase that records, confirms, moves or
    ends something needs it. A phrase without it has only its score, so its limits are the strict ones.
    """
    return bars[1] if all_strict or not phrase.lead_in else bars[0]


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
# Two to four words after the lead-in word may not miss ten nats: "both off" was taken for "edge and face right".
SHORT = ScoreLimits(fit=-6.0, end=-2.0, lead_in=-8.0)
# They are listened for only where speech is so far above its noise, dB. In noise few words give their rivals too little
# to differ by (24 of 27 heard at 10 dB, 18 at 5 dB, of 27 in quiet), and whole sentences that are drowned in it are
# likeliest to be the shortest text that there is: "that is right" and "louder" took 20 of 32 other phrases' places at
# 0 dB, where all of them were refused. Without them 54 % of the usual phrases are heard there.
SHORT_FROM_DB = 18.0
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
        (measures.get("first", 0.0) >= limits.first, UNLIKE),
        (measures["fit"] >= limits.fit, UNLIKE),
    )
    return next((reason for passed, reason in tests if not passed), "")
