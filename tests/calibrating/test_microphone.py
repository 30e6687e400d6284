"""Dictation to a microphone, with a child process that answers from a list and a speaker that only posts events."""

from __future__ import annotations

import queue
from argparse import Namespace
from fractions import Fraction
from typing import Any

import pytest

from assistant.calibrating import microphone
from assistant.calibrating.blunders import Caliper
from assistant.calibrating.board import Place
from assistant.calibrating.dictation import Dictation
from assistant.calibrating.microphone import Conversation
from assistant.calibrating.readings import ReadingCollector
from assistant.commands.calibrate import REPEATED, again
from assistant.errors import CouldNotRun
from assistant.hearing.digits import phrase_of
from assistant.hearing.ear import Found
from assistant.hearing.process import TOO_LONG, ChildDied
from assistant.plans.model import VoiceSettings
from assistant.runner.clock import LiveClock
from assistant.session.events import Event
from assistant.speaking.speaker import SilentSpeaker

READY = ("ready", "digits", "")
WORKS = ("microphone", "works", "The microphone works.")


def said(text: str) -> tuple[Any, ...]:
    return ("found", [Found(0, 1, 1, phrase_of(text), "", text, 0)], [(0.0, 0.0)])


def noise(knock: bool) -> tuple[Any, ...]:
    return ("found", [Found(0, 1, 1, None, "nothing", "", 0, knock=knock)], [(0.0, 0.0)])


class Child:
    """Gives these messages in turn, and raises any exception among them. Then nothing more comes."""

    def __init__(self, *messages: Any):
        self._messages = list(messages)
        self.sent: list[tuple[Any, ...]] = []

    def send(self, *message: Any) -> None:
        self.sent.append(message)

    def ready(self) -> tuple[Any, ...]:
        return self.receive(0) or ("failed", TOO_LONG)

    def receive(self, timeout_s: float) -> tuple[Any, ...] | None:
        if not self._messages:
            return None
        first = self._messages.pop(0)
        if isinstance(first, BaseException):
            raise first
        return first

    def close(self) -> None:
        pass


def converse(*messages: Any, places: str = "AB", patience_s: float = 5.0) -> tuple[Dictation, list[str], Child]:
    talk, lines, child = Dictation(list(places)), [], Child(*messages)
    news: queue.SimpleQueue[Event] = queue.SimpleQueue()
    Conversation(talk, child, SilentSpeaker(LiveClock(), news.put), news, lines.append, patience_s).run()
    return talk, lines, child


def test_it_goes_from_place_to_place_and_ends_by_itself() -> None:
    talk, lines, _ = converse(
        READY, WORKS, said("six point three four"), said("yes"), said("six point three five"), said("yes")
    )
    assert talk.taken == [("A", "6.34"), ("B", "6.35")]
    assert lines[-1] == "All readings are taken."


def test_what_is_read_back_is_spoken_and_not_heard() -> None:
    """Every line goes to the speaker, and the child gets the start and end of our speech."""
    _, lines, child = converse(READY, WORKS, said("six point three four"), said("yes"), places="A")
    speaking = [message[1] for message in child.sent if message[0] == "speaking"]
    assert speaking[:4] == [True, False, True, False]
    assert "A: six point three four. Yes or no?" in lines


def test_a_knock_is_passed_over_and_noise_is_asked_again() -> None:
    _, lines, _ = converse(
        READY, WORKS, noise(True), noise(False), said("one point zero zero"), said("yes"), places="A"
    )
    assert lines.count("Not understood. Say it again.") == 1


@pytest.mark.parametrize("end", [KeyboardInterrupt(), ChildDied()])
def test_what_was_taken_before_it_ended_counts(end: BaseException) -> None:
    talk, lines, _ = converse(READY, WORKS, said("six point three four"), said("yes"), end)
    assert talk.taken == [("A", "6.34")]
    assert lines[-1].endswith("readings taken so far are kept.")


def test_what_was_dictated_can_be_given_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """If the readings give no value, nobody has to measure and say them again."""
    child = Child(READY, WORKS, said("six point three four"), said("yes"), KeyboardInterrupt())
    monkeypatch.setattr(microphone, "ChildProcess", lambda spec: child)
    monkeypatch.setattr(microphone, "_speaker", lambda news, voice, show: SilentSpeaker(LiveClock(), news.put))
    collector = ReadingCollector([Place(label, Fraction("9.525"), "up", "") for label in "AB"], "mm")
    microphone.from_microphone(collector, VoiceSettings(), Caliper(), 1, lambda line: None)
    args = Namespace(kind="kerf", reading=None, json=False, **dict.fromkeys(REPEATED))
    assert [r.value for r in collector.readings] == [Fraction("6.34")]
    assert list(again(args, collector))[1] == "  kerfcall calibrate kerf --reading A=6.34"


def test_without_a_microphone_it_says_what_to_do_instead() -> None:
    with pytest.raises(CouldNotRun, match="no microphone can be heard; type the readings instead"):
        converse(READY, ("microphone", "lost", "Voice is off."), patience_s=0.0)


@pytest.mark.parametrize("message", [("failed", "no model"), None])
def test_without_a_recogniser_it_says_why(message: Any) -> None:
    with pytest.raises(CouldNotRun, match="the recogniser can't be started: (no model|took too long)"):
        converse(*([message] if message else []))
