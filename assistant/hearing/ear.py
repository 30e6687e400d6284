"""The path from samples to phrases, in one place and without devices.

Noise suppression, muting, end-pointing, decoding. Time is the stream's sample count. Grammar and generation are those
in force at an utterance's first sound, so that nothing said before a question counts as its answer.
"""

from __future__ import annotations

import functools
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from assistant.hearing import templates
from assistant.hearing.blend import blended
from assistant.hearing.contract import RATE, Recogniser, Result
from assistant.hearing.denoise import Denoiser, Plain
from assistant.hearing.detect import ByLevel, BySpeech, Detector
from assistant.hearing.endpoint import FRAME, FRAME_BYTES, Endpointer, Limits, Utterance
from assistant.hearing.templates import Voice
from assistant.plans.intents import Intent
from assistant.wording.phrases import NOTHING, Phrase
from assistant.wording.rivals import rivals

AFTER_SPEECH_S = 0.3  # the room still rings with our own voice
CLIPPED = 32_700  # of 32,768: a sample that the microphone could not follow
CLIPPED_SHARE = 0.005  # of an utterance's samples, from which on it counts as overdriven
OVERDRIVEN = "; the microphone was overdriven: turn its level down, or keep further from it"
RAW_S = 8.0  # kept of the sound as it came: more than the longest utterance
UNLIKE = "it didn't sound like you saying it; `kerfcall soundcheck` learns your voice anew"
NOT_NOW = "it means nothing now"
NOT_THE_ANSWER = 'heard "{}": that is not the answer'
NO_PHRASE = 'heard "{}": that is no phrase'
OUR_OWN = "you spoke during an announcement; say it again afterwards"


@dataclass(frozen=True, slots=True)
class Found:
    """What one utterance came to.

    first, end, decided: samples since the stream began: first sound, last sound, when it was known
    to have ended. knock: too short to have been speech. The rest: as in `contract.Result`.
    """

    first: int
    end: int
    decided: int
    phrase: Phrase | None
    reason: str
    heard: str
    generation: int
    knock: bool = False
    measures: dict[str, float] = field(default_factory=dict)
    like: str = ""


def _clipped(frame: bytes) -> int:
    samples = np.frombuffer(frame, "<i2")
    return int(((samples >= CLIPPED) | (samples <= -CLIPPED)).sum())


def _why_refused(phrase: Phrase) -> str:
    if phrase.intent != NOTHING:
        return NOT_NOW
    return (NOT_THE_ANSWER if phrase.argument == Intent.CHECK else NO_PHRASE).format(phrase.wording)


def _detector(denoiser: Denoiser, endpoints: str) -> Detector:
    return BySpeech() if denoiser.tells_speech and endpoints != "level" else ByLevel()


class Ear:
    """Hears one stream. Owned by one thread.

    denoiser: a new one; by default none. endpoints: "level", "speech" (needs a denoiser that tells it, else
    "level") or "auto": the better one of those. voice: the operator's own templates, which a phrase that has some
    must be like. known: what can be said at another time, and decoys: it is recognised and refused, so that it is
    never taken for something else. language: of the phrases; what it has rules for is refused too (`wording.rivals`).
    """

    def __init__(
        self,
        recogniser: Recogniser,
        denoiser: Denoiser | None = None,
        endpoints: str = "auto",
        voice: Voice | None = None,
        known: Sequence[Phrase] = (),
        language: str = "en",
    ) -> None:
        self.recogniser = recogniser
        self.denoiser = denoiser or Plain()
        self._delay = round(self.denoiser.delay_s * RATE)
        # A recogniser of other things than phrases may need other limits.
        limits: Limits | None = getattr(recogniser, "limits", None)
        self._endpointer = Endpointer(limits, _detector(self.denoiser, endpoints))
        self._voice = voice or Voice()
        self._raw: deque[bytes] = deque(maxlen=round(RAW_S * RATE / FRAME))
        self._known = tuple(p for p in known if not recogniser.unknown_words(p.text.split()))
        self._language = language
        self._knows = functools.cache(lambda word: not recogniser.unknown_words([word]))
        self._refused: tuple[tuple[Phrase, ...], tuple[Phrase, ...]] = ((), ())
        self._phrases: tuple[Phrase, ...] = ()
        self._generation = 0
        self._at_onset: tuple[tuple[Phrase, ...], int] = ((), 0)
        self._rest = b""
        self._samples = 0
        self._muted = False
        self._muted_until = 0
        self._ahead: tuple[int, int, Result] | None = None
        self._clipped = 0
        self._judged: dict[str, tuple[str, ...]] = {}

    @property
    def samples(self) -> int:
        """Samples of whole frames heard so far."""
        return self._samples

    def listen(self, phrases: Sequence[Phrase], generation: int) -> list[tuple[str, str]]:
        """From the next frame on only these count.

        Returns (word, phrase) for each unknown word, at its first appearance only; a phrase with one is left out.
        """
        new: list[tuple[str, str]] = []
        usable = []
        for phrase in phrases:
            if phrase.text not in self._judged:
                unknown = tuple(self.recogniser.unknown_words(phrase.text.split()))
                self._judged[phrase.text] = unknown
                new += [(word, phrase.text) for word in unknown]
            if not self._judged[phrase.text]:
                usable.append(phrase)
        self._phrases, self._generation = tuple(usable), generation
        return new

    def speaking(self, active: bool, at: int) -> list[Found]:
        """We begin or end speaking at sample `at`: deaf while we do and `AFTER_SPEECH_S` after."""
        if active:
            self._muted = True
            return self._cut_off()
        if self._muted:
            self._muted = False
            self._muted_until = max(at, 0) + round(AFTER_SPEECH_S * RATE)
        return []

    def _cut_off(self) -> list[Found]:
        if not self._endpointer.active:
            self._endpointer.drop()
            return []
        first = max(0, self._endpointer.first - self._delay)
        self._endpointer.drop()
        return [Found(first, self._samples, self._samples, None, OUR_OWN, "", self._at_onset[1])]

    def feed(self, pcm16k: bytes) -> list[Found]:
        """Any number of bytes; what became known with them."""
        pcm = self._rest + pcm16k
        whole = len(pcm) // FRAME_BYTES * FRAME_BYTES
        self._rest = pcm[whole:]
        found: list[Found] = []
        for start in range(0, whole, FRAME_BYTES):
            utterance = self._frame(pcm[start : start + FRAME_BYTES])
            if utterance is not None:
                found.append(self._decode(utterance))
        return found

    def flush(self) -> list[Found]:
        """The stream has ended: what was going on, as far as it came."""
        utterance = self._endpointer.flush()
        return [self._decode(utterance)] if utterance else []

    def _frame(self, frame: bytes) -> Utterance | None:
        deaf = self._muted or self._samples < self._muted_until
        self._samples += FRAME
        clipped = _clipped(frame)
        self._raw.append(frame)
        # Also while deaf: the noise is learnt on, and the sound comes out in time.
        frame = self.denoiser.frame(frame)
        if deaf:
            self._endpointer.skip()
            return None
        was_active = self._endpointer.active
        utterance = self._endpointer.frame(frame, self.denoiser.speech)
        if self._endpointer.active and not was_active:
            self._at_onset = (self._phrases, self._generation)
            self._clipped = 0
        self._clipped += clipped
        early = self._endpointer.ahead()
        if early is not None:
            # While the quiet is still being waited out. Only what is accepted counts: all else gets the whole piece.
            result = self._recognise(early.pcm16k, self._at_onset[0])
            self._ahead = (early.first, early.end, result) if result.phrase else None
        return utterance

    def _as_it_came(self, piece: bytes) -> bytes:
        """The piece before suppression, which it came out of `_delay` later; as much of it as is kept."""
        heard, late = b"".join(self._raw), 2 * self._delay
        return heard[max(0, len(heard) - len(piece) - late) : len(heard) - late]

    def _beside(self, phrases: tuple[Phrase, ...]) -> tuple[Phrase, ...]:
        """What is listened for beside these phrases so that it is refused."""
        if not phrases:
            return ()
        if self._refused[0] != phrases:
            texts = {phrase.text for phrase in phrases}
            known = [phrase for phrase in self._known if phrase.text not in texts]
            made = rivals(phrases, self._language, self._knows)
            texts = {phrase.text for phrase in known if phrase.intent != NOTHING}
            made = tuple(phrase for phrase in made if phrase.text not in texts)
            texts = {phrase.text for phrase in made}
            self._refused = (phrases, (*made, *(phrase for phrase in known if phrase.text not in texts)))
        return self._refused[1]

    def _recognise(self, piece: bytes, phrases: tuple[Phrase, ...]) -> Result:
        """piece: up to the last frame."""
        raw = self._as_it_came(piece)
        others = self._beside(phrases)
        sound = piece if self.denoiser.name == "none" else blended(piece, raw)
        result = self.recogniser.decode(sound, (*phrases, *others))
        if result.phrase is not None and result.phrase in others:
            return replace(result, phrase=None, reason=_why_refused(result.phrase), like=result.phrase.text)
        if result.phrase is None or not self._voice.count(result.phrase.text):
            return result
        first, last = round(result.measures["first"]), round(result.measures["last"])
        judged = templates.judge(self._voice, raw, first, last, result.phrase.text)
        if judged is None:
            return result
        measures = result.measures | dict(zip(("template distance", "template limit"), judged, strict=True))
        unlike = judged[0] > judged[1]
        return replace(
            result,
            phrase=None if unlike else result.phrase,
            reason=UNLIKE if unlike else "",
            measures=measures,
            like=result.phrase.text if unlike else "",
        )

    def _decode(self, utterance: Utterance) -> Found:
        phrases, generation = self._at_onset
        span = (max(0, utterance.first - self._delay), max(0, utterance.end - self._delay), self._samples)
        if utterance.reason:
            return Found(*span, None, utterance.reason, "", generation, knock=utterance.knock)
        early, self._ahead = self._ahead, None
        if early is not None and early[:2] == (utterance.first, utterance.end):
            result = early[2]
        else:
            result = self._recognise(utterance.pcm16k, phrases)
        reason = result.reason
        if not result.phrase and self._clipped > CLIPPED_SHARE * (utterance.end - utterance.first):
            reason += OVERDRIVEN
        return Found(*span, result.phrase, reason, result.heard, generation, measures=result.measures, like=result.like)
