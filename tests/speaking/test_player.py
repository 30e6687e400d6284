"""The live player over a device that the test pumps: order, cut-offs, loss and return."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from assistant.session.events import DeviceChanged, SpeechEnded, SpeechStarted
from assistant.speaking.player import Player
from tests.speaking.stand_ins import RATE, HandClock, HandDevice, Posted, steady


class Room:
    """A player, its device and what it posted; the device counts as gone after 0.1 s without a pump."""

    def __init__(self, gone_after_s: float = 60.0, refuse: bool = False):
        self.clock, self.posted, self.device = HandClock(), Posted(), HandDevice()
        self.device.refuse = refuse
        self.player = Player(RATE, self.device, self.clock, self.posted, gone_after_s, first_retry_s=0.02)
        if not refuse:
            assert self.device.opened.wait(5)
            while self.player.state != "works":
                threading.Event().wait(0.002)

    def play(self, id: str, seconds: float = 0.1, level: int = 1000, replaces: bool = False) -> None:
        slot = self.player.reserve(id, replaces)
        if slot is not None:
            self.player.supply(slot, steady(seconds, level))

    def lost(self) -> DeviceChanged:
        event = self.posted.wait(lambda e: isinstance(e, DeviceChanged) and e.state == "lost")
        assert isinstance(event, DeviceChanged)
        return event


@pytest.fixture
def room() -> Iterator[Room]:
    made = Room()
    yield made
    made.player.close()


@pytest.fixture
def fading_room() -> Iterator[Room]:
    made = Room(gone_after_s=0.1)
    yield made
    made.player.close()


def test_it_started_when_the_first_sample_was_handed_over_and_ended_with_the_last(room: Room) -> None:
    room.play("a")
    assert room.posted.events == []
    room.clock.now = 5.0
    room.device.pump(220)
    assert room.posted.events == [SpeechStarted(5.0, room.clock.utc(), "a")]
    room.clock.now = 6.0
    room.device.pump(2205 - 220 - 1)
    assert len(room.posted.events) == 1
    room.device.pump(220)
    assert room.posted.events[1:] == [SpeechEnded(6.0, room.clock.utc(), "a", "whole")]


def test_announcements_sound_in_the_order_said(room: Room) -> None:
    """Also when a later one is rendered first."""
    late = room.player.reserve("late", False)
    room.play("ready", level=500)
    assert late is not None
    assert not room.device.pump(1000).any()
    room.player.supply(late, steady(0.1, 200))
    played = room.device.pump(5000)
    assert [level for level in dict.fromkeys(played.tolist()) if level] == [200, 500]
    assert room.posted.short() == [("started", "late"), ("whole", "late"), ("started", "ready"), ("whole", "ready")]


def test_a_replacing_announcement_cuts_off_at_once(room: Room) -> None:
    room.play("old", seconds=2.0, level=8000)
    room.play("waiting")
    room.device.pump(2000)
    room.play("new", level=300, replaces=True)
    played = room.device.pump(2205)
    assert room.posted.short() == [
        ("started", "old"),
        ("cut off", "old"),
        ("cut off", "waiting"),
        ("started", "new"),
        ("whole", "new"),
    ]
    fade = round(0.005 * RATE)
    assert played[fade:].tolist() == [300] * (2205 - fade)
    assert np.abs(np.diff(played.astype(int))).max() <= 8000 / fade + 2


def test_there_is_silence_until_what_cut_it_off_is_rendered(room: Room) -> None:
    room.play("old", seconds=2.0)
    room.device.pump(2000)
    room.player.reserve("new", True)
    assert not room.device.pump(2000)[round(0.005 * RATE) :].any()
    assert room.posted.ended("old").how == "cut off"


@pytest.mark.parametrize(("sound", "least"), [("click", 6000), ("tick", 1500)])
def test_a_click_or_a_tick_sounds_in_the_very_next_period_from_any_thread(room: Room, sound: str, least: int) -> None:
    room.play("speech", seconds=1.0)
    room.device.pump(220)
    thread = threading.Thread(target=getattr(room.player, sound))
    thread.start()
    thread.join()
    assert np.abs(room.device.pump(220).astype(int) - 1000).max() > least


def test_one_that_could_not_be_rendered_fails_and_the_next_one_sounds(room: Room) -> None:
    slot = room.player.reserve("hoarse", False)
    room.play("next")
    assert slot is not None
    room.player.supply(slot, None)
    room.device.pump(3000)
    assert room.posted.short() == [("failed", "hoarse"), ("started", "next"), ("whole", "next")]


def test_a_render_that_comes_too_late_is_not_played(room: Room) -> None:
    slot = room.player.reserve("late", False)
    assert slot is not None and room.player.waits(slot)
    room.player.reserve("newer", True)
    assert not room.player.waits(slot)
    room.player.supply(slot, steady(0.1))
    room.player.supply(slot, None)
    assert not room.device.pump(3000).any()
    assert room.posted.short() == [("cut off", "late")]


def test_what_was_said_before_the_device_was_open_waits_for_it() -> None:
    device, posted = HandDevice(), Posted()
    opening, go = threading.Event(), threading.Event()
    really_open = device.open

    def slow(rate: int, fill: object) -> str:
        opening.set()
        assert go.wait(5)
        return really_open(rate, fill)  # type: ignore[arg-type]

    device.open = slow  # type: ignore[method-assign, assignment]
    player = Player(RATE, device, HandClock(), posted, 60.0)
    assert opening.wait(5)
    slot = player.reserve("early", True)
    assert slot is not None
    player.supply(slot, steady(0.1))
    go.set()
    device.pump(3000)
    player.close()
    assert posted.short() == [("started", "early"), ("whole", "early")]


def test_without_a_loudspeaker_every_announcement_fails_at_once() -> None:
    room = Room(refuse=True)
    event = room.lost()
    assert event.device == "loudspeaker" and "unplugged" in event.text and "on the screen only" in event.text
    room.play("a")
    assert room.posted.short() == [("loudspeaker", "lost"), ("failed", "a")]
    room.player.close()


def test_a_device_that_stops_asking_is_lost_and_nobody_waits(fading_room: Room) -> None:
    fading_room.play("sounding", seconds=2.0)
    fading_room.play("waiting")
    fading_room.device.pump(220)
    fading_room.device.refuse = True
    assert "stopped taking sound" in fading_room.lost().text
    assert fading_room.posted.ended("sounding").how == fading_room.posted.ended("waiting").how == "failed"
    fading_room.play("later")
    assert fading_room.posted.ended("later").how == "failed"


def test_it_is_tried_again_and_says_when_it_is_back(fading_room: Room) -> None:
    """Attempts come further and further apart, and nothing from before the loss sounds after it."""
    fading_room.play("old", seconds=2.0)
    fading_room.device.pump(220)
    fading_room.device.refuse = True
    fading_room.lost()
    while fading_room.device.openings < 4:
        threading.Event().wait(0.005)
    fading_room.device.refuse = False
    back = fading_room.posted.wait(lambda e: isinstance(e, DeviceChanged) and e.state == "works")
    assert isinstance(back, DeviceChanged) and back.text == "The loudspeaker works again."
    fading_room.device.run()
    fading_room.play("new", level=700)
    assert fading_room.posted.ended("new").how == "whole"
    heard = np.concatenate(fading_room.device.played[1:])
    assert set(heard.tolist()) <= {0, 700}


def test_a_device_that_keeps_asking_is_not_lost(fading_room: Room) -> None:
    fading_room.device.run()
    threading.Event().wait(0.4)
    assert fading_room.posted.events == []


def test_a_fault_while_mixing_counts_as_a_loss_not_as_silence_for_ever(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An exception in the device's callback would end the playback without a word."""

    def broken(frames: int) -> object:
        raise ZeroDivisionError("a test's fault")

    monkeypatch.setattr(room.player._mixer, "mix", broken)
    room.play("a")
    assert not room.device.pump(220).any()
    room.device.refuse = True
    assert "ZeroDivisionError" in room.lost().text
    assert room.posted.ended("a").how == "failed"


def test_whoever_answers_an_event_at_once_may_call_back() -> None:
    """`post` that speaks on the device's own thread does not lock up."""
    device, posted = HandDevice(), Posted()
    answered = threading.Event()

    def post(event: object) -> None:
        posted(event)  # type: ignore[arg-type]
        if isinstance(event, SpeechStarted) and event.id == "a":
            player.reserve("b", True)
            answered.set()

    player = Player(RATE, device, HandClock(), post, 60.0)  # type: ignore[arg-type]
    assert device.opened.wait(5)
    slot = player.reserve("a", False)
    assert slot is not None
    player.supply(slot, steady(0.1))
    device.pump(100)
    assert answered.is_set()
    assert posted.short() == [("started", "a"), ("cut off", "a")]
    player.close()


def test_beginnings_and_ends_pair_up_under_many_threads() -> None:
    """Each announcement ends exactly once, and never before it began."""
    room = Room()
    room.device.run(period_s=0.001)

    def talk(name: str) -> None:
        for n in range(60):
            room.play(f"{name}{n}", seconds=0.002, replaces=n % 3 == 0)

    threads = [threading.Thread(target=talk, args=(name,)) for name in "abcd"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    room.player.close(drain_s=10.0)
    short = room.posted.short()
    ends = [id for how, id in short if how != "started"]
    assert sorted(ends) == sorted(f"{name}{n}" for name in "abcd" for n in range(60))
    for n, (how, id) in enumerate(short):
        if how == "started":
            assert id in [other for _, other in short[n + 1 :]]
    assert all(("started", id) in short for how, id in short if how == "whole")


def test_closing_lets_the_last_announcement_end() -> None:
    room = Room()
    room.device.run()
    room.play("last", seconds=0.2)
    room.player.close(drain_s=5.0)
    assert room.posted.short() == [("started", "last"), ("whole", "last")]
    assert room.player.state == "closed"


def test_closing_waits_no_longer_than_it_was_told() -> None:
    room = Room()
    room.device.run()
    room.play("long", seconds=30.0)
    room.player.close(drain_s=0.1)
    assert room.posted.ended("long", 1.0).how == "cut off"
    room.play("after")
    assert room.posted.ended("after").how == "failed"


# --- a device that hangs its caller, as one of a hung sound server does


class Hanging:
    """Makes calls of a device hang until `go`."""

    def __init__(self, device: HandDevice, *names: str) -> None:
        self.go = threading.Event()
        for name in names:
            setattr(device, name, self._hung(getattr(device, name)))

    def _hung(self, call: Callable[..., object]) -> Callable[..., object]:
        def hung(*given: object) -> object:
            assert self.go.wait(60)
            return call(*given)

        return hung


def works_again(room: Room) -> None:
    room.posted.wait(lambda e: isinstance(e, DeviceChanged) and e.state == "works")
    room.device.run()
    room.play("new", level=700)
    assert room.posted.ended("new").how == "whole"


@pytest.mark.parametrize("sounding", [True, False])
def test_one_that_hangs_whoever_closes_it_is_said_to_be_lost_all_the_same(fading_room: Room, sounding: bool) -> None:
    """This is noticed even when nothing sounds or waits, and the player recovers by itself."""
    hanging = Hanging(fading_room.device, "close")
    if sounding:
        fading_room.play("old", seconds=2.0)
        fading_room.device.pump(220)
    try:
        assert "stopped taking sound" in fading_room.lost().text
        if sounding:
            assert fading_room.posted.ended("old").how == "failed"
        fading_room.play("meanwhile")
        assert fading_room.posted.ended("meanwhile").how == "failed"
    finally:
        hanging.go.set()
    works_again(fading_room)


def test_one_that_does_not_open_is_lost_until_it_does() -> None:
    """At the start. What should have been said meanwhile has failed, and does not sound late."""
    device, posted = HandDevice(), Posted()
    hanging = Hanging(device, "open")
    player = Player(RATE, device, HandClock(), posted, 60.0, first_retry_s=0.02, open_within_s=0.1)
    try:
        slot = player.reserve("first", False)
        assert slot is not None
        player.supply(slot, steady(0.1))
        assert posted.ended("first").how == "failed"
        lost = posted.wait(lambda e: isinstance(e, DeviceChanged))
        assert isinstance(lost, DeviceChanged) and lost.state == "lost" and "did not open" in lost.text
        hanging.go.set()
        posted.wait(lambda e: isinstance(e, DeviceChanged) and e.state == "works")
        assert not device.pump(5000).any()
        assert device.openings == 1
    finally:
        hanging.go.set()
        player.close()


def test_one_that_was_given_up_gets_nothing_more_when_it_goes_on() -> None:
    """Its callback may be called again long after another was opened: it must take no sample away."""
    room = Room(gone_after_s=0.2)
    old = room.device._fill
    assert old is not None
    try:
        room.lost()
        works_again(room)
        room.device.stop_running()
        room.play("next", seconds=0.05, level=900)
        assert not np.frombuffer(old(2205), dtype=np.int16).any()
        room.device.run()
        assert room.posted.ended("next").how == "whole"
        heard = np.concatenate(room.device.played)
        assert int((heard == 900).sum()) == round(0.05 * RATE)
    finally:
        room.player.close()


def test_closing_a_player_whose_device_hangs_comes_back() -> None:
    room = Room(gone_after_s=0.1)
    hanging = Hanging(room.device, "close")
    try:
        room.play("sounding", seconds=60.0)
        room.player.close(drain_s=60.0)
        assert room.player.state == "closed"
        assert room.posted.ended("sounding").how == "failed"
    finally:
        hanging.go.set()
