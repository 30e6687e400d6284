"""A real input device, made by the kernel, heard and grabbed: `python -m tests.pedal.uinput_check`.

It needs /dev/uinput (`modprobe uinput`), the right to write to it and to read /dev/input, and python-evdev.
It is not part of the suite: machines that run the suite have no such device, and a skipped test fails there.
Exit code 0: every step as said; 1: a step failed; 3: it could not be run, and why.
"""

from __future__ import annotations

import contextlib
import os
import queue
import sys
import time
from typing import Any

from assistant.errors import NoSuchPart
from assistant.pedal.kernel import KERNEL
from assistant.pedal.listener import PedalListener
from assistant.plans.model import PedalSettings
from assistant.runner.clock import LiveClock
from assistant.session.events import Event
from tests.pedal.xserver import wait_for

NAME = "Kerfcall check pedal"
SETTINGS = PedalSettings(key="b", device=NAME)


def plug() -> Any:
    """A device with the letter b and F13, as the kernel sees a plugged-in pedal."""
    from evdev import UInput, ecodes

    device = UInput({ecodes.EV_KEY: [ecodes.KEY_B, ecodes.KEY_F13]}, name=NAME, vendor=0x1209, product=0x0001)
    wait_for(lambda: any(node.name == NAME and KERNEL.may_read(node.path) for node in KERNEL.nodes()))
    return device


def move(device: Any, value: int) -> None:
    from evdev import ecodes

    device.write(ecodes.EV_KEY, ecodes.KEY_B, value)
    device.syn()


def press(device: Any, down_s: float) -> None:
    move(device, 1)
    time.sleep(down_s)
    move(device, 0)


def expect(events: queue.SimpleQueue[Event], what: str) -> None:
    event = events.get(timeout=8)
    got = getattr(event, "gesture", None) or getattr(event, "state", None)
    print(f"{what:<8} {'as said' if got == what else f'FAILED: {event}'}")
    if got != what:
        raise SystemExit(1)


def grabbed() -> None:
    """No other reader can grab it, and none gets its events."""
    try:
        PedalListener(LiveClock(), lambda event: None, SETTINGS, lambda: None).close()
    except NoSuchPart as error:
        print(f"grabbed  {'as said' if 'another program' in str(error) else f'FAILED: {error}'}")
        return
    print("grabbed  FAILED: a second listener got it too")
    raise SystemExit(1)


def run() -> None:
    device = plug()
    events: queue.SimpleQueue[Event] = queue.SimpleQueue()
    listener = PedalListener(LiveClock(), events.put, SETTINGS, lambda: None)
    try:
        press(device, 0.05)
        expect(events, "tap")
        press(device, 0.05)
        press(device, 0.05)
        expect(events, "double")
        press(device, 1.5)  # the kernel's own auto-repeat runs meanwhile
        expect(events, "hold")
        grabbed()
        device.close()
        expect(events, "lost")
        device = plug()
        expect(events, "works")
        press(device, 0.05)
        expect(events, "tap")
    finally:
        listener.close()
        with contextlib.suppress(OSError):
            device.close()


def main() -> int:
    if not os.access("/dev/uinput", os.W_OK):
        print("Not run: /dev/uinput is not there or may not be written (`sudo modprobe uinput`).", file=sys.stderr)
        return 3
    run()
    return 0


if __name__ == "__main__":
    sys.exit(main())
