"""The pedal: a key, heard whichever window has the focus -> Gesture events.

Threads: the keyboard library's own thread stamps each move and puts it on a queue, and does nothing else. If the
pedal's own device is read, the thread that waits for it does the same, with the kernel's times. The pedal's thread
reads that queue, halts and clicks at a press, makes gestures and posts them. It also checks that the library's thread
is still alive, and when that has ended it starts another, at growing intervals. Only the configured key is looked at.
No key is ever stored or logged.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections.abc import Callable
from functools import partial
from typing import Any

from assistant.errors import NoSuchPart
from assistant.pedal.device_watch import DeviceWatch
from assistant.pedal.devices import PedalSource, is_named, source_of
from assistant.pedal.gestures import GestureMaker, MadeGesture
from assistant.pedal.kernel import KERNEL, Kernel, Node
from assistant.pedal.moves import KeyMove
from assistant.pedal.names import key_from_name, key_symbols, matcher
from assistant.pedal.watch import KeyWatch
from assistant.plans.model import PedalSettings
from assistant.runner.contracts import Clock, Post
from assistant.session.events import DeviceChanged, Gesture
from assistant.session.kinds import By, DeviceName, DeviceState

LOOK_EVERY_S = 0.25
"""How often the watch is checked: it may end without notice."""
FIRST_RETRY_S = 0.5  # doubled at each try that fails, up to the next: a plug that was loose is back at once
LAST_RETRY_S = 5.0
OPEN_AND_CLOSE_S = 4.0  # a thread that is opening a watch must still close it
STALL_S = 0.4  # a process held up for longer forgets the press in progress
STOPPED_S = 1.0  # a process held up for longer was stopped, and ignores what the foot did meanwhile
SETTLE_S = 0.3  # after a stop, the moves that waited keep coming in for this long
WORKS = "The pedal is heard again."


class PedalListener:
    """Posts Gesture(source=By.PEDAL) and DeviceChanged("pedal", ...), and calls `pressed` at once at every press."""

    def __init__(
        self,
        clock: Clock,
        post: Post,
        settings: PedalSettings,
        pressed: Callable[[], None],
        kernel: Kernel = KERNEL,
        released: Callable[[], None] = lambda: None,
    ) -> None:
        """Starts listening.

        pressed: halts what moves, clicks, wakes the view; called on the pedal's thread, must return at once. released:
        as `pressed`, when the key comes up or may have: what moves only while it is held down must halt.
        kernel: access to the input devices.
        Raises NoSuchPart where keys can't be heard, BadInput for a key that a pedal must not use.
        """
        self._clock = clock
        self._post = post
        self._pressed = pressed
        self._released = released
        self._settings = settings
        self._kernel = kernel
        self._key = key_from_name(settings.key, alone=is_named(settings))
        self._maker = GestureMaker(settings.long_press_s, settings.double_tap_s)
        self._moves: queue.SimpleQueue[tuple[KeyMove, int, float]] = queue.SimpleQueue()
        self._opened = 0  # how many watches so far: late messages from an earlier one are ignored
        self._moved_at = 0.0
        self._is_down: Callable[[], bool | None] = lambda: None
        self._watch: KeyWatch | DeviceWatch | None = self._open()
        self._retry_s = FIRST_RETRY_S
        self._retry_at = 0.0
        self._deaf_until = 0.0
        self._looked_at = clock.at()
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="pedal", daemon=True)
        self._thread.start()

    @property
    def alive(self) -> bool:
        """Whether the pedal's key can be heard now."""
        watch = self._watch
        return watch is not None and watch.alive

    @property
    def down(self) -> bool:
        """Whether the pedal's key is pressed now."""
        return self.alive and self._maker.down

    def close(self) -> None:
        """Stop listening. Safe from any thread, and more than once."""
        self._closing.set()
        self._moves.put((KeyMove.WAKE, self._opened, 0.0))
        if threading.current_thread() is not self._thread:
            self._thread.join(OPEN_AND_CLOSE_S)

    def _open(self) -> KeyWatch | DeviceWatch:
        self._opened += 1
        source = source_of(self._settings, self._kernel)
        return self._open_device(source) if source.nodes else self._open_display()

    def _open_device(self, source: PedalSource) -> DeviceWatch:
        number, moves, at = self._opened, self._moves, self._clock.at

        def moved(move: KeyMove, code: int, node: Node, kernel_at: float) -> None:
            if move is KeyMove.DROP or code == source.code:
                # From the kernel's clock to the session's: by how long ago it was.
                moves.put((move, number, at() - (time.monotonic() - kernel_at)))

        watch = DeviceWatch(source.nodes, moved, lambda: moves.put((KeyMove.ENDED, number, at())), self._kernel)
        self._is_down = lambda: watch.is_down(source.code)
        return watch

    def _open_display(self) -> KeyWatch:
        number, moves, at = self._opened, self._moves, self._clock.at
        # Both are filled once the watch is open. Keys that come earlier are not presses of this session.
        opened: list[KeyWatch] = []
        matches: list[Callable[[Any], bool]] = []

        def moved(move: KeyMove, key: Any) -> None:
            if matches and matches[0](key):
                moves.put((move, number, at() - opened[0].late_s))

        watch = KeyWatch(
            partial(moved, KeyMove.PRESS),
            partial(moved, KeyMove.RELEASE),
            lambda: moves.put((KeyMove.ENDED, number, at())),
        )
        opened.append(watch)
        matches.append(matcher(self._key))  # from here on the library can be imported
        symbols = key_symbols(self._key)
        self._is_down = lambda: watch.is_down(symbols)
        return watch

    def _run(self) -> None:
        try:
            while not self._closing.is_set():
                self._step()
        finally:
            if self._watch is not None:
                self._watch.close()

    def _step(self) -> None:
        due = self._maker.deadline()
        wait = LOOK_EVERY_S if due is None else min(LOOK_EVERY_S, max(0.0, due - self._clock.at()))
        try:
            move, number, at = self._moves.get(timeout=wait)
        except queue.Empty:
            self._notice_stall(wait)
            self._look_after_watch()
            self._send(self._maker.time(self._clock.at()))
            if self._maker.asks(self._clock.at()):
                down = self._is_down()
                if down is False:
                    self._released()
                self._send(self._maker.level(self._clock.at(), down))
            return
        self._notice_stall(wait)
        if number == self._opened and (move is KeyMove.ENDED or at >= self._deaf_until):
            self._take(move, at)

    def _notice_stall(self, waited_s: float) -> None:
        """A process that was held up or stopped (Ctrl-Z) stamps moves when they arrive, not when they were made.

        A tap could then look like a long press, which confirms. So the press in progress is forgotten, and after a stop
        everything that the foot did meanwhile is ignored too. waited_s: how long it wanted to wait, of the time since
        the last look. All the rest counts: it may be stopped anywhere.
        """
        now = self._clock.at()
        late_s, self._looked_at = now - self._looked_at - waited_s, now
        if late_s > STALL_S:
            self._released()
            self._maker.drop()
        if late_s > STOPPED_S:
            self._deaf_until = now + SETTLE_S

    def _take(self, move: KeyMove, at: float) -> None:
        at = self._moved_at = max(at, self._moved_at)  # the estimate of how late they are keeps getting better
        self._send(self._maker.time(at))
        match move:
            case KeyMove.PRESS:
                if not self._maker.down:
                    with contextlib.suppress(Exception):  # whatever fails must not cost the gesture
                        self._pressed()
                self._send(self._maker.press(at))
            case KeyMove.RELEASE:
                if self._is_down() is not True:  # auto-repeat may come as releases, with the key down all the time
                    self._released()
                self._send(self._maker.release(at))
            case KeyMove.DROP:
                self._released()
                self._maker.drop()
            case KeyMove.ENDED:
                self._look_after_watch()

    def _send(self, made: MadeGesture | None) -> None:
        if made is not None:
            self._post(Gesture(self._clock.at(), self._clock.utc(), made.gesture, made.since, By.PEDAL))

    def _look_after_watch(self) -> None:
        """Close a watch that has ended, and later try to open another."""
        if self._watch is not None and not self._watch.alive:
            self._watch.close()
            lost, self._watch = self._watch.lost, None
            # The release is lost with the server or the device. Without this the key would seem to be down, and a long
            # press confirms.
            self._released()
            self._maker.drop()
            self._retry_s = FIRST_RETRY_S
            self._retry_at = self._clock.at() + self._retry_s
            self._post(DeviceChanged(self._clock.at(), self._clock.utc(), DeviceName.PEDAL, DeviceState.LOST, lost))
        elif self._watch is None and self._clock.at() >= self._retry_at:
            try:
                self._watch = self._open()
            except NoSuchPart:
                self._retry_s = min(2 * self._retry_s, LAST_RETRY_S)
                self._retry_at = self._clock.at() + self._retry_s
                return
            self._post(DeviceChanged(self._clock.at(), self._clock.utc(), DeviceName.PEDAL, DeviceState.WORKS, WORKS))
