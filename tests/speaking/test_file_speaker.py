"""`--speaker FILE.wav`: everything said, measured in the file; time is the sample count."""

from __future__ import annotations

import wave
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import BadInput
from assistant.plans.model import VoiceSettings
from assistant.session.events import SpeechEnded, SpeechStarted
from assistant.speaking.file_speaker import FileSpeaker
from assistant.speaking.mixer import tick_sound
from tests.speaking.stand_ins import PHRASES, RATE, FlatVoice, HandClock, Posted

OPEN: list[FileSpeaker] = []


@pytest.fixture(autouse=True)
def files_are_closed() -> Iterator[None]:
    yield
    while OPEN:
        OPEN.pop().close()


class Desk:
    """A speaker into a file, a voice of flat lines, and a clock that is moved with the file."""

    def __init__(self, path: Path, now: float = 0.0, append: bool = False, voice: FlatVoice | None = None):
        self.path, self.clock, self.posted = path, HandClock(now), Posted()
        self.voice = voice or FlatVoice()
        self.speaker = FileSpeaker(path, self.clock, self.posted, VoiceSettings(), append, engine=self.voice)
        OPEN.append(self.speaker)

    def to(self, at: float) -> None:
        self.speaker.advance(at)
        self.clock.now = at

    def heard(self) -> np.ndarray:
        with wave.open(str(self.path)) as file:
            assert file.getframerate() == RATE
            return np.frombuffer(file.readframes(file.getnframes()), np.int16)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path / "said.wav")


def test_events_carry_the_exact_sample_time(desk: Desk) -> None:
    desk.to(1.5)
    desk.speaker.say("a", "0.25 700", False)
    desk.speaker.say("b", "0.5 900", False)
    assert desk.speaker.next_boundary() == pytest.approx(1.75, abs=1 / RATE)
    desk.to(4.0)
    assert desk.posted.short() == [("started", "a"), ("whole", "a"), ("started", "b"), ("whole", "b")]
    assert [event.at for event in desk.posted.events] == pytest.approx([1.5, 1.75, 1.75, 2.25], abs=1 / RATE)
    heard = desk.heard()
    assert len(heard) == 4 * RATE
    for event, level in zip(desk.posted.events[::2], (700, 900), strict=True):
        assert heard[round(event.at * RATE)] == level and heard[round(event.at * RATE) - 1] != level
    assert np.flatnonzero(heard)[-1] + 1 == round(desk.posted.events[3].at * RATE)


def test_a_loop_in_virtual_time_stops_at_each_boundary(desk: Desk) -> None:
    for n in range(5):
        desk.speaker.say(str(n), f"0.{n}1", False)
    boundaries = []
    while (boundary := desk.speaker.next_boundary()) is not None:
        desk.to(boundary)
        boundaries.append(boundary)
    ends = [event.at for event in desk.posted.events if isinstance(event, SpeechEnded)]
    assert boundaries == ends
    starts = [event.at for event in desk.posted.events if isinstance(event, SpeechStarted)]
    assert starts == [0.0, *ends[:-1]]


def test_a_replacing_announcement_cuts_at_the_files_present_time(desk: Desk) -> None:
    desk.speaker.say("old", "3 8000", False)
    desk.speaker.say("waiting", "1 500", False)
    desk.to(1.0)
    desk.speaker.say("new", "0.5 300", True)
    desk.to(3.0)
    assert desk.posted.short() == [
        ("started", "old"),
        ("cut off", "old"),
        ("cut off", "waiting"),
        ("started", "new"),
        ("whole", "new"),
    ]
    assert [event.at for event in desk.posted.events] == pytest.approx([0, 1, 1, 1, 1.5], abs=1 / RATE)
    heard = desk.heard().astype(int)
    fade = round(0.005 * RATE)
    assert set(heard[:RATE]) == {8000}
    assert set(heard[RATE + fade : RATE + RATE // 2]) == {300}
    assert not heard[RATE + RATE // 2 :].any()
    assert np.abs(np.diff(heard[: RATE + fade])).max() <= 300


def test_cutting_off_and_clicking_act_at_the_present_time(desk: Desk) -> None:
    desk.speaker.say("a", "2 1000", False)
    desk.to(0.5)
    desk.speaker.click()
    desk.to(1.0)
    desk.speaker.say("b", "0.1 0", True)
    desk.to(2.0)
    heard = desk.heard().astype(int)
    assert np.abs(heard[RATE // 2 : RATE // 2 + 300] - 1000).max() > 6000
    assert np.abs(heard[: RATE // 2] - 1000).max() == 0
    assert not heard[RATE + round(0.005 * RATE) :].any()
    assert desk.posted.ended("a").at == pytest.approx(1.0)


def test_a_tick_sounds_at_the_present_time_over_what_is_said(desk: Desk) -> None:
    desk.speaker.say("a", "2 1000", False)
    desk.to(0.5)
    desk.speaker.tick()
    desk.to(1.0)
    heard = desk.heard().astype(int)
    assert not (heard[: RATE // 2] - 1000).any()
    assert np.array_equal(heard[RATE // 2 :][: len(tick_sound(RATE))] - 1000, tick_sound(RATE))


def test_the_file_is_brought_up_to_a_clock_that_has_gone_on(desk: Desk) -> None:
    """A live session calls with the wall's clock: what is said at 2 s is heard at 2 s."""
    desk.clock.now = 2.0
    desk.speaker.say("a", "0.1", True)
    assert desk.posted.events[0].at == pytest.approx(2.0)
    desk.to(3.0)
    assert np.flatnonzero(desk.heard())[0] == 2 * RATE


def test_the_past_is_left_as_it_is(desk: Desk) -> None:
    desk.to(2.0)
    desk.speaker.advance(1.0)
    assert desk.speaker.at == 2.0 and len(desk.heard()) == 2 * RATE


def test_the_file_is_whole_while_it_is_being_written(desk: Desk) -> None:
    for n in range(1, 6):
        desk.to(n / 10)
        assert len(desk.heard()) == round(n / 10 * RATE)


def test_a_resumed_run_goes_on_in_the_same_file(tmp_path: Path) -> None:
    """Its session time goes on from the journal's, its samples from the file's end."""
    first = Desk(tmp_path / "said.wav")
    first.speaker.say("a", "0.5 100", False)
    first.to(1.0)
    first.speaker.close()
    second = Desk(tmp_path / "said.wav", now=40.0, append=True)
    second.speaker.say("b", "0.5 200", False)
    second.to(41.0)
    assert second.posted.events[0].at == 40.0 and second.posted.events[1].at == pytest.approx(40.5)
    heard = second.heard()
    assert len(heard) == 2 * RATE
    assert set(heard[:11025]) == {100} and set(heard[RATE : RATE + 11025]) == {200}


def test_a_file_at_another_rate_is_not_continued_and_the_voice_is_let_go(tmp_path: Path) -> None:
    with wave.open(str(tmp_path / "said.wav"), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        file.writeframes(bytes(200))
    voice = FlatVoice()
    with pytest.raises(BadInput, match="8000 Hz"):
        Desk(tmp_path / "said.wav", append=True, voice=voice)
    assert voice.closed


def test_a_voice_that_fails_is_said_and_nobody_waits(desk: Desk) -> None:
    desk.voice.fails = True
    desk.speaker.say("a", "1", True)
    assert desk.posted.short() == [("failed", "a"), ("loudspeaker", "lost")]
    assert desk.speaker.next_boundary() is None


def test_closing_lets_what_sounds_end_and_cuts_off_the_rest(desk: Desk) -> None:
    desk.speaker.say("a", "0.5 100", False)
    desk.speaker.say("b", "5 200", False)
    desk.speaker.close(drain_s=1.0)
    assert desk.posted.short() == [("started", "a"), ("whole", "a"), ("started", "b"), ("cut off", "b")]
    assert len(desk.heard()) == RATE and desk.voice.closed


def test_closing_at_once_writes_no_more(desk: Desk) -> None:
    desk.to(0.5)
    desk.speaker.say("a", "0.5", False)
    desk.speaker.close()
    assert len(desk.heard()) == RATE // 2 and desk.posted.ended("a").how == "cut off"


Step = tuple[str, float]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["say", "replace", "wait"]), st.floats(0, 0.4)), max_size=25))
def test_whatever_happens_the_file_and_the_events_agree(
    tmp_path_factory: pytest.TempPathFactory, steps: list[Step]
) -> None:
    """Each announcement ends once; times never fall; the file is as long as the time is; one sounds at a time."""
    desk = Desk(tmp_path_factory.mktemp("said") / "said.wav")
    acts: dict[str, Callable[[int], None]] = {
        "say": lambda n: desk.speaker.say(str(n), f"0.15 {1 + n}", False),
        "replace": lambda n: desk.speaker.say(str(n), f"0.15 {1 + n}", True),
        "wait": lambda n: None,
    }
    for n, (kind, wait) in enumerate(steps):
        acts[kind](n)
        desk.to(desk.clock.now + wait)
    desk.speaker.close(drain_s=10.0)
    said = [str(n) for n, (kind, _) in enumerate(steps) if kind in ("say", "replace")]
    ends = {event.id: event for event in desk.posted.events if isinstance(event, SpeechEnded)}
    assert sorted(ends) == sorted(said)
    assert len(ends) == sum(isinstance(event, SpeechEnded) for event in desk.posted.events)
    times = [event.at for event in desk.posted.events]
    assert times == sorted(times)
    heard = desk.heard()
    assert len(heard) == round(desk.speaker.at * RATE)
    for event in desk.posted.events:
        if isinstance(event, SpeechStarted) and ends[event.id].how == "whole":
            begin, end = round(event.at * RATE), round(ends[event.id].at * RATE)
            fade = round(0.005 * RATE)
            assert set(heard[begin + fade : end]) == {1 + int(event.id)}


def test_every_phrase_of_a_real_voice_is_in_the_file(tmp_path: Path) -> None:
    """Length, loudness and order of real announcements, measured in the WAV."""
    clock, posted = HandClock(), Posted()
    speaker = FileSpeaker(tmp_path / "said.wav", clock, posted, VoiceSettings())
    assert speaker.line.startswith("voice: ")
    for n, text in enumerate(PHRASES):
        speaker.say(str(n), text, False)
    speaker.close(drain_s=120.0)
    assert posted.short() == [(how, str(n)) for n in range(len(PHRASES)) for how in ("started", "whole")]
    with wave.open(str(tmp_path / "said.wav")) as file:
        rate, heard = file.getframerate(), np.frombuffer(file.readframes(file.getnframes()), np.int16)
    for text, start, end in zip(PHRASES, posted.events[::2], posted.events[1::2], strict=True):
        words = len(text.split())
        assert words / 6 < end.at - start.at < words + 0.5
        piece = np.abs(heard[round(start.at * rate) : round(end.at * rate)].astype(int))
        assert 3000 < piece.max() <= 32767
        # It begins with sound and ends with a breath.
        assert piece[0] >= 64 and piece[-round(0.09 * rate) :].max() == 0


def test_the_same_words_give_the_same_file(tmp_path: Path) -> None:
    for name in ("one.wav", "two.wav"):
        desk = Desk(tmp_path / name)
        desk.speaker.say("a", "0.5 100", False)
        desk.to(0.2)
        desk.speaker.say("b", "0.5 300", True)
        desk.to(2.0)
        desk.speaker.close()
    assert (tmp_path / "one.wav").read_bytes() == (tmp_path / "two.wav").read_bytes()
