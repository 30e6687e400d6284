"""A clock that is set, a device that is pumped by hand, voices whose samples are known."""

from __future__ import annotations

import threading
from collections.abc import Callable

import numpy as np

from assistant.errors import NoSuchPart
from assistant.session.events import DeviceChanged, Event, SpeechEnded, SpeechStarted
from assistant.speaking.device import Fill
from assistant.speaking.engine import Pcm, VoiceFailed, never

RATE = 22050
# What a session really says, from the shortest to the longest.
PHRASES = (
    "one two decimal three five",
    "Standing by.",
    "set one two decimal three five; then start the saw; cut, draw back clear, then tap",
    "up two turns and forty-three marks, to mark four three",
    "one and three eighths inches, plus four thousandths",
    "Saw off. When the blade has stopped, count seven sockets.",
    "keep clear: five to eighty-four, up to thirty above the bed. Clamps, screws and stop all outside, clamps tight?",
    "turn it end over end, same edge to the stop, other face to the backing; never spin it on its face",
)


class HandClock:
    def __init__(self, now: float = 0.0):
        self.now = now

    def at(self) -> float:
        return self.now

    def utc(self) -> str:
        return "2030-01-02T03:04:05.000Z"


class Posted:
    """Collects events; `wait` blocks until one matches."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self._changed = threading.Condition()

    def __call__(self, event: Event) -> None:
        with self._changed:
            self.events.append(event)
            self._changed.notify_all()

    def wait(self, matches: Callable[[Event], bool], within_s: float = 30.0) -> Event:
        def found() -> Event | None:
            return next((event for event in self.events if matches(event)), None)

        with self._changed:
            assert self._changed.wait_for(lambda: found() is not None, within_s), self.events
            event = found()
        assert event is not None
        return event

    def ended(self, id: str, within_s: float = 30.0) -> SpeechEnded:
        event = self.wait(lambda e: isinstance(e, SpeechEnded) and e.id == id, within_s)
        assert isinstance(event, SpeechEnded)
        return event

    def short(self) -> list[tuple[str, ...]]:
        """The events as tuples without their times."""
        found: list[tuple[str, ...]] = []
        for event in self.events:
            if isinstance(event, SpeechStarted):
                found.append(("started", event.id))
            elif isinstance(event, SpeechEnded):
                found.append((event.how, event.id))
            elif isinstance(event, DeviceChanged):
                found.append((event.device, event.state))
        return found


class HandDevice:
    """Asks for samples when the test says so. refuse: opening fails. `played`: all that was handed over."""

    def __init__(self) -> None:
        self.refuse = False
        self.instead = ""
        self.opened = threading.Event()
        self.openings = 0
        self.played: list[np.ndarray] = []
        self._fill: Fill | None = None
        self._ending: threading.Event | None = None

    def open(self, rate: int, fill: Fill) -> str:
        self.openings += 1
        if self.refuse:
            raise NoSuchPart("the test's loudspeaker is unplugged")
        self._fill = fill
        self.opened.set()
        return "a test device"

    def close(self) -> None:
        self._fill = None
        self.opened.clear()
        self.stop_running()

    def pump(self, frames: int) -> np.ndarray:
        assert self.opened.wait(5.0)
        assert self._fill is not None
        samples = np.frombuffer(self._fill(frames), dtype=np.int16)
        self.played.append(samples)
        return samples

    def run(self, period_s: float = 0.01) -> None:
        """Pump by itself, until `stop_running` or `close`."""
        assert self.opened.wait(5.0)
        fill, ending = self._fill, threading.Event()
        assert fill is not None
        self._ending = ending

        def loop() -> None:
            while not ending.wait(period_s):
                self.played.append(np.frombuffer(fill(round(RATE * period_s)), dtype=np.int16))

        threading.Thread(target=loop, daemon=True).start()

    def stop_running(self) -> None:
        if self._ending is not None:
            self._ending.set()


def steady(seconds: float, level: int = 1000) -> Pcm:
    """Speech as a flat line: any gap, overlap or crack shows."""
    return Pcm(np.full(round(seconds * RATE), level, np.int16), RATE)


class FlatVoice:
    """Renders "<seconds> <level>" as a flat line. `begun`: the texts in order. gate: renders wait for it."""

    name, voice, words_a_minute, rate = "flat", "test", 160, RATE

    def __init__(self) -> None:
        self.begun: list[str] = []
        self.gate = threading.Event()
        self.gate.set()
        self.fails = False
        self.closed = False

    def render(self, text: str, cancelled: Callable[[], bool] = never) -> Pcm | None:
        self.begun.append(text)
        while not self.gate.wait(0.002):
            if cancelled():
                return None
        if self.fails:
            raise VoiceFailed("the test's voice is hoarse")
        words = text.split()
        return steady(float(words[0]), int(words[1]) if len(words) > 1 else 1000)

    def set_rate(self, words_a_minute: int) -> None:
        self.words_a_minute = words_a_minute

    def close(self) -> None:
        self.closed = True
