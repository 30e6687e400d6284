"""The pedal's own device: grabbed, read with the kernel's times, given back; unplugged, refused, overrun."""

from __future__ import annotations

import errno
import os
import queue
import struct
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

if not sys.platform.startswith("linux"):
    pytest.skip("input devices are a matter of Linux", allow_module_level=True)
pytest.importorskip("evdev", reason="python-evdev is not installed")

from evdev import ecodes  # noqa: E402
from hypothesis import given  # noqa: E402
from hypothesis import strategies as st  # noqa: E402

from assistant.errors import NoSuchPart  # noqa: E402
from assistant.pedal.device_watch import DeviceWatch, Reader  # noqa: E402
from assistant.pedal.gestures import LONGEST_DELAY_S, GestureMaker, MadeGesture  # noqa: E402
from assistant.pedal.kernel import EVIOCGKEY, EVIOCGRAB, EVIOCSCLOCKID, events  # noqa: E402
from assistant.pedal.learn import LearnedKey, learn  # noqa: E402
from assistant.pedal.listener import PedalListener  # noqa: E402
from assistant.pedal.moves import KeyMove  # noqa: E402
from assistant.pedal.names import Named  # noqa: E402
from assistant.pedal.trial import try_out  # noqa: E402
from assistant.plans.model import PedalSettings  # noqa: E402
from assistant.runner.clock import LiveClock  # noqa: E402
from assistant.session.events import DeviceChanged, Event, Gesture  # noqa: E402
from tests.pedal.fake_kernel import FakeKernel, packed  # noqa: E402
from tests.pedal.xserver import wait_for  # noqa: E402

B, C, SHIFT = ecodes.KEY_B, ecodes.KEY_C, ecodes.KEY_LEFTSHIFT
DEVICE = PedalSettings(key="b", device="3553:b001")


@pytest.fixture
def fake(tmp_path: Path) -> Iterator[FakeKernel]:
    fake = FakeKernel(tmp_path)
    fake.plug("event0", [B, C, SHIFT], link="usb-foot-event-kbd")
    yield fake
    fake.close()


class Rig:
    """A listener on the fake device with everything it posts and every click."""

    def __init__(self, fake: FakeKernel, settings: PedalSettings = DEVICE) -> None:
        self.fake = fake
        self.clock = LiveClock()
        self.posted: queue.SimpleQueue[Event] = queue.SimpleQueue()
        self.clicks: list[float] = []
        self.listener = PedalListener(
            self.clock, self.posted.put, settings, lambda: self.clicks.append(time.monotonic()), fake
        )

    def next(self, within_s: float = 20.0) -> Event:
        return self.posted.get(timeout=within_s)

    def gesture(self) -> Gesture:
        event = self.next()
        assert isinstance(event, Gesture) and event.source == "pedal", event
        return event

    def changed(self, within_s: float = 20.0) -> DeviceChanged:
        event = self.next(within_s)
        assert isinstance(event, DeviceChanged) and event.device == "pedal", event
        return event

    def foot(self, down_s: float = 0.05, repeats: int = 0) -> None:
        self.fake.key("event0", B, 1)
        for _ in range(repeats):
            time.sleep(down_s / (repeats + 1))
            self.fake.key("event0", B, 2)
        time.sleep(down_s / (repeats + 1))
        self.fake.key("event0", B, 0)


@pytest.fixture
def rig(fake: FakeKernel) -> Iterator[Rig]:
    rig = Rig(fake)
    yield rig
    rig.listener.close()


def test_tap_double_and_long_press_with_auto_repeat(rig: Rig) -> None:
    rig.foot()
    assert rig.gesture().gesture == "tap"
    rig.foot()
    time.sleep(0.1)
    rig.foot()
    assert rig.gesture().gesture == "double"
    time.sleep(0.1)
    rig.foot(1.2, repeats=20)
    held = rig.gesture()
    assert held.gesture == "hold" and held.at - held.since >= 0.8
    time.sleep(0.5)
    assert rig.posted.empty() and len(rig.clicks) == 4 and not rig.listener.down


def test_other_keys_of_the_pedal_mean_nothing(rig: Rig) -> None:
    for code in (C, SHIFT):
        rig.fake.key("event0", code, 1)
        rig.fake.key("event0", code, 0)
    time.sleep(0.5)
    assert rig.posted.empty() and rig.clicks == []


def test_the_device_is_put_on_the_monotonic_clock_and_grabbed(fake: FakeKernel, rig: Rig) -> None:
    asked = [(number, argument) for node, number, argument in fake.requests if number != EVIOCGKEY]
    assert asked == [(EVIOCSCLOCKID, struct.pack("@i", time.CLOCK_MONOTONIC)), (EVIOCGRAB, 1)]


def test_a_gesture_counts_from_the_kernels_time_of_the_press_and_not_from_its_arrival(rig: Rig) -> None:
    time.sleep(0.4)  # a press from before the session doesn't count
    pressed = time.monotonic() - 0.3
    before = rig.clock.at()
    rig.fake.key("event0", B, 1, at=pressed)
    rig.fake.key("event0", B, 0, at=pressed + 0.1)
    assert rig.gesture().since == pytest.approx(before - 0.3, abs=0.1)


def test_unplugged_is_shown_retried_and_comes_back_by_itself_and_half_a_press_is_no_long_press(
    fake: FakeKernel, rig: Rig, capfd: pytest.CaptureFixture[str]
) -> None:
    fake.key("event0", B, 1)
    wait_for(lambda: bool(rig.clicks))
    fake.unplug("event0")
    lost = rig.changed()
    assert lost.state == "lost" and "Foot Switch was unplugged" in lost.text and "terminal's keys" in lost.text
    assert not rig.listener.alive
    time.sleep(1.0)
    assert rig.posted.empty()
    fake.plug("event0", [B], "Foot Switch")
    assert rig.changed().state == "works" and rig.listener.alive
    rig.foot()
    assert rig.gesture().gesture == "tap"
    assert capfd.readouterr() == ("", "")


def test_after_lost_events_what_was_in_progress_is_forgotten(fake: FakeKernel, rig: Rig) -> None:
    """A long press confirms a check, so a press whose release may be among the lost events must not become one."""
    fake.key("event0", B, 1)
    wait_for(lambda: bool(rig.clicks))
    fake.down["event0"].clear()
    fake.send("event0", (ecodes.EV_SYN, ecodes.SYN_DROPPED, 0))
    time.sleep(1.2)
    assert rig.posted.empty()
    rig.foot()
    assert rig.gesture().gesture == "tap"


def test_a_key_down_before_it_was_opened_is_ignored_until_it_is_up(fake: FakeKernel) -> None:
    fake.down["event0"].add(B)
    rig = Rig(fake)
    try:
        fake.key("event0", B, 2)
        fake.key("event0", B, 0)
        time.sleep(0.5)
        assert rig.posted.empty() and rig.clicks == []
        rig.foot()
        assert rig.gesture().gesture == "tap"
    finally:
        rig.listener.close()


def test_it_waits_for_a_key_to_come_up_before_it_grabs(fake: FakeKernel) -> None:
    """If grabbed while down, the key would go on repeating in the terminal."""
    fake.down["event0"].add(B)
    up = threading.Timer(0.2, fake.down["event0"].clear)
    up.start()
    try_out(DEVICE, fake)
    up.join()
    assert fake.down_when_grabbed == [set()]


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (errno.EACCES, "may not read Foot Switch.*usermod -aG input"),
        (errno.ENODEV, "is not plugged in"),
        (errno.EIO, "can't be read"),
    ],
)
def test_a_device_that_cannot_be_opened_says_why_and_how_to_fix_it(fake: FakeKernel, error: int, words: str) -> None:
    fake.refused["event0"] = error
    with pytest.raises(NoSuchPart, match=words) as raised:
        Rig(fake)
    assert "To fix it" in str(raised.value)


def test_a_device_that_another_program_has_grabbed_stays_with_that_program(fake: FakeKernel) -> None:
    fake.busy.add("event0")
    with pytest.raises(NoSuchPart, match="another program has grabbed Foot Switch"):
        Rig(fake)
    for fd in fake.opened:
        with pytest.raises(OSError):
            os.fstat(fd)


def test_closing_gives_the_device_back_and_leaves_no_thread_and_no_descriptor(fake: FakeKernel) -> None:
    threads, descriptors = threading.active_count(), len(os.listdir("/proc/self/fd"))
    rig = Rig(fake)
    rig.listener.close()
    rig.listener.close()
    assert not rig.listener.alive
    wait_for(lambda: threading.active_count() == threads)
    assert len(os.listdir("/proc/self/fd")) == descriptors


def test_a_callback_that_fails_does_not_end_the_watch(fake: FakeKernel) -> None:
    seen: list[str] = []

    def failing(move: KeyMove, code: int, node: object, at: float) -> None:
        seen.append(move)
        raise RuntimeError("fault in the callback")

    watch = DeviceWatch(fake.nodes(), failing, lambda: seen.append("end"), fake)
    try:
        fake.key("event0", B, 1)
        fake.key("event0", B, 0)
        wait_for(lambda: seen == [KeyMove.PRESS, KeyMove.RELEASE])
        assert watch.alive
    finally:
        watch.close()
    assert seen[-1] == "end"


def test_the_pedal_is_learnt_from_its_device_without_taking_the_keyboard(
    fake: FakeKernel, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.pedal.devices.why_no_keyboard", lambda environ, platform: "no display")
    fake.plug("event1", range(1, 112), "Keyboard", (1, 1))
    found: list[Named] = []

    def foot() -> None:
        fake.key("event0", SHIFT, 1)
        fake.key("event0", SHIFT, 0)
        fake.key("event0", B, 1)
        fake.key("event1", B, 1)  # another device's
        time.sleep(1.0)
        fake.key("event0", B, 0)

    press = threading.Timer(0.3, foot)
    press.start()
    learned = learn(2.0, PedalSettings(), found.append, lambda made: None, fake)
    press.join()
    link = str(fake.dev / "by-id" / "usb-foot-event-kbd")
    assert found == [Named("b", types_text=True, device=link)]
    assert learned == LearnedKey(found[0], 1, 0, pytest.approx(1.0, abs=0.2), ("hold",))
    assert EVIOCGRAB not in [number for _, number, _ in fake.requests]


# The same presses, as the display's listener hears them and as the kernel reports them.

ACTIONS = st.sampled_from(["press", "release", "repeat", "other", "lost", "unplugged"])


def _until(at: float, maker: GestureMaker, made: list[MadeGesture | None]) -> None:
    """Everything that is due before `at`; the key is read as down whenever the maker asks."""
    while (due := maker.deadline()) is not None and due < at:
        made.append(maker.time(due))
        if maker.asks(due):
            made.append(maker.level(due, True))


@given(st.lists(st.tuples(ACTIONS, st.floats(0.001, 1.2)), max_size=40))
def test_any_sequence_gives_the_gestures_that_the_display_would(steps: list[tuple[str, float]]) -> None:
    """After lost or unplugged events, both know only that the press in progress is unknown."""
    by_display, by_device = GestureMaker(0.8, 0.35), GestureMaker(0.8, 0.35)
    expected: list[MadeGesture | None] = []
    got: list[MadeGesture | None] = []
    down: set[int] = set()
    reader = Reader()
    at, ignored, sent = 0.0, False, 0.0
    for action, gap in steps:
        at = round(at + gap, 6)
        _until(at, by_display, expected)
        _until(at, by_device, got)
        if action == "press" and B not in down:
            down.add(B)
            sent = at
            expected.append(by_display.press(at))
            _feed(reader, by_device, got, packed((1, B, 1), at=at))
        elif action == "release" and B in down:
            down.discard(B)
            expected.append(by_display.time(at) if ignored else by_display.release(at))
            ignored = False
            _feed(reader, by_device, got, packed((1, B, 0), at=at))
        elif action == "repeat" and B in down and at - sent <= LONGEST_DELAY_S:  # no display repeats later than that
            sent = at
            if not ignored:  # the display's listener takes repeats as presses of a key that is down
                expected.append(by_display.press(at))
            _feed(reader, by_device, got, packed((4, 4, 5), (1, B, 2), at=at))
        elif action == "other":
            _feed(reader, by_device, got, packed((1, C, 1), at=at) + packed((1, C, 0), at=at))
        elif action == "lost":
            expected.append(by_display.time(at))
            by_display.drop()
            ignored = B in down
            data = packed((1, C, 1), (0, 3, 0), (1, B, int(B not in down)), at=at)
            got.append(by_device.time(at))
            _feed(reader, by_device, got, data)
        elif action == "unplugged":
            expected.append(by_display.time(at))
            by_display.drop()
            ignored = False
            down.clear()
            got.append(by_device.time(at))
            by_device.drop()
            reader = Reader()
    _until(at + 9, by_display, expected)
    _until(at + 9, by_device, got)
    assert _made(got) == _made(expected)


def _feed(reader: Reader, maker: GestureMaker, got: list[MadeGesture | None], data: bytes) -> None:
    feed = {KeyMove.PRESS: maker.press, KeyMove.RELEASE: maker.release}
    for event in events(data):
        for move, code, at in reader.moves(event):
            if move is KeyMove.DROP:
                maker.drop()
            elif code == B:
                got.append(feed[move](at))


def _made(moves: list[MadeGesture | None]) -> list[tuple[str, float, float]]:
    return [(one.gesture, round(one.since, 6), round(one.at, 6)) for one in moves if one is not None]


def test_a_bouncing_switch_in_the_pedal_makes_one_press(rig: Rig) -> None:
    """The kernel's own times count, not when its bytes arrive."""
    time.sleep(0.3)
    first = time.monotonic() - 0.2
    rig.fake.send("event0", (ecodes.EV_MSC, ecodes.MSC_SCAN, 0x70005))
    rig.fake.keys_at_once("event0", B, *((1 - n % 2, first + 0.004 * n) for n in range(12)))
    assert rig.gesture().gesture == "tap"
    assert len(rig.clicks) == 1


def test_a_key_that_the_kernel_knows_to_be_up_makes_no_long_press(fake: FakeKernel, rig: Rig) -> None:
    fake.key("event0", B, 1)
    wait_for(lambda: bool(rig.clicks))
    fake.down["event0"].clear()  # its event never comes
    wait_for(lambda: not rig.listener.down)
    time.sleep(1.0)
    assert rig.posted.empty()
    rig.foot()
    assert rig.gesture().gesture == "tap"
    assert len(rig.clicks) == 2


def test_reading_the_key_takes_no_event_from_the_listener(fake: FakeKernel, rig: Rig) -> None:
    """The kernel drops the events that wait on the descriptor on which the keys are asked for."""
    watching = set(fake.opened)
    asked: list[int] = []
    keys_down = fake.keys_down
    fake.keys_down = lambda fd: asked.append(fd) or keys_down(fd)  # type: ignore[method-assign]
    rig.foot(0.4)
    assert rig.gesture().gesture == "tap"
    assert asked and not watching & set(asked)
    for fd in set(asked):
        with pytest.raises(OSError):
            os.fstat(fd)


def test_a_second_press_without_a_release_is_a_press_of_its_own() -> None:
    """Auto-repeat has its own value, so the release between the two was lost."""
    reader = Reader()
    moves = [move for at in (1.0, 2.0) for event in events(packed((1, B, 1), at=at)) for move in reader.moves(event)]
    assert moves == [(KeyMove.PRESS, B, 1.0), (KeyMove.DROP, 0, 2.0), (KeyMove.PRESS, B, 2.0)]
