"""The Linux kernel's side of an input device: its events, its requests, its keys. It needs no package.

Source of every layout and number: the kernel's user headers linux/input.h, linux/input-event-codes.h
and asm-generic/ioctl.h.
"""

from __future__ import annotations

import os
import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

EVENT = struct.Struct("@LLHHi")  # struct input_event: seconds, microseconds, type, code, value
EV_SYN, EV_KEY = 0x00, 0x01
SYN_REPORT, SYN_DROPPED = 0, 3
UP, DOWN = 0, 1  # 2 is auto-repeat
KEY_MAX = 0x2FF
# Requests are direction << 30 | size << 16 | ord("E") << 8 | number (asm-generic/ioctl.h).
EVIOCGRAB = 0x40044590
EVIOCSCLOCKID = 0x400445A0
CLOCK_MONOTONIC = 1
BUS_USB, BUS_BLUETOOTH = 0x03, 0x05
STATE_BYTES = KEY_MAX // 8 + 1
EVIOCGKEY = 0x80004518 | STATE_BYTES << 16

_ROWS = ((2, "1234567890"), (16, "qwertyuiop"), (30, "asdfghjkl"), (44, "zxcvbnm"))
_TYPING = {letter: first + n for first, row in _ROWS for n, letter in enumerate(row)}
LETTERS = frozenset(code for letter, code in _TYPING.items() if letter.isalpha())
# Ctrl, Shift, Alt and Meta on both sides, Caps Lock (58) and Num Lock (69).
MODIFIERS = frozenset((29, 42, 54, 56, 58, 69, 97, 100, 125, 126))
_EDITING = {"backspace": 14, "tab": 15, "enter": 28, "space": 57, "delete": 111}
# Three runs of numbers: KEY_F1 is 59, KEY_F11 is 87 and KEY_F13 is 183.
_FUNCTION = {f"f{n}": (58 if n <= 10 else 76 if n <= 12 else 170) + n for n in range(1, 25)}
_MOVING = {"home": 102, "up": 103, "page_up": 104, "left": 105, "right": 106, "end": 107, "down": 108, "page_down": 109}
_OTHER = {"insert": 110, "pause": 119, "menu": 127, "esc": 1, "scroll_lock": 70, "print_screen": 99}
_SOUND = {"media_volume_mute": 113, "media_volume_down": 114, "media_volume_up": 115}
_MEDIA = {"media_next": 163, "media_play_pause": 164, "media_previous": 165, "media_stop": 166}
CODES = _FUNCTION | _MOVING | _OTHER | _SOUND | _MEDIA | _TYPING | _EDITING
_NAMES = {code: name for name, code in CODES.items()}
# Keys that type or edit: the main block, the keypad, and the two extra keys on some layouts.
TYPES_TEXT = frozenset(
    {*range(2, 16), *range(16, 29), *range(30, 42), 43, *range(44, 54), 55, 57, *range(71, 84), 86, 89}
    | {96, 98, 111, 117, 121, 124}
)


def code_of(name: str) -> int | None:
    """The kernel's code of a pedal key's name, or of `<number>`, 1 to 767; None where it has none."""
    if match := re.fullmatch(r"<(\d{1,10})>", name):
        return int(match[1]) if 0 < int(match[1]) <= KEY_MAX else None
    return CODES.get(name)


def name_of_code(code: int) -> str:
    """How the shop file writes the kernel's key code."""
    return _NAMES.get(code, f"<{code}>")


@dataclass(frozen=True, slots=True)
class InputEvent:
    """One input_event. at: seconds on the clock that was set for the device."""

    at: float
    type: int
    code: int
    value: int


def events(data: bytes) -> Iterator[InputEvent]:
    """The events in the data from one read. The kernel sends whole events only; a torn last one is dropped."""
    for seconds, micros, kind, code, value in EVENT.iter_unpack(data[: len(data) // EVENT.size * EVENT.size]):
        yield InputEvent(seconds + micros / 1e6, kind, code, value)


@dataclass(frozen=True, slots=True)
class Node:
    """One /dev/input/event* as the kernel describes it to every program. link: its name in by-id, which is stable."""

    path: str
    name: str
    bus: int
    vendor: int
    product: int
    keys: frozenset[int]
    link: str = ""

    @property
    def stable(self) -> str:
        """What to write into the shop file."""
        return self.link or f"{self.vendor:04x}:{self.product:04x}"

    @property
    def has_letters(self) -> bool:
        """Whether it could be a keyboard."""
        return bool(self.keys & LETTERS)


def key_bits(text: str, word_bits: int = 8 * struct.calcsize("@L")) -> frozenset[int]:
    """The codes in sysfs's `capabilities/key`: hexadecimal words, the highest first. Raises ValueError."""
    words = [int(word, 16) for word in text.split()]
    return frozenset(
        bit + word_bits * place
        for place, word in enumerate(reversed(words))
        for bit in range(word_bits)
        if word >> bit & 1
    )


def state_bits(data: bytes) -> frozenset[int]:
    """The codes that are down, in the data that EVIOCGKEY filled in."""
    return frozenset(8 * place + bit for place, byte in enumerate(data) for bit in range(8) if byte >> bit & 1)


class Kernel:
    """Access to the devices. dev: the folder of event nodes; sys: their descriptions. All calls raise OSError."""

    def __init__(self, dev: Path = Path("/dev/input"), sys: Path = Path("/sys/class/input")) -> None:
        self.dev = dev
        self.sys = sys

    def nodes(self) -> list[Node]:
        """Every event node, in order; a node that disappears meanwhile is skipped."""
        links = {}
        # If several links point to one node, the first name counts, so it is put in last.
        for link in sorted((self.dev / "by-id").glob("*"), reverse=True):
            links[Path(os.path.realpath(link)).name] = str(link)
        found = []
        # By number: event10 comes after event9.
        for folder in sorted(self.sys.glob("event*"), key=lambda node: int("0" + node.name[5:])):
            try:
                found.append(self._node(folder, links.get(folder.name, "")))
            except (OSError, ValueError):
                continue
        return found

    def _node(self, folder: Path, link: str) -> Node:
        def text(name: str) -> str:
            return (folder / "device" / name).read_text(encoding="utf-8", errors="replace").strip()

        bus, vendor, product = (int(text(f"id/{name}"), 16) for name in ("bustype", "vendor", "product"))
        # A terminal shows the device's own name, and control characters would upset it.
        name = "".join(letter for letter in text("name") if letter.isprintable())
        return Node(str(self.dev / folder.name), name, bus, vendor, product, key_bits(text("capabilities/key")), link)

    def open(self, path: str) -> int:
        """A descriptor for reading; reads don't block."""
        return os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)

    def may_read(self, path: str) -> bool:
        """Whether this user may open it."""
        return os.access(path, os.R_OK)

    def read(self, fd: int) -> bytes:
        """The events so far, up to 64. ENODEV: unplugged."""
        return os.read(fd, 64 * EVENT.size)

    def ioctl(self, fd: int, request: int, argument: int | bytes) -> bytes | int:
        """The request itself."""
        from fcntl import ioctl

        return ioctl(fd, request, argument)

    def keys_down(self, fd: int) -> frozenset[int]:
        """Which keys are down now."""
        state = self.ioctl(fd, EVIOCGKEY, bytes(STATE_BYTES))
        return state_bits(state if isinstance(state, bytes) else b"")

    def use_monotonic(self, fd: int) -> None:
        """From now on events carry the monotonic clock's time, the clock that `time.monotonic` reads."""
        self.ioctl(fd, EVIOCSCLOCKID, struct.pack("@i", CLOCK_MONOTONIC))

    def grab(self, fd: int) -> None:
        """No other program gets this device's events until the descriptor is closed or the process ends."""
        self.ioctl(fd, EVIOCGRAB, 1)


KERNEL = Kernel()
