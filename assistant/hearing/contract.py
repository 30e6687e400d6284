"""The contract of a recogniser: one utterance in, one complete phrase or a reason out.

A recogniser belongs to one thread. It takes the phrases as data, so that its grammar always has just the phrases that
mean something now. It decodes one buffer per utterance and carries nothing over from earlier ones.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from assistant.errors import BadInput, Fault
from assistant.wording.phrases import Phrase

RATE = 16_000  # samples per second: mono, signed 16 bit, little endian, everywhere behind the microphone
BYTES_PER_S = 2 * RATE
CLEAR_DB = 40.0  # of speech in a quiet room
OTHER_WORDS = "use other words"
OR_TEACH = "use other words, or give the word's sounds under [pronunciations] in the shop file"


@dataclass(frozen=True, slots=True)
class Result:
    """What the recogniser made of one utterance.

    phrase: the phrase accepted, or None. reason: why none was, a plain clause, or "" when one was.
    like: the phrase that it nearly was, or that it was and is refused; "" if it was like none. Where it isn't "", the
    speaker hears a low note.
    heard: the words the recogniser proposed, accepted or not, or "". measures: the figures behind
    the judgement, by name (see `accept`), for display and study; never shown as a confidence.
    """

    phrase: Phrase | None
    reason: str
    heard: str = ""
    measures: dict[str, float] = field(default_factory=dict)
    like: str = ""

    @property
    def text(self) -> str | None:
        """The accepted phrase's words, or None."""
        return self.phrase.text if self.phrase else None


class Recogniser:
    """Decodes utterances. A base class, for what most recognisers don't do.

    name: for people and settings. makes_rivals: it compares a phrase with its rivals itself, so that they need not be
    among the phrases. hears_short: it can doubt, so that short wordings are safe with it. doubts: whether the last
    piece was judged by what knows an answer from its opposite.
    """

    name = ""
    makes_rivals = hears_short = False
    doubts: bool = True

    def unknown_words(self, words: Sequence[str]) -> list[str]:
        """Those of `words` that its vocabulary lacks, in order. Makes no native grammar call."""
        raise NotImplementedError

    def decode(self, pcm16k: bytes, phrases: Sequence[Phrase], clear_db: float = CLEAR_DB) -> Result:
        """Decides which of `phrases` this utterance is, if any.

        pcm16k: the whole utterance, 16 kHz mono, 16 bit little endian, an even number of bytes. clear_db: how far the
        speech was above its noise before that was suppressed (`blend.clearness`), for limits that depend on it.
        Raises BadInput naming every unknown word with its phrase.
        """
        raise NotImplementedError

    def prepare(self, phrases: Sequence[Phrase]) -> None:
        """Begins whatever takes time before a first `decode` with these phrases elsewhere, and returns at once."""

    def begin(self, pcm16k: bytes, phrases: Sequence[Phrase], clear_db: float = CLEAR_DB) -> bool:
        """Begins the work of a `decode` with these arguments elsewhere, and returns at once; False if it can't."""
        return False

    def expects_more(self, pcm16k: bytes, phrases: Sequence[Phrase], clear_db: float = CLEAR_DB) -> bool:
        """Whether the piece is only the beginning of a phrase, so that the rest is worth waiting for."""
        return False


def refuse_unknown(recogniser: Recogniser, phrases: Sequence[Phrase], mend: str = OTHER_WORDS) -> None:
    """Raises BadInput with one Fault for each word that the recogniser doesn't know. mend: as in `unknown_faults`."""
    texts = dict.fromkeys(phrase.text for phrase in phrases)
    unknown = ((word, text) for text in texts for word in recogniser.unknown_words(text.split()))
    faults = unknown_faults(unknown, mend)
    if faults:
        raise BadInput(faults)


def unknown_faults(pairs: Iterable[tuple[str, str]], mend: str = OTHER_WORDS) -> list[Fault]:
    """One Fault for each word that a recogniser doesn't know, however many phrases have it.

    pairs: word and phrase. mend: what to do; `OR_TEACH` for a recogniser that [pronunciations] can teach a word.
    """
    found: dict[str, list[str]] = {}
    for word, text in pairs:
        found.setdefault(word, []).append(text)
    return [
        Fault(
            "the recogniser doesn't know the word",
            f'"{word}"',
            f'phrase "{texts[0]}"' + (f" and {len(texts) - 1} more" if len(texts) > 1 else ""),
            mend,
        )
        for word, texts in found.items()
    ]


def by_text(phrases: Sequence[Phrase]) -> dict[str, Phrase]:
    """The phrases by their words. Of two phrases with the same words, the stricter counts."""
    table: dict[str, Phrase] = {}
    for phrase in phrases:
        known = table.get(phrase.text)
        if known is None or (phrase.strict and not known.strict):
            table[phrase.text] = phrase
    return table
