"""What `ready --pedal` says of a key and of how a pedal behaves."""

from __future__ import annotations

from assistant.pedal.learn import LearnedKey
from assistant.pedal.learned_words import what_it_does, what_key
from assistant.pedal.names import Named
from assistant.plans.model import PedalSettings


def test_words_on_each_kind_of_key() -> None:
    assert '[pedal]\nkey = "f13"' in what_key(Named("f13"))
    text = what_key(Named("b", types_text=True))
    assert "'b'" in text and "refused" in text and "use the pedal maker's tool" in text
    assert "can't be distinguished from others" in what_key(Named("<0>"))
    own = what_key(Named("b", types_text=True, device="3553:b001"))
    assert '[pedal]\nkey = "b"\ndevice = "3553:b001"\n' in own and "not the keyboard's" in own


def test_words_on_what_a_pedal_does() -> None:
    def words(presses: int, repeats: int, longest_s: float, *gestures: str) -> str:
        return what_it_does(LearnedKey(Named("f13"), presses, repeats, longest_s, gestures), PedalSettings())

    text = words(3, 20, 1.2, "tap", "double", "hold")
    assert text.startswith("3 presses: 1 tap, 1 double tap, 1 long press.")
    assert "repeats" in text and "Longest" not in text
    assert "A long press takes 0.8 s" in words(1, 0, 0.3, "tap")
    assert "can't make a long press" in words(3, 0, 0.005, "tap", "tap", "tap")
