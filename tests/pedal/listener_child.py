"""A program with a pedal, run by the tests in a separate process. It prints each gesture."""

from __future__ import annotations

import queue
import time

from assistant.pedal.listener import PedalListener
from assistant.plans.model import PedalSettings
from assistant.runner.clock import LiveClock
from assistant.session.events import Event, Gesture


def main() -> None:
    events: queue.SimpleQueue[Event] = queue.SimpleQueue()
    PedalListener(LiveClock(), events.put, PedalSettings(), lambda: None)
    time.sleep(0.3)
    print("begun", flush=True)
    while True:
        event = events.get()
        print(event.gesture if isinstance(event, Gesture) else event, flush=True)


if __name__ == "__main__":
    main()
