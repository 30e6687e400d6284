"""Rendered speech is kept, bounded, least recently used dropped first."""

from __future__ import annotations

from collections import OrderedDict

from hypothesis import given
from hypothesis import strategies as st

from assistant.speaking.cache import SpeechCache, key_of
from tests.speaking.stand_ins import FlatVoice, steady


def key(text: str) -> tuple[str, str, int, str]:
    return ("flat", "test", 160, text)


def test_the_least_recently_used_goes_first() -> None:
    size = steady(0.1).samples.nbytes
    cache = SpeechCache(3 * size)
    for text in "abc":
        cache.put(key(text), steady(0.1))
    assert cache.get(key("a")) is not None
    cache.put(key("d"), steady(0.1))
    assert [text for text in "abcd" if cache.get(key(text)) is not None] == ["a", "c", "d"]
    assert cache.bytes == 3 * size


def test_a_piece_larger_than_the_whole_limit_is_not_kept() -> None:
    cache = SpeechCache(1000)
    cache.put(key("a"), steady(1.0))
    assert len(cache) == 0 and cache.bytes == 0


def test_voice_and_rate_are_part_of_the_key() -> None:
    slow, fast = FlatVoice(), FlatVoice()
    fast.words_a_minute = 300
    other = FlatVoice()
    other.voice = "deep"
    assert len({key_of(engine, "one") for engine in (slow, fast, other)}) == 3


@given(st.lists(st.tuples(st.sampled_from("abcdefg"), st.integers(0, 4)), max_size=60))
def test_the_bound_holds_and_the_order_is_that_of_a_plain_model(steps: list[tuple[str, int]]) -> None:
    """A length of 0 looks a text up, any other stores it; the model is an OrderedDict, trimmed naively."""
    unit = steady(0.02).samples.nbytes
    cache, model = SpeechCache(6 * unit), OrderedDict[str, int]()
    for text, units in steps:
        if units:
            cache.put(key(text), steady(0.02 * units))
            model.pop(text, None)
            model[text] = units
            while sum(model.values()) > 6:
                model.popitem(last=False)
        else:
            assert (cache.get(key(text)) is not None) == (text in model)
            if text in model:
                model.move_to_end(text)
        assert len(cache) == len(model)
        assert cache.bytes <= 6 * unit
