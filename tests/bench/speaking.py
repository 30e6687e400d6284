"""How soon an announcement and a click reach the device, against the floor of this very run.

Floor: the device's own period as measured, and a bare render by the voice. The device is the sound
library's null backend: it asks in real time and plays to nobody, so these are the program's delays,
without those of a sound card. Run: python -m tests.bench.speaking
"""

from __future__ import annotations

import random
import statistics
import sys
import time

import numpy as np

from assistant.plans.model import VoiceSettings
from assistant.runner.clock import LiveClock
from assistant.session.events import SpeechStarted
from assistant.speaking.choose import choose_engine
from assistant.speaking.device import Fill, MiniaudioDevice
from assistant.speaking.speaker import LiveSpeaker
from tests.speaking.stand_ins import PHRASES, Posted

ROUNDS = 100
# Each as a multiple of its floor; the goal in absolutes is 30 ms.
MOST_PERIODS = 3.0
MOST_OF_RENDER_AND_PERIOD = 3.0
LOUD = 4000


def p95(values: list[float]) -> float:
    return sorted(values)[int(0.95 * (len(values) - 1))]


def line(name: str, values: list[float]) -> None:
    print(f"{name:42} median {statistics.median(values) * 1e3:7.2f} ms   p95 {p95(values) * 1e3:7.2f} ms")


class WatchedDevice(MiniaudioDevice):
    """The null device, with a note of when it asked and when it got something loud."""

    def __init__(self) -> None:
        import miniaudio

        super().__init__(allow_null=True, backends=[miniaudio.Backend.NULL])
        self.asked: list[float] = []
        self.loud: list[float] = []

    def open(self, rate: int, fill: Fill) -> str:
        def watched(frames: int) -> bytes:
            data = fill(frames)
            now = time.monotonic()
            self.asked.append(now)
            if np.abs(np.frombuffer(data, np.int16).astype(np.int32)).max(initial=0) > LOUD:
                self.loud.append(now)
            return data

        return super().open(rate, watched)


def started_after(speaker: LiveSpeaker, posted: Posted, clock: LiveClock, id: str, text: str) -> float:
    # Anywhere within the device's period, as a foot is.
    time.sleep(random.random() * 0.02)
    asked = clock.at()
    speaker.say(id, text, True)
    return posted.wait(lambda event: isinstance(event, SpeechStarted) and event.id == id).at - asked


def wait_until_ready(speaker: LiveSpeaker, texts: list[str]) -> None:
    while speaker.state == "opening" or any(speaker._renderer.ready(text) is None for text in texts):
        time.sleep(0.005)


def bare_renders(texts: list[str]) -> list[float]:
    engine = choose_engine(VoiceSettings()).engine
    taken = []
    for text in texts:
        began = time.monotonic()
        engine.render(text)
        taken.append(time.monotonic() - began)
    return taken


def clicks(speaker: LiveSpeaker, device: WatchedDevice) -> list[float]:
    speaker.say("nothing", "", True)  # cuts off what still sounds
    taken = []
    for n in range(ROUNDS):
        time.sleep(0.03 + 0.0007 * (n % 10))
        seen = len(device.loud)
        pressed = time.monotonic()
        speaker.click()
        while len(device.loud) == seen:
            time.sleep(0.0005)
        taken.append(device.loud[seen] - pressed)
    return taken


def main() -> int:
    """Print the figures. Returns 1 when a ratio is over its limit."""
    clock, posted, device = LiveClock(), Posted(), WatchedDevice()
    speaker = LiveSpeaker(clock, posted, VoiceSettings(), device=device)
    known = list(PHRASES)
    speaker.prepare(known)
    wait_until_ready(speaker, known)
    new = [f"set {text}, number {n}" for n, text in enumerate(PHRASES * (ROUNDS // len(PHRASES) + 1))][:ROUNDS]
    cached = [started_after(speaker, posted, clock, f"c{n}", known[n % len(known)]) for n in range(ROUNDS)]
    uncached = [started_after(speaker, posted, clock, f"u{n}", text) for n, text in enumerate(new)]
    clicked = clicks(speaker, device)
    speaker.close()
    periods = [after - before for before, after in zip(device.asked, device.asked[1:], strict=False)]
    bare = bare_renders(new)

    print(speaker.line)
    line("floor: the device's period", periods)
    line("floor: bare render", bare)
    line("say() to first sample, cached", cached)
    line("say() to first sample, not cached", uncached)
    line("click() to the period that carries it", clicked)
    ratios = {
        "cached / period": (p95(cached) / p95(periods), MOST_PERIODS),
        "click / period": (p95(clicked) / p95(periods), MOST_PERIODS),
        "not cached / (bare render + period)": (
            p95(uncached) / (p95(bare) + p95(periods)),
            MOST_OF_RENDER_AND_PERIOD,
        ),
    }
    for name, (ratio, most) in ratios.items():
        print(f"{name:42} {ratio:.2f} (at most {most:g})")
    return int(any(ratio > most for ratio, most in ratios.values()))


if __name__ == "__main__":
    sys.exit(main())
