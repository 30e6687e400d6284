"""The complete live speaker, with the sound library's null backend, and the silent speaker."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest

from assistant.plans.model import VoiceSettings
from assistant.runner.clock import LiveClock
from assistant.runner.contracts import Speaker
from assistant.session.events import DeviceChanged, SpeechStarted
from assistant.speaking.device import MiniaudioDevice
from assistant.speaking.speaker import LiveSpeaker, SilentSpeaker
from tests.speaking.stand_ins import PHRASES, FlatVoice, HandClock, HandDevice, Posted

miniaudio = pytest.importorskip("miniaudio", reason="miniaudio has no wheel here")


def null_device() -> MiniaudioDevice:
    return MiniaudioDevice(allow_null=True, backends=[miniaudio.Backend.NULL])


class Live:
    def __init__(self, voice: FlatVoice | None = None):
        self.clock, self.posted, self.voice = LiveClock(), Posted(), voice
        self.speaker: LiveSpeaker = LiveSpeaker(
            self.clock, self.posted, VoiceSettings(), device=null_device(), engine=voice
        )
        while self.speaker.state == "opening":
            time.sleep(0.005)

    def started(self, id: str, text: str) -> None:
        """Waits until its first sample has gone to the device."""
        self.speaker.say(id, text, replaces=True)
        self.posted.wait(lambda e: isinstance(e, SpeechStarted) and e.id == id)


@pytest.fixture
def live() -> Iterator[Live]:
    made = Live()
    yield made
    made.speaker.close()


@pytest.fixture
def flat() -> Iterator[Live]:
    made = Live(FlatVoice())
    yield made
    made.speaker.close()


def test_a_real_announcement_is_said_whole_in_its_own_time(live: Live) -> None:
    speaker: Speaker = live.speaker
    speaker.say("a", PHRASES[0], True)
    start = live.posted.wait(lambda e: isinstance(e, SpeechStarted))
    end = live.posted.ended("a")
    assert end.how == "whole" and end.at - start.at > 1.2
    assert "espeak-ng" in live.speaker.line


def test_what_was_prepared_is_handed_over_without_the_voice(flat: Live) -> None:
    """How soon that is: `python -m tests.bench.speaking`."""
    assert flat.voice is not None
    flat.speaker.prepare(["0.05 100"])
    while flat.speaker._renderer.ready("0.05 100") is None:
        time.sleep(0.002)
    flat.voice.gate.clear()
    for n in range(21):
        flat.started(str(n), "0.05 100")
    assert flat.voice.begun == ["0.05 100"]


def test_a_newer_announcement_drops_one_still_being_rendered(flat: Live) -> None:
    assert flat.voice is not None
    flat.voice.gate.clear()
    flat.speaker.say("stale", "5", True)
    flat.speaker.say("newer", "0.1", True)
    flat.voice.gate.set()
    assert flat.posted.ended("newer").how == "whole"
    assert flat.posted.short() == [("cut off", "stale"), ("started", "newer"), ("whole", "newer")]


def test_a_newer_announcement_cuts_off_at_once_what_sounds(flat: Live) -> None:
    flat.started("long", "60")
    flat.speaker.say("newer", "0.1", True)
    assert flat.posted.ended("long").how == "cut off"


def test_clicks_from_everywhere_disturb_nothing(flat: Live) -> None:
    flat.speaker.say("a", "0.3", True)
    for _ in range(50):
        flat.speaker.click()
    assert flat.posted.ended("a").how == "whole"


def test_a_voice_that_fails_is_said_once_and_when_it_works_again(flat: Live) -> None:
    assert flat.voice is not None
    flat.voice.fails = True
    for id in ("a", "b"):
        flat.speaker.say(id, "0.1", False)
        assert flat.posted.ended(id).how == "failed"
    flat.voice.fails = False
    flat.speaker.say("c", "0.1", False)
    assert flat.posted.ended("c").how == "whole"
    changes = [event for event in flat.posted.events if isinstance(event, DeviceChanged)]
    assert [event.state for event in changes] == ["lost", "works"]
    assert "on the screen only" in changes[0].text and "hoarse" in changes[0].text


def test_without_a_loudspeaker_nothing_is_rendered_and_all_fails_at_once() -> None:
    device, voice, posted = HandDevice(), FlatVoice(), Posted()
    device.refuse = True
    speaker = LiveSpeaker(HandClock(), posted, VoiceSettings(), device=device, engine=voice)
    posted.wait(lambda e: isinstance(e, DeviceChanged) and e.state == "lost")
    speaker.say("a", "1", True)
    assert posted.ended("a").how == "failed" and voice.begun == []
    speaker.close()
    assert voice.closed


def test_closing_drains_and_lets_everything_go(flat: Live) -> None:
    flat.speaker.say("last", "0.2", True)
    flat.speaker.close(drain_s=5.0)
    assert flat.posted.ended("last").how == "whole"
    assert flat.voice is not None and flat.voice.closed and flat.speaker.state == "closed"


def test_a_silent_speaker_takes_no_time_and_says_that_all_was_said() -> None:
    posted = Posted()
    speaker: Speaker = SilentSpeaker(HandClock(3.0), posted)
    speaker.prepare(["x"])
    speaker.click()
    speaker.say("a", "anything", True)
    speaker.say("b", "anything", False)
    speaker.close(1.0)
    assert posted.short() == [("started", "a"), ("whole", "a"), ("started", "b"), ("whole", "b")]
    assert {event.at for event in posted.events} == {3.0}
