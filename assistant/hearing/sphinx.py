"""The embedded recogniser: pocketsphinx with the English model that comes in its wheel.

Two decoders over each utterance: one held to the grammar of what means something now, and a free
phone loop as the background that the acceptance checks compare it with.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from assistant.errors import NoSuchPart
from assistant.hearing import accept, grammar
from assistant.hearing.contract import Result, by_text, refuse_unknown
from assistant.wording.phrases import Phrase

FILLERS = frozenset({"<sil>", "SIL", "<s>", "</s>", "[NOISE]", "[SPEECH]", "+NSN+", "+SPN+", "(NULL)"})
# Measured by tests.bench.hearing. Default beams lose the last words of a long phrase, ever wider ones cost time and
# change nothing; the best-path pass over the lattice trades complete phrases for incomplete ones. A frame's scores
# count from its best sound's: with all sounds computed that is the same one whatever is open, so that two decodings
# can be compared.
GRAMMAR = {"beam": 1e-120, "pbeam": 1e-120, "wbeam": 1e-100, "bestpath": False, "compallsen": True}
PHONE_LOOP = {"allphone_ci": True, "beam": 1e-12, "pbeam": 1e-12, "lw": 2.0, "compallsen": True}  # study, step 4
# A segment's score comes exponentiated and in the decoder's storage unit of 1024 natural logs.
SCORE_UNIT = 1024
SEARCH = "phrases"
# Digital silence (a file's padding) has no spectrum: its frames would drag the cepstral mean away and cost a fifth of
# the phrases. Nor have a synthetic voice's gaps between formants, and those that noise suppression leaves: digits were
# taken for others (117 of 125 phrases right, 122 with a floor of 30 or 40 dB). A floor of noise,
# always the same, mends both.
DITHER = 8.0  # of 32,768, at least
DITHER_DB = 35.0  # under the louder half of the piece
LONGEST = 16_000 * 10  # samples; longer pieces repeat the noise
Pronunciations = Sequence[tuple[str, str]]  # word and its phones; the shop file's were checked when it was read


def _decoder(**settings: Any) -> Any:
    try:
        from pocketsphinx import Decoder, get_model_path
    except ImportError as error:
        raise NoSuchPart("the recogniser pocketsphinx is not installed; pip install pocketsphinx") from error
    # cmn="batch" takes the cepstral mean over the one utterance: what was heard before can't matter.
    return Decoder(
        hmm=get_model_path("en-us/en-us"),
        dict=get_model_path("en-us/cmudict-en-us.dict"),
        lm=None,
        cmn="batch",
        loglevel="FATAL",
        **settings,
    )


def _phone_loop() -> Any:
    from pocketsphinx import get_model_path

    return _decoder(allphone=get_model_path("en-us/en-us-phone.lm.bin"), **PHONE_LOOP)


def _dither() -> np.ndarray:
    return np.random.default_rng(0).standard_normal(LONGEST)


def _units(decoder: Any, pcm16k: bytes) -> list[accept.Unit]:
    """The decoding of the whole buffer, without the empty closing mark."""
    # The front end's state would otherwise carry over: the same sound must score the same whatever came before.
    decoder.reinit_feat()
    decoder.start_utt()
    try:
        decoder.process_raw(pcm16k, full_utt=True)
    finally:
        decoder.end_utt()
    return [
        accept.Unit(s.word, s.start_frame, s.end_frame, math.log(max(s.ascore, 1e-300)) * SCORE_UNIT)
        for s in decoder.seg() or ()
        if s.word != "</s>"
    ]


def pronouncer(pronunciations: Pronunciations = ()) -> Callable[[str], tuple[str, ...] | None]:
    """Looks words up in the dictionary without making a whole recogniser. Raises NoSuchPart.

    pronunciations: as in `Sphinx`.
    """
    decoder = _decoder()
    _teach(decoder, pronunciations)
    return lambda word: _pronounced(decoder, word)


def _teach(decoder: Any, pronunciations: Pronunciations) -> None:
    """Add these words; one that the dictionary has is heard this way too."""
    for word, phones in pronunciations:
        entry, n = word, 2
        while (known := decoder.lookup_word(entry)) not in (None, phones):
            entry, n = f"{word}({n})", n + 1
        if known is None:
            decoder.add_word(entry, phones, True)


def _pronounced(decoder: Any, word: str) -> tuple[str, ...] | None:
    phones = decoder.lookup_word(word) if grammar.plain_word(word) else None
    return tuple(phones.split()) if phones else None


class Sphinx:
    """The recogniser `pocketsphinx`; English only. Owned by one thread.

    pronunciations: words to be known beside the dictionary's. Raises NoSuchPart when the library is missing.
    """

    name = "pocketsphinx"

    def __init__(
        self,
        bars: tuple[accept.Bar, accept.Bar] = accept.SPHINX_BARS,
        pronunciations: Pronunciations = (),
        all_strict: bool = False,
    ) -> None:
        self._bars, self._all_strict = bars, all_strict
        self._grammar = _decoder(**GRAMMAR)
        _teach(self._grammar, pronunciations)
        self._loop = _phone_loop()
        self._noise = _dither()
        self._texts: tuple[str, ...] = ()

    def pronounce(self, word: str) -> tuple[str, ...] | None:
        """Its phones by the dictionary, or None when it isn't in it."""
        return _pronounced(self._grammar, word)

    def unknown_words(self, words: Sequence[str]) -> list[str]:
        """Those that the dictionary lacks; capitals, digits and signs are never known."""
        return [word for word in words if self.pronounce(word) is None]

    def decode(self, pcm16k: bytes, phrases: Sequence[Phrase]) -> Result:
        """See `contract.Recogniser.decode`."""
        if not phrases:
            return Result(None, "nothing is being listened for")
        if len(pcm16k) < accept.FRAME * 2 * 10:
            return Result(None, "too short to be a phrase")
        pcm16k = self._dithered(pcm16k)
        table = by_text(phrases)
        self._use(phrases, tuple(table))
        words = _units(self._grammar, pcm16k)
        heard = " ".join(self._plain(unit.name) for unit in words if unit.name not in FILLERS)
        if heard not in table:
            return Result(None, "no phrase that means something now", heard)
        return self._accepted(pcm16k, table[heard], words, table)

    def _dithered(self, pcm16k: bytes) -> bytes:
        samples = np.frombuffer(pcm16k, "<i2").astype(np.float64)
        louder_half = np.sort(np.abs(samples))[len(samples) // 2 :]
        level = np.sqrt(np.mean(louder_half**2)) * 10 ** (-DITHER_DB / 20)
        mixed = samples + np.resize(self._noise, len(samples)) * max(DITHER, level)
        return np.clip(np.rint(mixed), -32768, 32767).astype("<i2").tobytes()

    def _use(self, phrases: Sequence[Phrase], texts: tuple[str, ...]) -> None:
        if texts == self._texts:
            return
        refuse_unknown(self, phrases)
        self._activate(texts)
        self._texts = texts

    def _activate(self, texts: Sequence[str]) -> None:
        self._grammar.add_jsgf_string(SEARCH, grammar.jsgf(texts))
        self._grammar.activate_search(SEARCH)

    @staticmethod
    def _plain(word: str) -> str:
        """`to(3)` is the dictionary's third way of saying `to`."""
        return word.partition("(")[0]

    def _accepted(self, pcm16k: bytes, phrase: Phrase, words: list[accept.Unit], table: Mapping[str, Phrase]) -> Result:
        phones = _units(self._loop, pcm16k)
        wanted = [phone for word in phrase.text.split() for phone in self.pronounce(word) or ()]
        measures = accept.measure(pcm16k, words, phones, wanted, FILLERS)
        bar = accept.bar_for(phrase, self._bars, self._all_strict)
        reason = accept.judge(measures, bar)
        rivals = [text for text, other in table.items() if grammar.is_rival(other, phrase)]
        if not reason and rivals:
            measures["margin"] = self._margin(pcm16k, words, rivals)
            reason = accept.judge(measures, bar)
        if not reason and phrase.strict and self._denied(pcm16k, phrase):
            reason = "it was said with a not in it"
        return Result(None if reason else phrase, reason, phrase.text, measures)

    def _margin(self, pcm16k: bytes, words: list[accept.Unit], rivals: Sequence[str]) -> float:
        """By how much (natural log, over the whole piece) the words fit better than the best of the rivals."""
        other = self._alone(pcm16k, rivals)
        return sum(unit.score for unit in words) - sum(unit.score for unit in other)

    def _alone(self, pcm16k: bytes, texts: Sequence[str]) -> list[accept.Unit]:
        """The decoding with nothing but these to choose from."""
        self._activate(texts)
        try:
            return _units(self._grammar, pcm16k)
        finally:
            self._activate(self._texts)

    def _denied(self, pcm16k: bytes, phrase: Phrase) -> bool:
        """Whether, with nothing else to choose from, the words with a "not" fit better."""
        denials = grammar.denials(phrase.text)
        if not denials:
            return False
        units = self._alone(pcm16k, [phrase.text, *denials])
        return " ".join(self._plain(unit.name) for unit in units if unit.name not in FILLERS) in denials
