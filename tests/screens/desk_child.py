"""A program with a pedal and terminal keys, run by the tests. It writes what is posted to the named file."""

from __future__ import annotations

import queue
import sys

from assistant.pedal.listener import PedalListener
from assistant.plans.model import PedalSettings
from assistant.screens.keys import TerminalKeys
from assistant.session.events import Event, Gesture, Leave
from tests.screens.keys_child import Clock


def main() -> None:
    events: queue.SimpleQueue[Event] = queue.SimpleQueue()
    pedal = PedalListener(Clock(), events.put, PedalSettings(), lambda: None)
    keys = TerminalKeys(Clock(), events.put, lambda: pedal.alive, "page_down", lambda: None)
    with open(sys.argv[1], "w", buffering=1) as out:
        print("begun", file=out)
        while not isinstance(event := events.get(), Leave):
            if isinstance(event, Gesture):
                print(f"{event.gesture} by {event.source}", file=out)
        print("left", file=out)
    keys.close()
    pedal.close()


if __name__ == "__main__":
    main()
