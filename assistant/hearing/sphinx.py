"""The embedded recogniser: pocketsphinx with the English model that comes in its wheel.

Two decoders over each utterance: one held to the grammar of what means something now, and a free
phone loop (`phone_loop`) as the background that the acceptance checks compare it with.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from assistant.hearing import accept, grammar
from assistant.hearing.contract import Result, by_text, refuse_unknown
from assistant.hearing.decoder import make, units
from assistant.hearing.phone_loop import PhoneLoop, phone_loop
from assistant.wording.phrases import Phrase

FILLERS = frozenset({"<sil>", "SIL", "<s>", "</s>", "[NOISE]", "[SPEECH]", "+NSN+", "+SPN+", "(NULL)"})
# Measured by tests.bench.hearing. Default beams lose the last words of a long phrase, ever wider ones cost time and
# change nothing; the best-path pass over the lattice trades complete phrases for incomplete ones. A frame's scores
# count from its best sound's: with all sounds computed that is the same one whatever is open, so that two decodings
# can be compared.
GRAMMAR = {"beam": 1e-120, "pbeam": 1e-120, "wbeam": 1e-100, "bestpath": False, "compallsen": True}
SEARCH = "phrases"
NO_PHRASE = "no phrase that means something now"
# Digital silence (a file's padding) has no spectrum: its frames would drag the cepstral mean away and cost a fifth of
# the phrases. Nor have a synthetic voice's gaps between formants, and those that noise suppression leaves: digits were
# taken for others (117 of 125 phrases right, 122 with a floor of 30 or 40 dB). A floor of noise,
# always the same, mends both.
DITHER = 8.0  # of 32,768, at least
DITHER_DB = 35.0  # under the louder half of the piece
LONGEST = 16_000 * 10  # samples; longer pieces repeat the noise
Pronunciations = Sequence[tuple[str, str]]  # word and its phones; the shop file's were checked when it was read


def _dither() -> np.ndarray:
    return np.random.default_rng(0).standard_normal(LONGEST)


def pronouncer(pronunciations: Pronunciations = ()) -> Callable[[str], tuple[str, ...] | None]:
    """Looks words up in the dictionary without making a whole recogniser. Raises NoSuchPart.

    pronunciations: as in `Sphinx`.
    """
    decoder = make()
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
    """The recogniser `pocketsphinx`; English only. Owned by one thread. loop: by default `phone_loop.phone_loop`.

    pronunciations: words to be known beside the dictionary's. Raises NoSuchPart when the library is missing.
    """

    name = "pocketsphinx"

    def __init__(
        self,
        bars: tuple[accept.Bar, accept.Bar] = accept.SPHINX_BARS,
        pronunciations: Pronunciations = (),
        all_strict: bool = False,
        loop: PhoneLoop | None = None,
    ) -> None:
        self._bars, self._all_strict = bars, all_strict
        self.loop = loop or phone_loop()
        self._grammar = make(**GRAMMAR)
        _teach(self._grammar, pronunciations)
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
        self.loop.begin(pcm16k)
        words = units(self._grammar, pcm16k)
        heard = " ".join(self._plain(unit.name) for unit in words if unit.name not in FILLERS)
        if heard not in table:
            return Result(None, NO_PHRASE, heard)
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
        rivals = [text for text, other in table.items() if grammar.is_rival(other, phrase)]
        # While the phone loop is still at work.
        margin = {"margin": self._margin(pcm16k, words, rivals)} if rivals else {}
        wanted = [phone for word in phrase.text.split() for phone in self.pronounce(word) or ()]
        measures = accept.measure(pcm16k, words, self.loop.phones(), wanted, FILLERS) | margin
        bar = accept.bar_for(phrase, self._bars, self._all_strict)
        reason = accept.judge(measures, bar)
        like = phrase.text if reason and accept.nearly(measures, bar) else ""
        return Result(None if reason else phrase, reason, phrase.text, measures, like)

    def _margin(self, pcm16k: bytes, words: list[accept.Unit], rivals: Sequence[str]) -> float:
        """By how much (natural log, over the whole piece) the words fit better than the best of the rivals."""
        other = self._alone(pcm16k, rivals)
        return sum(unit.score for unit in words) - sum(unit.score for unit in other)

    def _alone(self, pcm16k: bytes, texts: Sequence[str]) -> list[accept.Unit]:
        """The decoding with nothing but these to choose from."""
        self._activate(texts)
        try:
            return units(self._grammar, pcm16k)
        finally:
            self._activate(self._texts)
