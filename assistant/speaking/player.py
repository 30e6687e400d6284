"""The live player: one device stays open, and announcements and clicks are mixed one period at a time.

Threads: the device's own thread calls `_fill`. A watchdog opens the device, notices when it has gone and opens it
again. Any thread can play, click and stop. `_lock` guards the mixer and the state, and stays locked during posting: a
beginning must never be posted after its own end.

A sound server that hangs also hangs the thread that opens or closes its device, so each such call gets a separate
thread. The watchdog then reports that the loudspeaker is lost, whether or not the call ever returns.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterable
from functools import partial
from typing import Literal

from assistant.errors import NoSuchPart
from assistant.runner.contracts import Clock, Post
from assistant.session.events import DeviceChanged, SpeechEnded, SpeechStarted
from assistant.session.kinds import DeviceName, DeviceState, SpeechEnd, Tone
from assistant.speaking.device import Device
from assistant.speaking.engine import Pcm, at_rate
from assistant.speaking.mixer import Mixer, QueueSlot

# A device that has not asked for samples for so long is gone. None of the libraries reports that.
GONE_AFTER_S = 1.0
LOOK_EVERY_S = 0.2
# A device that takes longer to open counts as lost until it has opened. One that takes longer to close is abandoned.
OPEN_WITHIN_S, CLOSE_WITHIN_S = 3.0, 5.0
FIRST_RETRY_S, LONGEST_RETRY_S = 1.0, 30.0
LOST = "No loudspeaker ({why}). Announcements are on the screen only."
BACK = "The loudspeaker works again."
OTHER = "A different loudspeaker: {why}."

PlayerState = DeviceState | Literal["opening", "closed"]
"""The device's `DeviceState.WORKS` or `LOST`, "opening" before the first of them, "closed" after the last."""


class Player:
    """Plays announcements in order, and posts when each begins and how it ends."""

    def __init__(
        self,
        rate: int,
        device: Device,
        clock: Clock,
        post: Post,
        gone_after_s: float = GONE_AFTER_S,
        first_retry_s: float = FIRST_RETRY_S,
        open_within_s: float = OPEN_WITHIN_S,
    ):
        self.rate = rate
        self.opened = ""
        self._device, self._clock, self._post = device, clock, post
        self._gone_after_s, self._first_retry_s = gone_after_s, first_retry_s
        self._open_within_s = open_within_s
        self._opening = 0
        self._mixer = Mixer(rate)
        # Re-entrant, so that a `post` that reacts at once can call back.
        self._lock = threading.RLock()
        self._idle = threading.Condition(self._lock)
        self._state: PlayerState = "opening"
        self._last_fill = 0.0
        self._fault = ""
        self._ending = threading.Event()
        # Loads numpy here and not in the device's first period, which would come too late.
        self._mixer.mix(0)
        self._watchdog = threading.Thread(target=self._watch, name="kerfcall-loudspeaker", daemon=True)
        self._watchdog.start()

    @property
    def state(self) -> PlayerState:
        return self._state

    def reserve(self, id: str, replaces: bool, tone: Tone | None = None) -> QueueSlot | None:
        """Takes a place in the queue for an announcement not yet rendered. Without a loudspeaker it fails: None."""
        with self._lock:
            cut = self._mixer.cut() if replaces else []
            silent = self._state in (DeviceState.LOST, "closed")
            slot = None if silent else self._mixer.reserve(id, tone)
            self._post_ends(cut, SpeechEnd.CUT_OFF)
            if slot is None:
                self._post_ends([id], SpeechEnd.FAILED)
        return slot

    def supply(self, slot: QueueSlot, pcm: Pcm | None) -> None:
        """Puts the rendered announcement in its place. pcm: None if it could not be rendered."""
        with self._lock:
            if pcm is not None and self._mixer.holds(slot):
                slot.samples = at_rate(pcm, self.rate).samples
            if pcm is None and self._mixer.drop(slot):
                self._post_ends([slot.id], SpeechEnd.FAILED)

    def waits(self, slot: QueueSlot) -> bool:
        """Whether this announcement still has its place, and was neither cut off nor failed."""
        with self._lock:
            return self._mixer.holds(slot)

    def set_loudness(self, loudness_db: float) -> None:
        """As `Mixer.set_loudness`."""
        with self._lock:
            self._mixer.set_loudness(loudness_db)

    def click(self) -> None:
        with self._lock:
            if self._state == DeviceState.WORKS:
                self._mixer.click()

    def tick(self) -> None:
        with self._lock:
            if self._state == DeviceState.WORKS:
                self._mixer.tick()

    def note(self) -> None:
        with self._lock:
            if self._state == DeviceState.WORKS:
                self._mixer.note()

    def close(self, drain_s: float = 0.0) -> None:
        """Waits at most drain_s for the end of what sounds and waits, then lets go of the device."""
        with self._idle:
            self._idle.wait_for(lambda: not self._mixer.busy or self._state == DeviceState.LOST, drain_s)
            self._state = "closed"
            self._post_ends(self._mixer.cut(), SpeechEnd.CUT_OFF)
        self._ending.set()
        # No longer: a device that hangs while it closes must not keep the program from ending.
        self._watchdog.join(2.0)

    def _fill(self, number: int, frames: int) -> bytes:
        """The device's next samples, on its thread. Never raises, since that would end the playback silently.

        number: the opening's. An opening that was given up gets silence if it ever goes on.
        """
        if number != self._opening:
            return bytes(2 * frames)
        self._last_fill = time.monotonic()
        try:
            with self._idle:
                samples, happened = self._mixer.mix(frames)
                for happening in happened:
                    if happening.kind == "started":
                        self._post(SpeechStarted(self._clock.at(), self._clock.utc(), happening.id))
                    else:
                        self._post_ends([happening.id], SpeechEnd.WHOLE)
                if not self._mixer.busy:
                    self._idle.notify_all()
            return samples.tobytes()
        except Exception as error:
            self._fault = f"{type(error).__name__}: {error}"
            return bytes(2 * frames)

    def _post_ends(self, ids: Iterable[str], how: SpeechEnd) -> None:
        for id in ids:
            self._post(SpeechEnded(self._clock.at(), self._clock.utc(), id, how))

    def _watch(self) -> None:
        retry_s = self._first_retry_s
        while not self._ending.is_set():
            if self._state == DeviceState.WORKS:
                retry_s = self._first_retry_s
                self._watch_what_plays()
            elif not self._try_open():
                self._ending.wait(retry_s)
                retry_s = min(2 * retry_s, LONGEST_RETRY_S)
        _on_a_thread_of_its_own(self._device.close).wait(CLOSE_WITHIN_S)

    def _watch_what_plays(self) -> None:
        wait_s = min(LOOK_EVERY_S, self._gone_after_s / 2)
        end = time.monotonic() + wait_s
        self._ending.wait(wait_s)
        now = time.monotonic()
        if now - end > wait_s:  # this process was slow or stopped, so the device could not ask for samples
            self._last_fill = now
        silent = now - self._last_fill > self._gone_after_s
        if (silent or self._fault) and not self._ending.is_set():
            # First, so that a device that comes to life again while it is given up plays nothing.
            self._opening += 1
            self._lose(self._fault or "it stopped taking sound")
            self._fault = ""
            self._wait(_on_a_thread_of_its_own(self._device.close), CLOSE_WITHIN_S)

    def _wait(self, done: threading.Event, within_s: float) -> bool:
        """Waits until it is done, the time is over or the player is closed. Returns whether it is done."""
        end = time.monotonic() + within_s
        while not done.wait(0.05) and time.monotonic() < end and not self._ending.is_set():
            pass
        return done.is_set()

    def _try_open(self) -> bool:
        self._opening += 1
        outcome: list[str | NoSuchPart | Exception] = []
        fill = partial(self._fill, self._opening)

        def open_it() -> None:
            try:
                outcome.append(self._device.open(self.rate, fill))
            except Exception as error:  # a driver can raise anything
                outcome.append(error)

        done = _on_a_thread_of_its_own(open_it)
        if not self._wait(done, self._open_within_s):
            self._lose(f"it did not open within {self._open_within_s:g} s")
            while not self._ending.is_set() and not self._wait(done, LONGEST_RETRY_S):
                pass
        # The player was closed meanwhile, so there is no other try to wait for.
        if not outcome:
            return True
        opened = outcome[0]
        if isinstance(opened, Exception):
            self._lose(str(opened) if isinstance(opened, NoSuchPart) else f"{type(opened).__name__}: {opened}")
            return False
        self.opened, self._last_fill = opened, time.monotonic()
        self._change(DeviceState.WORKS, BACK, self._device.instead)
        return True

    def _lose(self, why: str) -> None:
        self._change(DeviceState.LOST, LOST.format(why=why))

    def _change(self, state: DeviceState, text: str, instead: str = "") -> None:
        """Changes the state and posts it. When the device is lost, everything that waits fails at once.

        A first opening that works is not reported, unless it opened a different device from the one asked for.
        """
        with self._idle:
            before = self._state
            if before in ("closed", state):
                return
            self._state = state
            failed = self._mixer.cut() if state == DeviceState.LOST else []
            if state == DeviceState.LOST:
                self._mixer.silence()
            self._post_ends(failed, SpeechEnd.FAILED)
            text = OTHER.format(why=instead) if instead else text
            if (before, state) != ("opening", DeviceState.WORKS) or instead:
                self._post(DeviceChanged(self._clock.at(), self._clock.utc(), DeviceName.LOUDSPEAKER, state, text))
            self._idle.notify_all()


def _on_a_thread_of_its_own(call: Callable[[], object]) -> threading.Event:
    """Calls `call` on a new thread. The event is set when it returns.

    It can hang for ever, so the thread is a daemon, which doesn't keep the program from ending.
    """
    done = threading.Event()

    def run() -> None:
        with contextlib.suppress(Exception):  # a driver's fault while closing a device that is given up anyway
            call()
        done.set()

    threading.Thread(target=run, name="kerfcall-loudspeaker-door", daemon=True).start()
    return done
