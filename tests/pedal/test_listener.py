"""Real keys, pressed through a display server, heard by the pedal's listener."""

from __future__ import annotations

import itertools
import logging
import os
import queue
import select
import shutil
import signal
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from assistant.errors import BadInput, NoSuchPart
from assistant.pedal.listener import STOPPED_S, PedalListener
from assistant.pedal.watch import KeyWatch, why_no_keyboard
from assistant.plans.model import PedalSettings
from assistant.runner.clock import LiveClock
from assistant.session.events import DeviceChanged, Event, Gesture
from tests.pedal.xserver import XServer, needs_x, wait_for

SETTLE_S = 0.2  # a press before the listener has settled can be lost
NOTHING_S = 0.8
MOST_TIMES_BARE = 4.0


class Rig:
    """A listener with everything it posts and every click's time."""

    def __init__(self, **settings: object) -> None:
        self.clock = LiveClock()
        self.events: queue.SimpleQueue[Event] = queue.SimpleQueue()
        self.clicks: list[float] = []
        self.releases: list[float] = []
        released = lambda: self.releases.append(time.monotonic())  # noqa: E731
        self.listener = PedalListener(
            self.clock, self.events.put, PedalSettings(**settings), self.click, released=released
        )
        time.sleep(SETTLE_S)

    def click(self) -> None:
        self.clicks.append(time.monotonic())

    def next(self, within_s: float = 20.0) -> Event:
        return self.events.get(timeout=within_s)

    def gesture(self) -> str:
        event = self.next()
        assert isinstance(event, Gesture), event
        assert event.source == "pedal" and event.utc and event.at >= event.since
        return event.gesture

    def nothing(self) -> bool:
        time.sleep(NOTHING_S)
        return self.events.empty()


@pytest.fixture
def rig(xserver: XServer) -> Iterator[Rig]:
    rig = Rig()
    yield rig
    rig.listener.close()


@needs_x
def test_tap_double_and_long_press_with_real_auto_repeat(xserver: XServer, rig: Rig) -> None:
    """One click per press of the foot, however often the key repeats while it is down."""
    xserver.key("Next")
    assert rig.gesture() == "tap"
    xserver.xdotool("key", "Next", "sleep", "0.1", "key", "Next")
    assert rig.gesture() == "double"
    wait_for(lambda: not rig.listener.down)
    xserver.down("Next")
    assert rig.gesture() == "hold"
    time.sleep(1.2)  # auto-repeat runs on
    assert rig.listener.down
    xserver.up("Next")
    assert rig.nothing()
    assert not rig.listener.down
    assert len(rig.clicks) == 4
    xserver.key("Next")
    assert rig.gesture() == "tap"


class Sender:
    """Edges timed by the display server itself, so that delays of the test's own process don't matter."""

    def __init__(self, symbol: str) -> None:
        from Xlib import XK, X, display
        from Xlib.ext import xtest

        self._xtest, self._kinds = xtest, (X.KeyPress, X.KeyRelease)
        self._display = display.Display()
        self._code = self._display.keysym_to_keycode(XK.string_to_keysym(symbol))
        self._sent = 0

    def edges(self, waits_ms: list[int]) -> None:
        """Down, up, down ... each after that many milliseconds. Returns when the last has been made."""
        for wait_ms in waits_ms:
            self._xtest.fake_input(self._display, self._kinds[self._sent % 2], self._code, time=wait_ms)
            self._sent += 1
        self._display.sync()

    def close(self) -> None:
        self._display.close()


@pytest.fixture
def sender(xserver: XServer) -> Iterator[Sender]:
    sender = Sender("Next")
    yield sender
    sender.close()


@needs_x
@pytest.mark.parametrize("apart_ms", [2, 10])
def test_a_bouncing_switch_is_one_press_with_one_click_at_its_first_edge(
    rig: Rig, sender: Sender, apart_ms: int
) -> None:
    """Six presses in the place of one, at both ends of a tap, and at the beginning of a long press."""
    sender.edges([0, *11 * [apart_ms]])
    assert rig.gesture() == "tap"
    sender.edges([0, *10 * [apart_ms], 150, *10 * [apart_ms]])
    assert rig.gesture() == "tap"
    sender.edges([0, *10 * [apart_ms]])
    assert rig.gesture() == "hold"
    sender.edges([0])
    assert rig.nothing()
    # On a busy machine our thread can get two edges late and at once. Edges of the switch are `apart_ms` apart.
    at_once = 0.003 if apart_ms > 3 else 0.0
    apart = [later - earlier for earlier, later in itertools.pairwise(rig.clicks)]
    assert 1 + sum(gap > at_once for gap in apart) == 3, rig.clicks


@needs_x
def test_a_release_that_is_lost_on_its_way_makes_no_long_press_and_the_next_press_is_whole(
    xserver: XServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only the release's event is missing: the display server knows that the key is up."""
    losing = threading.Event()

    class Losing(KeyWatch):
        def __init__(self, on_press: object, on_release: Callable[[object], None], on_end: object) -> None:
            super().__init__(on_press, lambda key: None if losing.is_set() else on_release(key), on_end)

    monkeypatch.setattr("assistant.pedal.listener.KeyWatch", Losing)
    rig = Rig()
    try:
        losing.set()
        xserver.key("Next")
        wait_for(lambda: len(rig.clicks) == 1)
        time.sleep(1.0)  # more than a long press takes
        assert rig.nothing() and not rig.listener.down
        losing.clear()
        xserver.key("Next")
        assert rig.gesture() == "tap"
        assert len(rig.clicks) == 2
    finally:
        rig.listener.close()


@needs_x
def test_the_display_server_is_asked_which_keys_are_down(xserver: XServer) -> None:
    from assistant.pedal.names import key_from_name, key_symbols

    watch = KeyWatch(lambda key: None, lambda key: None, lambda: None)
    try:
        for name, symbol in (("page_down", "Next"), ("f13", "XF86Tools"), ("<65361>", "Left")):
            symbols = key_symbols(key_from_name(name))
            assert watch.is_down(symbols) is False
            xserver.down(symbol)
            assert watch.is_down(symbols) is True
            xserver.up(symbol)
            assert watch.is_down(symbols) is False
        xserver.down("a")
        assert watch.is_down(key_symbols(key_from_name("page_down"))) is False
        xserver.up("a")
        assert watch.is_down(frozenset((0x1234567,))) is None  # no key of this layout
        xserver.end(for_good=False)
        assert watch.is_down(symbols) is None
    finally:
        watch.close()
    assert watch.is_down(symbols) is None


@needs_x
def test_a_long_press_is_posted_while_the_key_is_down_and_counts_from_the_press(xserver: XServer, rig: Rig) -> None:
    xserver.down("Next")
    event = rig.next()
    xserver.up("Next")
    assert isinstance(event, Gesture)
    assert event.at - event.since >= 0.8


@needs_x
def test_what_is_held_down_is_let_go_when_the_key_comes_up_and_not_by_its_auto_repeat(
    xserver: XServer, rig: Rig
) -> None:
    """A driven carriage moves only as long as the pedal is down."""
    xserver.down("Next")
    assert rig.gesture() == "hold"
    time.sleep(1.5)  # longer than the server's auto-repeat takes to begin
    assert rig.releases == [] and len(rig.clicks) == 1, "auto-repeat is no release and no other press"
    xserver.up("Next")
    end = time.monotonic() + 5
    while not rig.releases and time.monotonic() < end:
        time.sleep(0.01)
    assert rig.releases


@needs_x
def test_what_is_held_down_is_let_go_when_the_pedal_is_lost(xserver: XServer) -> None:
    rig = Rig()
    try:
        xserver.down("Next")
        assert rig.gesture() == "hold" and rig.releases == []
        xserver.end(for_good=False)
        while not (isinstance(event := rig.next(), DeviceChanged) and event.state == "lost"):
            pass
        assert rig.releases
    finally:
        rig.listener.close()
        xserver.start_again()


@needs_x
def test_other_keys_mean_nothing(xserver: XServer, rig: Rig) -> None:
    xserver.xdotool("type", "--delay", "20", "any words at all")
    for key in ("Prior", "space", "Return", "F13", "End"):
        xserver.key(key)
    assert rig.nothing()
    assert rig.clicks == []


@needs_x
def test_another_key_between_does_not_disturb_a_gesture(xserver: XServer, rig: Rig) -> None:
    xserver.xdotool("keydown", "Next", "key", "a", "keyup", "Next")
    assert rig.gesture() == "tap"


@needs_x
@pytest.mark.parametrize(
    ("key", "symbol"), [("f13", "XF86Tools"), ("media_play_pause", "XF86AudioPlay"), ("<65361>", "Left")]
)
def test_other_pedal_keys(xserver: XServer, key: str, symbol: str) -> None:
    """The key that is marked F13 sends the code of XF86Tools in the usual layout."""
    rig = Rig(key=key)
    try:
        xserver.key("Next")
        xserver.key(symbol)
        assert rig.gesture() == "tap"
        assert rig.nothing()
    finally:
        rig.listener.close()


@needs_x
@pytest.mark.skipif(not shutil.which("xterm"), reason="xterm is not installed")
def test_a_terminal_with_the_focus_does_not_keep_the_key_away(xserver: XServer, rig: Rig) -> None:
    terminal = subprocess.Popen(
        ["xterm", "-T", "shop", "-e", "cat"], stderr=subprocess.DEVNULL, env={**os.environ, "DISPLAY": xserver.display}
    )
    try:
        window = xserver.xdotool("search", "--sync", "--onlyvisible", "--class", "xterm").split()[0]
        xserver.xdotool("windowfocus", window)
        wait_for(lambda: xserver.xdotool("getwindowfocus").strip() != "1")
        xserver.key("Next")
        assert rig.gesture() == "tap"
    finally:
        terminal.kill()
        terminal.wait()


@needs_x
def test_the_end_of_the_display_server_is_noticed_and_its_return_too(
    xserver: XServer, rig: Rig, capfd: pytest.CaptureFixture[str]
) -> None:
    """The loss is reported once, nothing is printed, and a key that is down at that moment never makes a long press."""
    xserver.down("Next")
    wait_for(lambda: bool(rig.clicks))
    xserver.end(for_good=False)
    lost = rig.next()
    if isinstance(lost, Gesture):
        lost = rig.next()  # the machine stood still before the server could be ended, and the press was long by then
    assert isinstance(lost, DeviceChanged) and (lost.device, lost.state) == ("pedal", "lost")
    assert "terminal's keys replace it" in lost.text
    assert not rig.listener.alive
    assert rig.nothing()
    xserver.start_again()
    works = rig.next(within_s=40.0)
    assert isinstance(works, DeviceChanged) and (works.device, works.state) == ("pedal", "works")
    assert rig.listener.alive
    time.sleep(SETTLE_S)
    xserver.key("Next")
    assert rig.gesture() == "tap"
    said = capfd.readouterr()
    assert said.out == said.err == ""


@needs_x
def test_presses_made_while_the_program_was_stopped_do_not_count(xserver: XServer) -> None:
    """They all arrive at once when the program goes on, and a late release would turn a tap into a long press."""
    command = [sys.executable, "-m", "tests.pedal.listener_child"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None and process.stdout.readline() == "begun\n"
            xserver.down("Next")
            time.sleep(0.3)
            process.send_signal(signal.SIGSTOP)
            if select.select([process.stdout], [], [], 0.0)[0]:
                process.stdout.readline()  # the machine stood still, and the press was long before the program stopped
            xserver.up("Next")
            for _ in range(3):
                xserver.key("Next")
            time.sleep(1.5)
            process.send_signal(signal.SIGCONT)
            time.sleep(1.5)
            counted = select.select([process.stdout], [], [], 0.0)[0] and process.stdout.readline()
            assert not counted, counted
            # Not a double tap: between its two, a busy machine may take too long.
            xserver.down("Next")
            assert process.stdout.readline() == "hold\n"
        finally:
            xserver.up("Next")
            process.kill()


@needs_x
def test_wherever_it_was_held_up_presses_made_meanwhile_do_not_count(
    xserver: XServer, rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A signal stops a program anywhere, and not only where it waits for the next move of the key."""
    held_up = threading.Event()
    goes_on = threading.Event()

    def pressed() -> None:
        held_up.set()
        goes_on.wait(20.0)

    monkeypatch.setattr(rig.listener, "_pressed", pressed)
    xserver.key("Next")
    assert held_up.wait(20.0)
    for _ in range(2):
        xserver.key("Next")
    time.sleep(STOPPED_S)
    goes_on.set()
    assert rig.nothing()
    xserver.key("Next")
    assert rig.gesture() == "tap"


@needs_x
def test_a_click_comes_hardly_later_than_a_bare_listener_gets_the_press(xserver: XServer, rig: Rig) -> None:
    """From the moment the key is sent to the moment the click is asked for.

    Floor: the same presses in a callback of the watch that does nothing else.
    """
    from Xlib import XK, X, display
    from Xlib.ext import xtest

    sender = display.Display()
    code = sender.keysym_to_keycode(XK.string_to_keysym("Next"))
    heard: list[float] = []
    bare = KeyWatch(lambda key: heard.append(time.monotonic()), lambda key: None, lambda: None)
    time.sleep(SETTLE_S)
    delays, floor = [], []
    for _ in range(20):
        rig.clicks.clear()
        heard.clear()
        sent = time.monotonic()
        xtest.fake_input(sender, X.KeyPress, code)
        sender.sync()
        wait_for(lambda: bool(rig.clicks and heard))
        xtest.fake_input(sender, X.KeyRelease, code)
        sender.sync()
        delays.append(1000 * (rig.clicks[0] - sent))
        floor.append(1000 * (heard[0] - sent))
        assert rig.gesture() == "tap"
    sender.close()
    bare.close()
    ours, least = statistics.median(delays), statistics.median(floor)
    print(f"press to click: median {ours:.2f} ms, worst {max(delays):.2f} ms; bare {least:.2f} ms")
    assert ours <= MOST_TIMES_BARE * least


@needs_x
def test_a_failure_at_the_press_costs_no_gesture(xserver: XServer, rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken() -> None:
        raise RuntimeError("no sound")

    monkeypatch.setattr(rig.listener, "_pressed", broken)
    xserver.key("Next")
    assert rig.gesture() == "tap"
    assert rig.listener.alive


@needs_x
def test_a_callback_that_fails_does_not_end_the_listener(xserver: XServer) -> None:
    seen: list[str] = []

    def failing(key: object) -> None:
        seen.append("press")
        raise RuntimeError("fault in the callback")

    watch = KeyWatch(failing, lambda key: None, lambda: seen.append("end"))
    time.sleep(SETTLE_S)
    try:
        xserver.key("a")
        xserver.key("b")
        wait_for(lambda: seen.count("press") == 2)
        assert watch.alive and "end" not in seen
    finally:
        watch.close()
    assert not watch.alive and seen[-1] == "end"


@needs_x
def test_closing_ends_every_thread(xserver: XServer) -> None:
    before = threading.active_count()
    rig = Rig()
    rig.listener.close()
    rig.listener.close()
    assert not rig.listener.alive
    wait_for(lambda: threading.active_count() == before)


@needs_x
def test_no_key_is_logged(xserver: XServer, rig: Rig, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    xserver.key("a")
    xserver.key("Next")
    assert rig.gesture() == "tap"
    assert caplog.records == []


def test_without_a_display_server_it_says_what_replaces_the_pedal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("XDG_SESSION_TYPE", raising=False)
    with pytest.raises(NoSuchPart, match=r"no display server.*space: tap.*To fix it: start from a terminal window"):
        Rig()


@needs_x
def test_a_display_that_does_not_answer_gives_no_pedal(xserver: XServer, capfd: pytest.CaptureFixture[str]) -> None:
    xserver.end(for_good=False)
    with pytest.raises(NoSuchPart, match="does not answer"):
        Rig()
    assert capfd.readouterr().err == ""


def test_a_key_that_types_text_is_refused_before_anything_is_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    with pytest.raises(BadInput, match="types or edits text"):
        Rig(key="b")


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="display servers are a matter of X11")
def test_each_obstacle_is_named_with_its_fix(monkeypatch: pytest.MonkeyPatch) -> None:
    assert "display server :59999 does not answer" in why_no_keyboard({"DISPLAY": ":59999"}, "linux")
    assert why_no_keyboard({}, "win32") == ""
    wayland = why_no_keyboard({"DISPLAY": ":5", "XDG_SESSION_TYPE": "wayland"}, "linux")
    assert "Wayland" in wayland and "log in to an X11" in wayland
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    missing = why_no_keyboard({"DISPLAY": ":5"}, "linux")
    assert "pip install --no-deps pynput" in missing and "terminal's keys replace it" in missing


@needs_x
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="what a thread does is known on Linux only")
@pytest.mark.parametrize("hangs", [False, True])
def test_opening_that_is_slow_is_waited_for_and_one_that_hangs_is_not(
    xserver: XServer, monkeypatch: pytest.MonkeyPatch, hangs: bool
) -> None:
    """Three times the limit for an opening without progress: here the library's start is delayed."""
    from pynput.keyboard import Listener

    begin, ending = Listener._initialize, threading.Event()

    def slowly(listener: object, display: object) -> None:
        end = time.thread_time() + 1.5
        while not hangs and time.thread_time() < end:
            pass
        if hangs:
            ending.wait(60)
        begin(listener, display)

    monkeypatch.setattr(Listener, "_initialize", slowly)
    monkeypatch.setattr("assistant.pedal.watch.OPEN_WITHIN_S", 0.5)
    try:
        if hangs:
            with pytest.raises(NoSuchPart, match="does not answer"):
                KeyWatch(lambda key: None, lambda key: None, lambda: None)
        else:
            watch = KeyWatch(lambda key: None, lambda key: None, lambda: None)
            assert watch.alive
            watch.close()
    finally:
        ending.set()


@needs_x
def test_a_double_that_is_delivered_all_at_once_is_a_double_and_no_bounce(
    xserver: XServer, sender: Sender, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The library's thread is delayed, as on a busy machine, but the display server's own times show what happened."""
    holding, go = threading.Event(), threading.Event()

    class Late(KeyWatch):
        def _note_time(self, server_ms: int | None) -> None:
            if holding.is_set():
                go.wait(5)
            super()._note_time(server_ms)

    monkeypatch.setattr("assistant.pedal.listener.KeyWatch", Late)
    rig = Rig()
    try:
        sender.edges([0, 50])
        assert rig.gesture() == "tap"
        holding.set()
        sender.edges([0, 50, 100, 50])
        go.set()
        assert rig.gesture() == "double"
        assert rig.nothing()
    finally:
        go.set()
        rig.listener.close()
