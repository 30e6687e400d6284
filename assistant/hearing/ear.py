"""The path from samples to phrases, in one place and without devices.

Noise suppression, muting, end-pointing, decoding. Time is the stream's sample count. The grammar and generation that
count are those in force at an utterance's first sound, so that nothing said before a question counts as its answer.
"""

from __future__ import annotations

import functools
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from assistant.hearing.blend import blended, clearness
from assistant.hearing.contract import RATE, Recogniser, Result
from assistant.hearing.denoise import Denoiser, Plain
from assistant.hearing.detect import ByLevel, BySpeech, Detector
from assistant.hearing.endpoint import FRAME, FRAME_BYTES, Endpointer, Limits, Utterance
from assistant.plans.intents import Intent
from assistant.plans.model import DenoiserName, Endpoints
from assistant.wording.phrases import NOTHING, Phrase
from assistant.wording.rivals import rivals

# Deaf for so long after an announcement, while the room still rings with our own voice. Nothing here cancels the
# loudspeaker's echo, so the ear can't listen while we speak.
AFTER_SPEECH_S = 0.3
CLIPPED = 32_700  # of 32,768: a sample from here on is clipped
CLIPPED_SHARE = 0.005  # an utterance with more than this share of clipped samples was overdriven
OVERDRIVEN = "; the microphone was overdriven: turn its gain down, or move away from it"
RAW_S = 8.0  # how much of the original sound is kept: more than the longest utterance
NOT_NOW = "it means nothing now"
NOT_THE_ANSWER = 'heard "{}": that is not the answer'
NO_PHRASE = 'heard "{}": that is not a phrase'
AGAIN = 'heard "{}": say it again to confirm'
SCRAP = "a scrap of speech"  # what a sound too short for a phrase is like, if it was a voice's
OUR_OWN = "you spoke during an announcement; say it again afterwards"


@dataclass(frozen=True, slots=True)
class Found:
    """What became of one utterance.

    first, end, decided: the samples, counted from the stream's start, of its first sound, its last sound and the moment
    when its end was certain. knock: it was too short to be speech. The rest: as in `contract.Result`.
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


def _detector(denoiser: Denoiser, endpoints: Endpoints) -> Detector:
    return BySpeech() if denoiser.tells_speech and endpoints != Endpoints.LEVEL else ByLevel()


class Ear:
    """Hears one stream. Owned by one thread.

    denoiser: a new one; by default none. endpoints: "level", "speech" (if the denoiser estimates that, else "level")
    or "auto", the better of the two. known: phrases that mean something at other times. They are recognised and
    refused, so that they are never taken for something else. language: of the phrases; rivals made by its rules are
    refused too (`wording.rivals`). twice: where the recogniser can't tell an answer from its opposite (its `doubts` is
    False), the answer to a check must be said twice.
    """

    def __init__(
        self,
        recogniser: Recogniser,
        denoiser: Denoiser | None = None,
        endpoints: Endpoints = Endpoints.AUTO,
        known: Sequence[Phrase] = (),
        language: str = "en",
        twice: bool = False,
    ) -> None:
        self.recogniser = recogniser
        self.denoiser = denoiser or Plain()
        self._delay = round(self.denoiser.delay_s * RATE)
        # A recogniser of something other than phrases can bring its own limits.
        limits: Limits | None = getattr(recogniser, "limits", None)
        self._endpointer = Endpointer(limits, _detector(self.denoiser, endpoints))
        self._raw: deque[bytes] = deque(maxlen=round(RAW_S * RATE / FRAME))
        self._known = tuple(
            phrase
            for phrase in known
            if (recogniser.hears_short or not phrase.short) and not recogniser.unknown_words(phrase.text.split())
        )
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
        self._ahead: tuple[int, int, tuple[bytes, float], Result | None] | None = None
        self._clipped = 0
        self._twice = twice
        self._first_time: tuple[str, int] | None = None
        self._judged: dict[str, tuple[str, ...]] = {}

    @property
    def samples(self) -> int:
        """The number of samples heard so far, in whole frames."""
        return self._samples

    def listen(self, phrases: Sequence[Phrase], generation: int) -> list[tuple[str, str]]:
        """Listens for only these phrases from the next frame on.

        Returns (word, phrase) for each unknown word, at its first appearance only. A phrase with an unknown word is
        not listened for.
        """
        new: list[tuple[str, str]] = []
        usable = []
        for phrase in phrases:
            if phrase.short and not self.recogniser.hears_short:
                continue
            if phrase.text not in self._judged:
                unknown = tuple(self.recogniser.unknown_words(phrase.text.split()))
                self._judged[phrase.text] = unknown
                new += [(word, phrase.text) for word in unknown]
            if not self._judged[phrase.text]:
                usable.append(phrase)
        self._phrases, self._generation = tuple(usable), generation
        if usable:
            self.recogniser.prepare((*usable, *self._beside(self._phrases)))
        return new

    def speaking(self, active: bool, at: int) -> list[Found]:
        """Begins or ends our own speech at sample `at`: deaf during it and for `AFTER_SPEECH_S` afterwards."""
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
        """Hears the next bytes, any number of them; returns the utterances that ended with them."""
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
        """Ends the stream; returns the utterance that was going on, as far as it had come."""
        utterance = self._endpointer.flush()
        return [self._decode(utterance)] if utterance else []

    def _frame(self, frame: bytes) -> Utterance | None:
        deaf = self._muted or self._samples < self._muted_until
        self._samples += FRAME
        clipped = _clipped(frame)
        self._raw.append(frame)
        # While deaf too, so that the suppression goes on learning the noise and its delay stays the same.
        frame = self.denoiser.frame(frame)
        if deaf:
            self._endpointer.skip()
            return None
        was_active = self._endpointer.active
        utterance = self._endpointer.frame(frame, self.denoiser.speech)
        if self._endpointer.active and not was_active:
            # A question can open while somebody is speaking: what was open at the first sound counts.
            self._at_onset = (self._phrases, self._generation)
            self._clipped = 0
            self._ahead = None
        self._clipped += clipped
        early = self._endpointer.ahead()
        if early is not None:
            # Decodes while the end-pointer still waits, for a quicker answer.
            sound, phrases = self._sound(early.pcm16k), self._at_onset[0]
            begun = bool(phrases) and self.recogniser.begin(sound[0], (*phrases, *self._beside(phrases)), sound[1])
            result = None if begun else self._recognise(sound, phrases)
            self._ahead = (early.first, early.end, sound, result)
        if self._endpointer.ending and self._ahead is not None:
            phrases, (piece, clear_db) = self._at_onset[0], self._ahead[2]
            if self.recogniser.expects_more(piece, (*phrases, *self._beside(phrases)), clear_db):
                self._endpointer.wait()
        return utterance

    def _as_it_came(self, piece: bytes) -> bytes:
        """The piece before noise suppression, which delayed it by `_delay`; as much of it as is kept."""
        # In bytes, two for each sample.
        heard, late = b"".join(self._raw), 2 * self._delay
        return heard[max(0, len(heard) - len(piece) - late) : len(heard) - late]

    def _beside(self, phrases: tuple[Phrase, ...]) -> tuple[Phrase, ...]:
        """The phrases listened for beside these only to be refused."""
        if not phrases:
            return ()
        if self._refused[0] != phrases:
            texts = {phrase.text for phrase in phrases}
            known = tuple(phrase for phrase in self._known if phrase.text not in texts)
            made = () if self.recogniser.makes_rivals else rivals(phrases, self._language, self._knows)
            texts = {phrase.text for phrase in known}
            self._refused = (phrases, (*(phrase for phrase in made if phrase.text not in texts), *known))
        return self._refused[1]

    def _sound(self, piece: bytes) -> tuple[bytes, float]:
        """What the recogniser gets of a piece that ends with the last frame, and how clear it was, dB."""
        raw = self._as_it_came(piece)
        return piece if self.denoiser.name == DenoiserName.NONE else blended(piece, raw), clearness(raw)

    def _recognise(self, sound: tuple[bytes, float], phrases: tuple[Phrase, ...]) -> Result:
        """Decodes what `_sound` gave."""
        others = self._beside(phrases)
        result = self.recogniser.decode(sound[0], (*phrases, *others), sound[1])
        if result.phrase is not None and (result.phrase.intent == NOTHING or result.phrase in others):
            return replace(result, phrase=None, reason=_why_refused(result.phrase), like=result.phrase.text)
        return result

    def _once_more(self, result: Result, phrase: Phrase, generation: int) -> Result:
        """The answer to a check counts once it was said twice running: this recogniser takes opposites for it."""
        before, self._first_time = self._first_time, (phrase.text, generation)
        if phrase.intent != Intent.CHECK or before == self._first_time:
            self._first_time = None
            return result
        return replace(result, phrase=None, reason=AGAIN.format(phrase.wording), like=phrase.text)

    def _decode(self, utterance: Utterance) -> Found:
        phrases, generation = self._at_onset
        span = (max(0, utterance.first - self._delay), max(0, utterance.end - self._delay), self._samples)
        if utterance.reason:
            # A voice's, so that whoever was cut short hears that it was; a hammer's knock is no concern of anybody's.
            like = SCRAP if utterance.knock and isinstance(self._endpointer.detector, BySpeech) else ""
            return Found(*span, None, utterance.reason, "", generation, knock=utterance.knock, like=like)
        early, self._ahead = self._ahead, None
        result = None
        if early is not None and early[:2] == (utterance.first, utterance.end):
            result = early[3] or self._recognise(early[2], phrases)
        # What it nearly was may be plainer with the quiet after it; other talk is not worth the work.
        if result is None or (result.phrase is None and result.like):
            result = self._recognise(self._sound(utterance.pcm16k), phrases)
        if result.phrase is not None and self._twice and not self.recogniser.doubts:
            result = self._once_more(result, result.phrase, generation)
        elif result.heard:
            self._first_time = None
        reason = result.reason
        if not result.phrase and self._clipped > CLIPPED_SHARE * (utterance.end - utterance.first):
            reason += OVERDRIVEN
        return Found(*span, result.phrase, reason, result.heard, generation, measures=result.measures, like=result.like)
