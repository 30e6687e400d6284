"""A program with terminal keys, run by the tests in a separate terminal. It prints what is posted.

Arguments: whether a pedal listener is alive (yes | no), then how to end after "q":
close | raise | exit; then "moves", if a driven carriage moves until the first halt, or "notes", with the notes of what
went wrong in a session that has not begun.
"""

from __future__ import annotations

import queue
import sys
import time
from typing import Any

from assistant.screens.keys import TerminalKeys
from assistant.screens.mishap_note import MishapNote
from assistant.session.events import Event, Gesture, Heard, Leave
from assistant.session.state import State


class Clock:
    def at(self) -> float:
        return time.monotonic()

    def utc(self) -> str:
        return "2026-01-01T00:00:00.000Z"


class Screen:
    def note(self, text: str, for_s: float | None = None) -> None:
        print(text, flush=True)

    def withdraw(self, text: str) -> None:
        print("withdrawn", flush=True)


def main() -> None:
    alive, end = sys.argv[1] == "yes", sys.argv[2]
    events: queue.SimpleQueue[Event] = queue.SimpleQueue()
    moving = sys.argv[3:] == ["moves"]

    def halted() -> bool:
        nonlocal moving
        was, moving = moving, False
        print("halt" if was else "nothing moves", flush=True)
        return was

    def click() -> None:
        print("click", flush=True)

    more: dict[str, Any] = {"halted_by_key": halted} if moving else {}
    if sys.argv[3:] == ["notes"]:
        more = {"mishaps": MishapNote(State, Screen())}  # type: ignore[arg-type]
    keys = TerminalKeys(Clock(), events.put, lambda: alive, "page_down", click, **more)
    print("begun", flush=True)
    while True:
        try:
            # As in the live loop: another thread may have received the signal, but its handler runs in this thread.
            event = events.get(timeout=0.2)
        except queue.Empty:
            continue
        if isinstance(event, Gesture):
            print(f"gesture {event.gesture} {event.source}", flush=True)
        elif isinstance(event, Heard):
            print(f"heard {event.intent} {event.argument} {event.generation} {event.source}", flush=True)
        elif isinstance(event, Leave):
            print("leave", flush=True)
            break
    if end == "raise":
        raise RuntimeError("an end by an exception")
    if end == "stay":
        time.sleep(60)
    if end == "close":
        keys.close()
    print("ended", flush=True)


if __name__ == "__main__":
    main()
