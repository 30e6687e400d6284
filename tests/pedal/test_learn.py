"""Learns the first key pressed: its name and how it behaves."""

from __future__ import annotations

import threading
from collections.abc import Callable
from types import SimpleNamespace

import pytest

from assistant.errors import NoSuchPart
from assistant.pedal.learn import LearnedKey, Learner, learn
from assistant.pedal.moves import KeyMove
from assistant.pedal.names import Named
from assistant.pedal.watch import KeyWatch
from assistant.plans.model import PedalSettings
from tests.pedal.xserver import XServer, needs_x

FOOT = SimpleNamespace(vk=0xFF56, char=None, name="page_down")
LETTER = SimpleNamespace(vk=98, char="b")
CTRL = SimpleNamespace(vk=0xFFE3, char=None, name="ctrl")


def test_only_the_first_key_is_named_and_followed() -> None:
    learner = Learner(PedalSettings())
    assert learner.learned() is None
    assert learner.move(KeyMove.PRESS, FOOT, 1.0) == (Named("page_down"), None)
    for key in (LETTER, CTRL):
        assert learner.move(KeyMove.PRESS, key, 1.1) == (None, None)
        assert learner.move(KeyMove.RELEASE, key, 1.2) == (None, None)
    learner.move(KeyMove.RELEASE, FOOT, 1.3)
    made = learner.time(2.0)
    assert made is not None and made.gesture == "tap"
    learned = learner.learned()
    assert learned == LearnedKey(Named("page_down"), 1, 0, pytest.approx(0.3), ("tap",))


def test_a_modifier_is_part_of_a_chord_and_no_pedal() -> None:
    learner = Learner(PedalSettings())
    learner.move(KeyMove.PRESS, CTRL, 0.0)
    assert learner.learned() is None


def test_auto_repeat_is_counted_and_makes_one_long_press() -> None:
    learner = Learner(PedalSettings())
    for n in range(30):
        learner.move(KeyMove.PRESS, FOOT, 0.05 * n)
    learner.move(KeyMove.RELEASE, FOOT, 1.5)
    learner.time(1.6)
    learned = learner.learned()
    assert learned is not None
    assert (learned.presses, learned.repeats, learned.gestures) == (1, 29, ("hold",))
    assert not learner.busy


def test_a_bounce_is_neither_a_press_of_the_foot_nor_auto_repeat() -> None:
    learner = Learner(PedalSettings())
    for n in range(6):
        learner.move(KeyMove.PRESS, FOOT, 0.004 * n)
        learner.move(KeyMove.RELEASE, FOOT, 0.004 * n + 0.002)
    learner.time(1.0)
    learned = learner.learned()
    assert learned is not None
    assert (learned.presses, learned.repeats, learned.gestures) == (1, 0, ("tap",))


def test_a_letter_is_named_as_one_that_types_text() -> None:
    learner = Learner(PedalSettings())
    assert learner.move(KeyMove.PRESS, LETTER, 0.0)[0] == Named("b", types_text=True)


@needs_x
def test_real_keys_are_named_as_the_shop_file_writes_them(xserver: XServer, monkeypatch: pytest.MonkeyPatch) -> None:
    """The key marked F13 sends XF86Tools in the usual layout, and is still called f13."""
    feet: list[threading.Timer] = []

    class Opened(KeyWatch):
        """A foot presses the key once the watch is open, however long that takes."""

        def __init__(self, *callbacks: Callable[..., None]) -> None:
            super().__init__(*callbacks)
            feet[-1].start()

    monkeypatch.setattr("assistant.pedal.learn.KeyWatch", Opened)
    for symbol, named in (("Next", Named("page_down")), ("XF86Tools", Named("f13")), ("b", Named("b", True))):
        found: list[Named] = []
        made: list[str] = []
        feet.append(threading.Timer(0.2, xserver.xdotool, ["keydown", symbol, "sleep", "1.2", "keyup", symbol]))
        learned = learn(2.5, PedalSettings(), found.append, made.append)
        feet[-1].join()
        assert learned is not None and learned.key == named
        assert found == [named] and made == ["hold"]
        assert learned.repeats > 5


@needs_x
def test_nothing_pressed_is_nothing_learned(xserver: XServer) -> None:
    assert learn(0.5, PedalSettings(), lambda key: None, lambda made: None) is None


def test_without_a_display_server_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    with pytest.raises(NoSuchPart, match="not heard"):
        learn(0.5, PedalSettings(), lambda key: None, lambda made: None)
