"""What is nearly a phrase and means that it isn't so, or asks whether it is: made by rule from the phrase's own words.

A recogniser that knows the phrases alone takes "all clamps are hardly secure" for the answer, since nothing else that
it knows is nearer. It knows these too, so that they are recognised and refused. The rules are English; no other
language has any yet.

Pure text. Which words a recogniser knows is its own affair: `rivals` asks for it where it makes words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from assistant.plans.intents import HARMLESS, NAMED
from assistant.wording.phrases import NOTHING, Phrase

LAST_DIGIT = 9
Knows = Callable[[str], bool]
PhraseWords = tuple[str, ...]

_CONTRACTED = {"is": "isn't", "are": "aren't", "was": "wasn't", "were": "weren't", "has": "hasn't", "have": "haven't"}
_BEFORE_ALL = ("not", "never", "no", "if")
_BEFORE_ORDERS = ("not", "never", "do not", "don't", "shall we")
_AFTER_IS = ("not", "never", "not yet", "almost")
_ANYWHERE = ("not", "never")
# Between "is" and what counts; often not said, or said in their place: "blade height is hardly measured".
_ADVERBS = frozenset(("now", "well", "both", "all", "fully", "quite", "properly", "already"))
_DETERMINERS = frozenset(("a", "an", "the", "this", "that", "all", "both", "every", "each", "my", "our"))
# Neither denied nor given a prefix.
_PARTICLES = frozenset(("and", "or", "to", "of", "in", "on", "off", "up", "down", "out", "one", "at"))
_LIGHT = _ADVERBS | _DETERMINERS | _PARTICLES
_PREFIXES = ("un", "in", "im", "dis")
_OPPOSITES: dict[str, tuple[str, ...]] = {
    "all": ("no", "not all", "some", "none of the"),
    "both": ("neither", "not"),
    "another": ("the same", "the old"),
    "away": ("back", "in"),
    "clamped": ("loose",),
    "clean": ("dirty",),
    "clear": ("blocked",),
    "closed": ("open",),
    "completed": ("incomplete", "abandoned", "cancelled"),
    "correct": ("wrong", "false"),
    "cut": ("uncut",),
    "deep": ("shallow",),
    "down": ("up",),
    "dry": ("wet", "damp"),
    "empty": ("full",),
    "finish": ("start", "begin"),
    "finished": ("started",),
    "fitted": ("removed", "missing", "lifted", "taken off"),
    "free": ("stuck",),
    "fresh": ("used", "worn", "old"),
    "full": ("empty",),
    "good": ("bad",),
    "held": ("hanging", "lifted"),
    "holding": ("slipping",),
    "locked": ("open", "loose"),
    "measured": ("changed", "unknown", "guessed"),
    "new": ("old", "used"),
    "next": ("last", "previous"),
    "off": ("on",),
    "on": ("off",),
    "open": ("closed", "shut", "blocked"),
    "previous": ("next",),
    "proceed": ("stop",),
    "ready": ("busy",),
    "right": ("wrong", "false"),
    "running": ("stopped",),
    "safe": ("dangerous",),
    "secure": ("loose", "open", "slack", "undone"),
    "secured": ("loose", "open"),
    "shallow": ("deep",),
    "sharp": ("blunt", "dull"),
    "shut": ("open",),
    "still": ("turning", "running"),
    "stopped": ("running", "turning"),
    "tight": ("loose", "slack"),
    "trimmed": ("rough",),
    "well": ("badly", "poorly"),
    "working": ("stopped", "broken"),
    "wrong": ("right",),
}


def rivals(phrases: Iterable[Phrase], language: str, knows: Knows) -> tuple[Phrase, ...]:
    """The rivals of those of these phrases that record, confirm, move or end; none that is itself one of the phrases.

    language: as in `VoiceSettings`. knows: whether the recogniser knows a word; a rival with one that it lacks is left
    out. Their intent is `NOTHING` and their argument the intent of the phrase that they are like.
    """
    phrases = tuple(phrases)
    taken = {phrase.text for phrase in phrases}
    found: list[Phrase] = []
    for phrase in phrases if language == "en" else ():
        if phrase.intent in HARMLESS or phrase.intent == NOTHING:
            continue
        lead_in = phrase.text.removesuffix(phrase.wording)
        for text in _rivals_of(phrase, knows):
            if lead_in + text not in taken and all(map(knows, text.split())):
                taken.add(lead_in + text)
                found.append(Phrase(NOTHING, phrase.intent, lead_in + text, phrase.lead_in, False))
    return tuple(found)


def _rivals_of(phrase: Phrase, knows: Knows) -> Iterator[str]:
    words = tuple(phrase.wording.split())
    # Not at either end: a statement has something before its verb and something after it.
    place = next((n for n, word in enumerate(words) if word in _CONTRACTED and 0 < n < len(words) - 1), None)
    if phrase.number:
        # Its numbers are many, and it is read back in any case: what comes before the digits is enough.
        if isinstance(phrase.argument, int) and phrase.argument <= LAST_DIGIT:
            yield from _rivals_of_number(phrase, words)
    elif place is None:
        yield from _rivals_without_verb(words, phrase.intent in NAMED, knows)
    else:
        # A statement such as "all clamps are secure"; `place` is that of "are".
        yield from _denials(words, place, knows)
        yield from _with_word_before(words, _BEFORE_ALL)
        yield from _with_opposite(words)
        # Only after the verb: "finish no session" is too near to "finish the session", of which it took true ones.
        if words[place + 1] in ("a", "an"):
            yield _joined(words[: place + 1], "no", words[place + 2 :])
        # And denied without its adverbs, which are often not said.
        shorter = words[: place + 1] + tuple(word for word in words[place + 1 :] if word not in _ADVERBS)
        if shorter != words and len(shorter) > place + 1:
            yield from _denials(shorter, place, knows)


def _rivals_of_number(phrase: Phrase, words: PhraseWords) -> Iterator[str]:
    """Of an order, "go to pass two number two", or a statement, "the figure is two number two"."""
    verb = len(words) - len(phrase.text.removeprefix(phrase.begin).split()) - 1
    if words[verb] not in _CONTRACTED:
        yield from _with_word_before(words, ("do not", "never"))
        return
    yield from _with_inserted(words, (verb + 1,), ("not", "never"))
    yield _joined(words[:verb], _CONTRACTED[words[verb]], words[verb + 1 :])
    yield _joined(words[verb], words[:verb], words[verb + 1 :])


def _denials(words: PhraseWords, place: int, knows: Knows) -> Iterator[str]:
    """Of "all clamps are secure": it is not so, or is it? place: of "are"."""
    subject, verb, rest = words[:place], words[place], words[place + 1 :]
    yield from _with_inserted(words, (place + 1,), _AFTER_IS)
    yield from _with_inserted(words, [n for n in range(place + 2, len(words)) if words[n] not in _LIGHT], _ANYWHERE)
    for n, word in enumerate(words[1:-1], 1):
        if word in _CONTRACTED:
            yield _joined(words[:n], _CONTRACTED[word], words[n + 1 :])
    yield _joined(subject, "need" if verb in ("are", "were", "have") else "needs", rest)
    yield _joined(verb, subject, rest)
    if subject[0] not in _DETERMINERS:
        yield _joined(verb, "the", subject, rest)
    yield from _with_prefix(words, range(place + 1, len(words)), knows)


def _rivals_without_verb(words: PhraseWords, answer: bool, knows: Knows) -> Iterator[str]:
    """Of an order ("finish the session"), or of an answer that says no "is" ("safety guard fitted")."""
    places = [n for n in range(1, len(words)) if words[n] not in _LIGHT]
    if not answer:
        # No light word: "mark up a problem" took true ones of "mark down a problem", and means nothing.
        yield from _with_opposite(words, _LIGHT)
        yield from _with_word_before(words, _BEFORE_ORDERS)
        yield from (_joined(words[:n], "no", words[n + 1 :]) for n, word in enumerate(words) if word in ("a", "an"))
        return
    yield from _with_opposite(words)
    yield from _with_inserted(words, places, _ANYWHERE)
    yield from _with_word_before(words, _BEFORE_ALL)
    if len(words) == 1:
        # "Unconditionally": it names nothing that could be said not to be so.
        yield from _with_prefix(words, (0,), knows)
        return
    yield from _with_prefix(words, places, knows)
    # Of such an answer the last word but one is the noun.
    verb = "are" if words[-2].endswith("s") else "is"
    yield from _with_inserted(words, (len(words) - 1,), (_CONTRACTED[verb], f"{verb} not", f"{verb} never"))
    yield _joined(verb, words)
    if words[0] not in _DETERMINERS:
        yield _joined(verb, "the", words)


def _joined(*parts: str | Sequence[str]) -> str:
    return " ".join(part if isinstance(part, str) else " ".join(part) for part in parts if part)


def _with_inserted(words: PhraseWords, places: Iterable[int], which: Iterable[str]) -> Iterator[str]:
    which = tuple(which)
    for place in places:
        for word in which:
            yield _joined(words[:place], word, words[place:])


def _with_word_before(words: PhraseWords, which: Iterable[str]) -> Iterator[str]:
    """Before it all; "no" takes the place of "the"."""
    for word in which:
        yield _joined(word, words[1:] if word == "no" and words[0] in _DETERMINERS else words)


def _with_prefix(words: PhraseWords, places: Iterable[int], knows: Knows) -> Iterator[str]:
    """With one word given a prefix: "insecure" for "secure".

    The words that there are, and "un" before what was done, as a word of its own where the recogniser has no other; but
    not after an adverb, since "now un measured" took true ones of "now measured".
    """
    for place in places:
        word = words[place]
        if word in _LIGHT:
            continue
        known = [prefix + word for prefix in _PREFIXES if knows(prefix + word)]
        if word.endswith("ed") and f"un{word}" not in known and words[place - 1] not in _ADVERBS:
            known.append(f"un {word}")
        for made in known:
            yield _joined(words[:place], made, words[place + 1 :])


def _with_opposite(words: PhraseWords, but: frozenset[str] = frozenset()) -> Iterator[str]:
    """With one word its opposite, and with "but not" for "and". but: words that stay."""
    for place, word in enumerate(words):
        for other in () if word in but else _OPPOSITES.get(word, ()):
            yield _joined(words[:place], other, words[place + 1 :])
        if word == "and":
            yield _joined(words[:place], "but not", words[place + 1 :])
