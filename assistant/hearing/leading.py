"""The recogniser that can doubt: the neural model leads, and pocketsphinx's grammar has a vote where it is in doubt.

Where the model's process is lost or late, pocketsphinx decides alone, as it does where there is no model.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace

from assistant.hearing import accept
from assistant.hearing.beside import Late, ModelLost, ScorerProcess
from assistant.hearing.contract import CLEAR_DB, Recogniser, Result, by_text
from assistant.hearing.own_scores import OwnScores
from assistant.hearing.scores import Measured, SayableText
from assistant.hearing.sphinx import NO_PHRASE, Sphinx
from assistant.wording.phrases import NOTHING, Phrase
from assistant.wording.rivals import rivals

OUT_OF_USE = (
    "The neural recogniser {}: pocketsphinx listens alone. Say the long phrases, and answer each check twice by voice."
)
SLOW = "The neural recogniser is slow on this computer. Where it is late, pocketsphinx decides."
MOST_LATE = 3  # answers one after another; then it is out of use


def _open(phrases: Sequence[Phrase], clear_db: float) -> tuple[Phrase, ...]:
    """Those that can be distinguished in this noise."""
    return tuple(phrase for phrase in phrases if clear_db >= accept.SHORT_FROM_DB or not phrase.short)


class Leading(Recogniser):
    """The recogniser `moonshine`, for English only. Owned by one thread.

    scorer: the neural model's process. grammar: pocketsphinx. lost: called once, with a line for the operator, when
    the model's process is late or given up. own: this operator's scores, which make a phrase's limit stricter, never
    looser. all_strict: noise is no excuse for a bad fit, and nobody has a vote.
    """

    name = "moonshine"
    makes_rivals = True
    hears_short = True

    def __init__(
        self,
        scorer: ScorerProcess,
        grammar: Sphinx,
        lost: Callable[[str], None] = lambda why: None,
        own: OwnScores | None = None,
        all_strict: bool = False,
    ) -> None:
        self.scorer: ScorerProcess | None = scorer
        self._grammar = grammar
        self._lost = lost
        self._known: tuple[bytes, tuple[SayableText, ...], Measured] | None = None
        self._own = own or OwnScores()
        self._all_strict = all_strict
        self._late, self._said_slow = 0, False
        self._texts = functools.lru_cache(8)(self._said)
        self._knows = functools.cache(lambda word: not grammar.unknown_words([word]))

    def unknown_words(self, words: Sequence[str]) -> list[str]:
        """Those of `words` that pocketsphinx lacks: it must be able to take over."""
        return self._grammar.unknown_words(words)

    def prepare(self, phrases: Sequence[Phrase]) -> None:
        """See `contract.Recogniser.prepare`."""
        if self.scorer is not None:
            self.scorer.prepare(self._texts(_open(phrases, CLEAR_DB)))

    def begin(self, pcm16k: bytes, phrases: Sequence[Phrase], clear_db: float = CLEAR_DB) -> bool:
        """See `contract.Recogniser.begin`."""
        if self.scorer is None:
            return False
        self.scorer.begin(pcm16k, self._texts(_open(phrases, clear_db)))
        return True

    def expects_more(self, pcm16k: bytes, phrases: Sequence[Phrase], clear_db: float = CLEAR_DB) -> bool:
        """Whether the piece is the lead-in word alone."""
        found = self._measured(pcm16k, _open(phrases, clear_db))
        return found is not None and "alone" in found.measures

    def decode(self, pcm16k: bytes, phrases: Sequence[Phrase], clear_db: float = CLEAR_DB) -> Result:
        """See `contract.Recogniser.decode`."""
        if not phrases:
            return Result(None, "nothing is being listened for")
        if len(pcm16k) < accept.FRAME * 2 * 10:
            return Result(None, "too short to be a phrase")
        phrases = _open(phrases, clear_db)
        found = self._measured(pcm16k, phrases)
        self.doubts = found is not None
        if found is None:
            # Alone it knows rivals only as phrases of its grammar, and can't doubt short ones.
            long = tuple(phrase for phrase in phrases if not phrase.short)
            return self._grammar.decode(pcm16k, (*long, *rivals(long, "en", self._knows)))
        if found.number is None:
            alone = "alone" in found.measures
            return Result(None, "only the lead-in word was said" if alone else NO_PHRASE, found.free)
        phrase = tuple(by_text(phrases).values())[found.number]
        limits = accept.SHORT if phrase.short else accept.LED if phrase.lead_in else accept.BARE
        least, in_quiet = (accept.least_fit(limits, db) for db in (clear_db, CLEAR_DB))
        own = self._own.limit(phrase.text)
        if own is not None:
            # A cut is louder than the idling saw of the check: noise lowers this limit as it does the general one.
            least = max(least, own + least - in_quiet)
        limits = replace(limits, fit=max(least, in_quiet) if self._all_strict else least)
        reason = accept.weigh(found.measures, limits)
        if reason and not (self._all_strict or phrase.short) and self._doubtful(found, limits):
            other = by_text(phrases).get(self._grammar.text(pcm16k, phrases))
            if other is not None and (other.intent, other.argument) == (phrase.intent, phrase.argument):
                reason = ""
        like = phrase.text if reason and found.measures["fit"] >= accept.DOUBTFUL else ""
        return Result(None if reason else phrase, reason, phrase.text, found.measures, like)

    @staticmethod
    def _doubtful(found: Measured, limits: accept.ScoreLimits) -> bool:
        """Whether nothing speaks against the phrase except that the model is not sure of it, nor of anything else.

        The lead-in word must have been heard: the grammar's vote says nothing about it, since its phrases all have it.
        """
        unsure = found.measures["free"] <= accept.SURE
        return unsure and not accept.weigh(found.measures, replace(limits, fit=accept.DOUBTFUL))

    def _measured(self, pcm16k: bytes, phrases: tuple[Phrase, ...]) -> Measured | None:
        """None where the model is lost, or too late for this piece."""
        if self.scorer is None:
            return None
        texts = self._texts(phrases)
        try:
            if self._known is None or self._known[:2] != (pcm16k, texts):
                self._known = (pcm16k, texts, self.scorer.measured(pcm16k, texts))
            self._late = 0
            return self._known[2]
        except Late:
            self._late += 1
            if self._late == 1 and not self._said_slow:
                self._said_slow = True
                self._lost(SLOW)
            if self._late < MOST_LATE:
                return None
            self._give_up("was too slow too often")
        except ModelLost as error:
            self._give_up(str(error))
        return None

    def _give_up(self, why: str) -> None:
        if self.scorer is not None:
            self.scorer.close()
            self.scorer = None
            self._lost(OUT_OF_USE.format(why))

    def _said(self, phrases: tuple[Phrase, ...]) -> tuple[SayableText, ...]:
        found = []
        for phrase in by_text(phrases).values():
            made = rivals([phrase], "en", self._knows)
            meaning = (phrase.intent, phrase.argument) if phrase.intent != NOTHING else phrase.text
            texts = tuple(rival.wording for rival in made)
            begin = phrase.begin.removeprefix(phrase.text.removesuffix(phrase.wording))
            found.append(SayableText(phrase.wording, phrase.lead_in, meaning, texts, begin))
        return tuple(found)
