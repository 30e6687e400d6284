"""A recording is heard from end to end, with a report of progress on the way."""

from __future__ import annotations

import pytest

from assistant.errors import BadInput
from assistant.hearing.child import Spec
from assistant.hearing.offline import hear_all
from assistant.wording.phrases import Phrase
from tests.hearing.voices import need, padded, spoken, table

SPEC = Spec("pocketsphinx", None)


def test_every_utterance_is_found_and_each_second_is_told_of():
    need("flite")
    shares: list[float] = []
    sound = padded(spoken("flite:slt", "report my progress"), 1.0, 1.0) * 2
    found = hear_all(sound, table(), SPEC, shares.append)
    assert [one.phrase.intent for one in found if one.phrase] == ["where", "where"]
    assert shares == sorted(shares) and shares[-1] == 1.0 and len(shares) == -(-len(sound) // 32_000)


def test_a_word_that_is_not_known_is_refused():
    with pytest.raises(BadInput, match="zxqwort"):
        hear_all(bytes(64_000), [Phrase("cut", None, "zxqwort go on", True, True)], SPEC)
