"""A piece is decoded while its quiet is waited out, and only what proves to be the whole piece is used."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing.beside import ScorerProcess
from assistant.hearing.contract import CLEAR_DB, RATE, Recogniser, Result
from assistant.hearing.denoise import choose_denoiser
from assistant.hearing.ear import NOT_NOW, NOT_THE_ANSWER, SCRAP, Ear
from assistant.hearing.endpoint import FRAME_BYTES, Endpointer
from assistant.hearing.leading import Leading
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.model import Check
from assistant.wording.phrases import NOTHING, Phrase, phrases_for, whole_table
from tests.hearing import neural_made
from tests.hearing.voices import LEAD_IN, in_turn, need, padded, pcm, saw_noise, sphinx, spoken, table

PHRASE = table()[0]


class Slow(Recogniser):
    """A recogniser that keeps what it was given and takes its time."""

    name = "slow"

    def __init__(self, refuses: int = 0, like: str = PHRASE.text) -> None:
        """refuses: so many of the first pieces. like: what those nearly were."""
        self._like = like
        self.pieces: list[bytes] = []
        self.listened_for: tuple[Phrase, ...] = ()
        self._refuses = refuses

    def unknown_words(self, words):
        return []

    def decode(self, pcm16k, phrases, clear_db=CLEAR_DB):
        self.pieces.append(pcm16k)
        self.listened_for = tuple(phrases)
        refused = Result(None, "unclear", like=self._like)
        return refused if len(self.pieces) <= self._refuses else Result(PHRASE, "")


def sound(seconds: float) -> bytes:
    return pcm(saw_noise(round(seconds * RATE)) * 0.2)


def quiet(seconds: float) -> bytes:
    return bytes(2 * round(seconds * RATE))


def heard(stream: bytes, recogniser: Slow):
    ear = Ear(recogniser)
    ear.listen(table(), 1)
    return ear.feed(stream)


def test_a_piece_is_decoded_once_before_its_end_is_sure():
    recogniser = Slow()
    (found,) = heard(quiet(1) + sound(0.8) + quiet(1), recogniser)
    assert found.phrase == PHRASE
    assert len(recogniser.pieces) == 1
    limits = Endpointer().limits
    assert found.decided - found.end == round(limits.hangover * RATE)


def test_what_was_nearly_accepted_ahead_is_judged_by_the_whole_piece():
    recogniser = Slow(refuses=1)
    (found,) = heard(quiet(1) + sound(0.8) + quiet(1), recogniser)
    assert found.phrase == PHRASE
    ahead, whole = recogniser.pieces
    assert whole.startswith(ahead) and len(whole) > len(ahead)


def test_what_was_like_no_phrase_ahead_is_not_judged_again():
    recogniser = Slow(refuses=1, like="")
    (found,) = heard(quiet(1) + sound(0.8) + quiet(1), recogniser)
    assert found.phrase is None and len(recogniser.pieces) == 1


def test_speech_that_goes_on_is_decoded_anew_and_whole():
    recogniser = Slow()
    (found,) = heard(quiet(1) + sound(0.8) + quiet(0.27) + sound(0.6) + quiet(1), recogniser)
    assert len(recogniser.pieces) == 2
    assert len(recogniser.pieces[1]) > len(recogniser.pieces[0]) + 2 * round(0.6 * RATE)
    assert found.end / RATE > 2.5


def test_the_answer_is_ready_when_the_end_is():
    recogniser = Slow()
    ear = Ear(recogniser)
    ear.listen(table(), 1)
    stream = quiet(1) + sound(0.8) + quiet(1)
    for start in range(0, len(stream), FRAME_BYTES):
        decoded = len(recogniser.pieces)
        found = ear.feed(stream[start : start + FRAME_BYTES])
        if found:
            assert decoded == len(recogniser.pieces) == 1, "decoded before, and not again"
            return
    raise AssertionError("nothing was heard")


def test_an_overdriven_microphone_is_named_where_nothing_was_understood():
    loud = pcm(np.clip(saw_noise(round(0.8 * RATE)) * 3, -1, 1))
    (found,) = heard(quiet(1) + loud + quiet(1), Slow(refuses=9))
    assert found.phrase is None and "overdriven" in found.reason
    (found,) = heard(quiet(1) + sound(0.8) + quiet(1), Slow(refuses=9))
    assert found.phrase is None and "overdriven" not in found.reason


@pytest.mark.parametrize(
    ("voice", "said", "intent"),
    in_turn(
        ["en-us", "flite:rms", "flite:awb", "flite:kal16"],
        [("proceed to next pass", "cut"), ("setting bar is put away", "check")],
    ),
)
def test_what_means_nothing_now_is_known_and_never_taken_for_something_else(voice, said, intent):
    """Without the phrase among those that can be heard, it was taken for going back, or for the guard's answer."""
    need("flite" if voice.startswith("flite") else "espeak-ng")
    answer = "marigold setting bar is put away"
    open_now = [p for p in table() if (p.intent != "cut" if intent == "cut" else p.text != answer)]
    ear = Ear(sphinx(), known=table())
    ear.listen(open_now, 1)
    (found,) = ear.feed(padded(spoken(voice, f"marigold {said}"), 1.0, 1.0))
    assert found.phrase is None
    assert (found.heard, found.reason) == (f"marigold {said}", NOT_NOW)
    assert found.like == f"marigold {said}", "who said it should hear that it led to nothing"


@pytest.mark.parametrize(
    ("voice", "said"),
    in_turn(
        ["en-us", "flite:slt"],
        [
            ("would you pass me that pencil over there please",),
        ],
    ),
)
def test_other_talk_is_like_no_phrase_so_that_no_note_answers_it(voice, said):
    need("flite" if voice.startswith("flite") else "espeak-ng")
    ear = Ear(sphinx(), known=whole_table(DEFAULT_CHECKS, LEAD_IN))
    ear.listen(table(), 1)
    for found in ear.feed(padded(spoken(voice, said), 1.0, 1.0)):
        assert found.phrase is None and found.like == ""


def test_noise_is_like_no_phrase_so_that_no_note_answers_it():
    ear = Ear(sphinx())
    ear.listen(table(), 1)
    found = ear.feed(quiet(1.0) + sound(1.5) + quiet(1.0))
    assert found, "it was looked at"
    assert all(one.phrase is None and one.like == "" for one in found)


def test_a_voice_cut_short_is_answered_with_a_note_and_a_knock_is_not():
    need("flite")
    word, knock = spoken("flite:slt", "stand")[:7000], quiet(0.01) + sound(0.05) + quiet(0.01)
    for name, piece, like in (("rnnoise", word, SCRAP), ("none", word, ""), ("rnnoise", knock, "")):
        ear = Ear(sphinx(), choose_denoiser(name)[0])
        ear.listen(table(), 1)
        found = ear.feed(quiet(1) + piece + quiet(1))
        assert [(one.knock, one.like) for one in found] == [(True, like)] or (not found and not like), (name, found)


PORT = Check("dust port", "dust port open?", "dust port is open now", "session")


@pytest.mark.parametrize(
    ("voice", "check", "said"),
    in_turn(
        ["en-us", "flite:slt", "flite:rms"],
        [
            ("setting bar out", "setting bar is not put away"),
            ("dust port", "is the dust port open now"),
            ("dust port", "dust port is closed now"),
        ],
    ),
)
def test_an_answer_denied_asked_or_turned_round_is_refused_by_name(voice, check, said):
    """In the state of a session where this check is open; a shop's own one is no different."""
    need("flite" if voice.startswith("flite") else "espeak-ng")
    checks = (*DEFAULT_CHECKS, PORT)
    ear = Ear(sphinx(), known=whole_table(checks, LEAD_IN))
    ear.listen(phrases_for([("check", check), ("again", None), ("end", None)], checks, LEAD_IN), 1)
    (found,) = ear.feed(padded(spoken(voice, f"marigold {said}"), 1.0, 1.0))
    assert found.phrase is None
    assert (found.heard, found.reason) == (f"marigold {said}", NOT_THE_ANSWER.format(said))


@pytest.mark.parametrize(("language", "more"), [("en", True), ("ko", False)])
def test_rivals_are_listened_for_in_the_language_that_has_rules(language, more):
    slow = Slow()
    ear = Ear(slow, language=language)
    ear.listen(table(), 1)
    ear.feed(quiet(1) + sound(0.8) + quiet(1))
    assert slow.listened_for[: len(table())] == table()
    assert (len(slow.listened_for) > len(table())) == more


@pytest.mark.parametrize("hears_short", [False, True])
def test_short_wordings_are_only_for_a_recogniser_that_can_doubt(hears_short):
    slow = Slow()
    slow.hears_short = hears_short
    ear = Ear(slow, known=whole_table(DEFAULT_CHECKS, LEAD_IN))
    ear.listen(phrases_for([("cut", None), ("check", "clamps")], DEFAULT_CHECKS, LEAD_IN), 1)
    ear.feed(quiet(1) + sound(0.8) + quiet(1))
    texts = {phrase.wording for phrase in slow.listened_for if phrase.intent != NOTHING}
    assert ({"next pass", "clamps secure", "guard fitted"} <= texts) == hears_short
    assert {"proceed to next pass", "all clamps are secure", "safety guard fitted"} <= texts


def test_nothing_is_decoded_for_what_is_known_alone():
    """While nothing is listened for, nothing is said about what was heard."""
    ear = Ear(sphinx(), known=table())
    ear.listen((), 1)
    (found,) = ear.feed(quiet(1) + sound(0.8) + quiet(1))
    assert (found.phrase, found.heard) == (None, "")


class Taking(Recogniser):
    """A recogniser that takes every piece for the next of these phrases; None: for something that is none."""

    name = "taking"

    def __init__(self, doubts: bool, *phrases: Phrase | None) -> None:
        self.doubts, self._phrases = doubts, list(phrases)

    def unknown_words(self, words):
        return []

    def decode(self, pcm16k, phrases, clear_db=40.0):
        phrase = self._phrases[0]
        return Result(phrase, "" if phrase else "unclear", phrase.text if phrase else "other talk")


SECURE = next(phrase for phrase in table() if phrase.argument == "clamps")
FITTED = next(phrase for phrase in table() if phrase.argument == "guard")


def taken(doubts: bool, *phrases: Phrase | None, generations: tuple[int, ...] = ()) -> list[bool]:
    recogniser = Taking(doubts, *phrases)
    ear, results = Ear(recogniser, twice=True), []
    for n in range(len(phrases)):
        ear.listen(table(), (generations or (1,) * len(phrases))[n])
        (found,) = ear.feed(quiet(1) + sound(0.8) + quiet(1))
        assert found.phrase is not None or found.reason
        results.append(found.phrase is not None)
        del recogniser._phrases[0]
    return results


def test_an_answer_that_cannot_be_doubted_counts_once_it_was_said_twice():
    assert taken(True, SECURE) == [True]
    assert taken(False, SECURE, SECURE, SECURE) == [False, True, False]
    assert taken(False, PHRASE) == [True], "an order that is no answer to a check counts at once, as ever"


def test_twice_running_and_to_the_same_question():
    assert taken(False, SECURE, FITTED, FITTED) == [False, False, True]
    assert taken(False, SECURE, None, SECURE) == [False, False, False]
    assert taken(False, SECURE, SECURE, generations=(1, 2)) == [False, False]


def test_one_saying_that_is_decoded_twice_is_said_once():
    """Ahead of its end, and then whole."""
    ear = Ear(Taking(False, SECURE), twice=True)
    ear.listen(table(), 1)
    (found,) = ear.feed(quiet(1) + sound(0.8) + quiet(1))
    assert found.phrase is None and found.reason == f'heard "{SECURE.wording}": say it again to confirm'
    assert found.like == SECURE.text, "so that a low note asks for it by ear"


def test_a_pause_after_the_lead_in_word_is_waited_out_and_one_elsewhere_is_not():
    need("flite")
    ear = Ear(Leading(ScorerProcess(neural_made.folder(), LEAD_IN), sphinx()))
    ear.listen(table(), 1)
    word, rest = spoken("flite:slt", LEAD_IN), spoken("flite:slt", "all clamps are secure")
    for pause_s in (0.3, 0.5):
        (found,) = ear.feed(quiet(1) + word + quiet(pause_s) + rest + quiet(1.5))
        assert found.phrase == SECURE, (pause_s, found.reason)
    (found,) = ear.feed(quiet(1) + word + quiet(1.5))
    assert found.phrase is None and found.reason == "only the lead-in word was said"
    first, second = spoken("flite:slt", f"{LEAD_IN} all clamps"), spoken("flite:slt", "are secure")
    assert len(ear.feed(quiet(1) + first + quiet(0.5) + second + quiet(1.5))) == 2
    ear.recogniser.scorer.close()  # type: ignore[attr-defined]
