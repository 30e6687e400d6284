"""The built-in recogniser: pocketsphinx with the English model that comes in its wheel.

It knows only the grammar of what means something now, so that it makes a phrase of anything; `accept` judges whether it
was one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from assistant.hearing import accept, grammar
from assistant.hearing.contract import CLEAR_DB, OR_TEACH, Recogniser, Result, by_text, refuse_unknown
from assistant.hearing.decoder import decoded_words, make
from assistant.hearing.numbers import AnyNumber, gathered
from assistant.wording.phrases import Phrase

FILLERS = frozenset({"<sil>", "SIL", "<s>", "</s>", "[NOISE]", "[SPEECH]", "+NSN+", "+SPN+", "(NULL)"})
# Measured with tests.bench.hearing. The default beams lose the last words of a long phrase, and wider beams than these
# cost time and change nothing. The best-path pass over the lattice turns complete phrases into incomplete ones. A
# frame's scores are relative to its best sound's. With all sounds computed that is the same sound whatever phrases are
# open, so that a score says how well the words fit.
GRAMMAR = {"beam": 1e-120, "pbeam": 1e-120, "wbeam": 1e-100, "bestpath": False, "compallsen": True}
SEARCH = "phrases"
NO_PHRASE = "no phrase that means something now"
# Digital silence (a file's padding) has no spectrum: its frames would drag the cepstral mean away and cost a fifth of
# the phrases. The gaps between a synthetic voice's formants, and those that noise suppression leaves, have none either:
# digits were taken for others (117 of 125 phrases right, 122 with a floor of 30 or 40 dB). A floor of noise, always the
# same noise, cures both.
DITHER = 8.0  # of 32,768: the least level of that noise
DITHER_DB = 35.0  # how far it is below the louder half of the piece
LONGEST = 16_000 * 10  # samples of noise; longer pieces repeat it
# Words of the trade that the library's dictionary lacks, and their phones. They are the sounds of general American
# speech, from memory: no source.
TRADE_WORDS = (
    ("bandsaw", "B AE N D S AO"),
    ("crosscut", "K R AO S K AH T"),
    ("dados", "D EY D OW Z"),
    ("featherboard", "F EH DH ER B AO R D"),
    ("handwheel", "HH AE N D W IY L"),
    ("kerf", "K ER F"),
    ("kerfs", "K ER F S"),
    ("mortise", "M AO R T AH S"),
    ("mortises", "M AO R T AH S IH Z"),
    ("offcut", "AO F K AH T"),
    ("offcuts", "AO F K AH T S"),
    ("outfeed", "AW T F IY D"),
    ("rabbet", "R AE B AH T"),
    ("rabbets", "R AE B AH T S"),
    ("riving", "R AY V IH NG"),
    ("sawn", "S AO N"),
    ("shims", "SH IH M Z"),
    ("tenon", "T EH N AH N"),
    ("tenons", "T EH N AH N Z"),
    ("workpiece", "W ER K P IY S"),
)
Pronunciations = Sequence[tuple[str, str]]  # word and its phones; the shop file's were checked when it was read


def _dither() -> np.ndarray:
    return np.random.default_rng(0).standard_normal(LONGEST)


def pronouncer(pronunciations: Pronunciations = ()) -> Callable[[str], tuple[str, ...] | None]:
    """A function that looks words up in the dictionary, without a whole recogniser. Raises NoSuchPart.

    pronunciations: as in `Sphinx`.
    """
    decoder = make()
    _teach(decoder, pronunciations)
    return lambda word: _pronounced(decoder, word)


def _teach(decoder: Any, pronunciations: Pronunciations) -> None:
    """Adds these words to the dictionary. A word that it already has gets one more pronunciation.

    Trade words come last, and only those still missing: the shop file's own pronunciation goes before ours.
    """
    for word, phones in pronunciations:
        entry, n = word, 2
        while (known := decoder.lookup_word(entry)) not in (None, phones):
            entry, n = f"{word}({n})", n + 1
        if known is None:
            decoder.add_word(entry, phones, True)
    for word, phones in TRADE_WORDS:
        if decoder.lookup_word(word) is None:
            decoder.add_word(word, phones, True)


def _pronounced(decoder: Any, word: str) -> tuple[str, ...] | None:
    phones = decoder.lookup_word(word) if grammar.plain_word(word) else None
    return tuple(phones.split()) if phones else None


class Sphinx(Recogniser):
    """The recogniser `pocketsphinx`, for English only. Owned by one thread.

    pronunciations: words to add to the dictionary's. Raises NoSuchPart when the library is missing.
    """

    name = "pocketsphinx"
    doubts = False

    def __init__(
        self,
        bars: tuple[accept.Bar, accept.Bar] = accept.SPHINX_BARS,
        pronunciations: Pronunciations = (),
        all_strict: bool = False,
    ) -> None:
        self._bars, self._all_strict = bars, all_strict
        self._grammar = make(**GRAMMAR)
        _teach(self._grammar, pronunciations)
        self._noise = _dither()
        self._checked: tuple[Phrase, ...] = ()
        self._gathered: tuple[tuple[str, ...], tuple[AnyNumber, ...]] = ((), ())
        self._in_use: tuple[tuple[str, ...], tuple[AnyNumber, ...]] = ((), ())

    def pronounce(self, word: str) -> tuple[str, ...] | None:
        """The word's phones according to the dictionary; None if it isn't in there."""
        return _pronounced(self._grammar, word)

    def unknown_words(self, words: Sequence[str]) -> list[str]:
        """Those of the words that the dictionary lacks. It has no capitals, digits or signs."""
        return [word for word in words if self.pronounce(word) is None]

    def decode(self, pcm16k: bytes, phrases: Sequence[Phrase], clear_db: float = CLEAR_DB) -> Result:
        """See `contract.Recogniser.decode`."""
        if not phrases:
            return Result(None, "nothing is being listened for")
        if len(pcm16k) < accept.FRAME * 2 * 10:
            return Result(None, "too short to be a phrase")
        pcm16k = self._dithered(pcm16k)
        table = by_text(phrases)
        words = self._decoded(pcm16k, phrases, table)
        heard = self._text(words)
        if heard not in table:
            return Result(None, NO_PHRASE, heard)
        phrase = table[heard]
        measures = accept.measure(pcm16k, words, FILLERS)
        bar = accept.bar_for(phrase, self._bars, self._all_strict)
        reason = accept.judge(measures, bar)
        like = phrase.text if reason and accept.nearly(measures, bar) else ""
        return Result(None if reason else phrase, reason, heard, measures, like)

    def text(self, pcm16k: bytes, phrases: Sequence[Phrase]) -> str:
        """The phrase that the grammar makes of the piece, right or wrong; "" for none. Arguments: as in `decode`."""
        return self._text(self._decoded(self._dithered(pcm16k), phrases, by_text(phrases)))

    def _decoded(
        self, pcm16k: bytes, phrases: Sequence[Phrase], table: Mapping[str, Phrase]
    ) -> list[accept.DecodedWord]:
        if self._checked != tuple(phrases):
            # Checked first, since the library's own error doesn't name the unknown word.
            refuse_unknown(self, phrases, OR_TEACH)
            self._checked, self._gathered = tuple(phrases), gathered(table.values())
        texts, many = self._gathered
        self._use(texts, many)
        words = decoded_words(self._grammar, pcm16k)
        heard = self._text(words)
        if not many or heard in table:
            return words
        candidates = [text for one in many for text in one.candidates(heard) if text in table]
        if candidates:
            self._use((*texts, *candidates))
            words = decoded_words(self._grammar, pcm16k)
        return words

    def _text(self, words: Sequence[accept.DecodedWord]) -> str:
        return " ".join(self._plain(word.name) for word in words if word.name not in FILLERS)

    def _dithered(self, pcm16k: bytes) -> bytes:
        samples = np.frombuffer(pcm16k, "<i2").astype(np.float64)
        louder_half = np.sort(np.abs(samples))[len(samples) // 2 :]
        level = np.sqrt(np.mean(louder_half**2)) * 10 ** (-DITHER_DB / 20)
        mixed = samples + np.resize(self._noise, len(samples)) * max(DITHER, level)
        return np.clip(np.rint(mixed), -32768, 32767).astype("<i2").tobytes()

    def _use(self, texts: tuple[str, ...], many: tuple[AnyNumber, ...] = ()) -> None:
        if (texts, many) == self._in_use:
            return
        # As text, not as a file: a grammar file that isn't there ends the process.
        self._grammar.add_jsgf_string(SEARCH, grammar.jsgf(texts, many))
        self._grammar.activate_search(SEARCH)
        self._in_use = (texts, many)

    @staticmethod
    def _plain(word: str) -> str:
        """The word without the number of its pronunciation: `to(3)` is the dictionary's third for `to`."""
        return word.partition("(")[0]
