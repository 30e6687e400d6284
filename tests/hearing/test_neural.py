"""The neural model's scores: what is searched and what is forced agree, and its text is what was said."""

from __future__ import annotations

import hashlib
import math

import numpy as np
import pytest

from assistant.hearing import neural_files
from assistant.hearing.neural import END, WITHIN, tree_of
from assistant.hearing.wav import read_wav
from tests.hearing.neural_made import folder, model
from tests.hearing.voices import piece

TEXTS = ("all clamps are secure", "all clamps are not secure", "are all clamps secure", "this pass is completed")


def heard(text: str = "all clamps are secure"):
    return model().hidden(piece("flite:slt", text))


@pytest.mark.parametrize("text", [*TEXTS, "Marigold,", "isn't", "fife niner", "kerf 3.18", "naïve"])
def test_a_text_is_the_text_of_its_tokens(text):
    assert model().tokeniser.decode(model().tokeniser.encode(text)) == text


def test_common_words_are_one_token_each():
    """As in the published vocabulary, of which these are among the most frequent words."""
    assert [len(model().tokeniser.encode(word)) for word in ("the", "is", "not", "next", "pass")] == [1] * 5


def test_it_writes_what_is_said():
    """The wheel's own recording is the beginning of A Tale of Two Cities (1859), which is in the public domain."""
    recording = folder().parent / "two_cities.wav"
    sound = read_wav(recording)[: 2 * 16_000 * 5]
    given = model().given(model().hidden(sound))
    _, _, free = given.search({}, 5.0)
    assert model().tokeniser.decode(free).casefold().startswith("it was the best of times, it was the worst of times")


def test_the_odds_of_all_next_tokens_add_up_to_one():
    given = model().given(heard())
    assert np.allclose(np.exp(given.given).sum(-1), 1, atol=1e-3)


def test_search_and_forced_give_the_same_score():
    """Within the 1 nat that an 8-bit model moves with what else is decoded beside it."""
    given, encode = model().given(heard()), model().tokeniser.encode
    ways = [encode(text[0].upper() + text[1:]) for text in TEXTS]
    found, _, _ = given.search(tree_of([(way, n) for n, way in enumerate(ways)]), 2.5)
    forced = given.forced(ways)
    assert 0 in found
    for number, scored in found.items():
        assert scored.whole == pytest.approx(forced[number].whole, abs=1.0)


def test_what_was_said_is_likeliest_and_near_the_free_continuation():
    for n, text in enumerate(TEXTS):
        given, encode = model().given(heard(text)), model().tokeniser.encode
        found, free_score, _ = given.search(
            tree_of([(encode(t[0].upper() + t[1:]), k) for k, t in enumerate(TEXTS)]), 3.0
        )
        assert max(found, key=lambda k: found[k].whole) == n
        assert found[n].whole - free_score > -6


def test_a_text_that_is_far_behind_is_given_up():
    given, encode = model().given(heard()), model().tokeniser.encode
    found, _, _ = given.search(
        tree_of([(encode("All clamps are secure"), 0), (encode("Bring me a cup of tea"), 1)]), 2.5
    )
    assert list(found) == [0]
    (far,) = given.forced([encode("Bring me a cup of tea")])
    assert far.whole < found[0].whole - WITHIN


def test_of_two_ways_to_write_it_the_likelier_counts():
    given, encode = model().given(heard()), model().tokeniser.encode
    ways = [encode("All clamps are secure"), encode("all clamps are secure")]
    found, _, _ = given.search(tree_of([(way, 0) for way in ways]), 2.5)
    assert found[0].whole == pytest.approx(max(one.whole for one in given.forced(ways)), abs=1.0)


def test_the_odds_of_the_end_say_whether_it_goes_on():
    encode = model().tokeniser.encode
    way = encode("All clamps are secure")
    (whole,) = model().given(heard()).forced([way])
    (part,) = model().given(heard("all clamps are secure except for the left one")).forced([way])
    assert whole.end - whole.open > 2 > -2 > part.end - part.open
    assert math.exp(whole.end) + math.exp(whole.open) == pytest.approx(1, abs=1e-3)


def test_the_free_continuation_ends_even_in_noise():
    rng = np.random.default_rng(4)
    noise = (rng.standard_normal(32_000) * 3000).astype("<i2").tobytes()
    _, score, free = model().given(model().hidden(noise)).search({}, 2.0)
    assert score < 0 and (free[-1] == END or len(free) <= 19)


def test_the_files_are_those_that_the_limits_were_set_on(tmp_path):
    assert neural_files.fault(folder()) == ""
    for name in neural_files.SHA256:
        (tmp_path / name).write_bytes((folder() / name).read_bytes()[:-1] + b"x")
    another = "is another file than the limits were set on, or is damaged"
    assert neural_files.fault(tmp_path) == f"encoder_model.ort {another}"
    (tmp_path / "encoder_model.ort").unlink()
    assert neural_files.fault(tmp_path).startswith("encoder_model.ort can't be read: No such file")
    digest = hashlib.sha256((folder() / "tokenizer.bin").read_bytes()).hexdigest()
    assert neural_files.SHA256["tokenizer.bin"] == digest


def test_a_folder_of_models_comes_before_the_wheel(tmp_path):
    assert neural_files.find([tmp_path]) == folder()
    (tmp_path / "tiny-en").mkdir()
    assert neural_files.find([tmp_path]) == tmp_path / "tiny-en"
