"""The tests' own input devices: described as in sysfs, read through FIFOs instead of the kernel's descriptors.

The bytes are the kernel's struct input_event, packed with the layout that python-evdev reads; requests are
recorded and answered here, because no machine of the tests has input devices.
"""

from __future__ import annotations

import errno
import os
import shutil
import struct
import time
from collections.abc import Iterable
from pathlib import Path

from evdev import ecodes

from assistant.pedal.kernel import Kernel

FORMAT = "@llHHi"  # as in python-evdev's input.c and eventio
PEDAL = (0x3553, 0xB001)


def packed(*events: tuple[int, int, int], at: float | None = None) -> bytes:
    """(type, code, value) each, and a report after them."""
    now = time.monotonic() if at is None else at
    seconds, micros = divmod(round(now * 1e6), 1_000_000)
    report = (ecodes.EV_SYN, ecodes.SYN_REPORT, 0)
    return b"".join(struct.pack(FORMAT, seconds, micros, *event) for event in (*events, report))


def words(keys: Iterable[int]) -> str:
    """As sysfs writes a bitmap: hexadecimal words, highest first, without leading zeros."""
    bits, size = sum(1 << key for key in set(keys)), 8 * struct.calcsize("@l")
    found = []
    while bits:
        found.append(f"{bits & ((1 << size) - 1):x}")
        bits >>= size
    return " ".join(reversed(found)) or "0"


class FakeKernel(Kernel):
    """requests: every ioctl as (node's name, request, argument). down: keys that are down."""

    def __init__(self, root: Path) -> None:
        super().__init__(root / "dev", root / "sys")
        (self.dev / "by-id").mkdir(parents=True)
        self.sys.mkdir()
        self.requests: list[tuple[str, int, int | bytes]] = []
        self.down: dict[str, set[int]] = {}
        self.refused: dict[str, int] = {}  # node -> errno of open
        self.busy: set[str] = set()
        self.opened: dict[int, str] = {}
        self.down_when_grabbed: list[set[int]] = []
        self._writers: dict[str, int] = {}

    def plug(
        self,
        node: str,
        keys: Iterable[int],
        name: str = "Foot Switch",
        ids: tuple[int, int] = PEDAL,
        link: str = "",
        bus: int = 3,
    ) -> None:
        folder = self.sys / node / "device"
        (folder / "id").mkdir(parents=True)
        (folder / "capabilities").mkdir()
        (folder / "name").write_text(f"{name}\n")
        (folder / "capabilities" / "key").write_text(words(keys) + "\n")
        for what, value in zip(("bustype", "vendor", "product"), (bus, *ids), strict=True):
            (folder / "id" / what).write_text(f"{value:04x}\n")
        os.mkfifo(self.dev / node)
        self.down[node] = set()
        if link:
            (self.dev / "by-id" / link).symlink_to(f"../{node}")

    def unplug(self, node: str) -> None:
        """The descriptor hangs up, and the node and its description go."""
        shutil.rmtree(self.sys / node)
        (self.dev / node).unlink()
        for link in (self.dev / "by-id").iterdir():
            if not link.exists():
                link.unlink()
        if node in self._writers:
            os.close(self._writers.pop(node))

    def send(self, node: str, *events: tuple[int, int, int], at: float | None = None) -> None:
        for kind, code, value in events:
            if kind == ecodes.EV_KEY:
                (self.down[node].add if value else self.down[node].discard)(code)
        if node not in self._writers:
            self._writers[node] = os.open(self.dev / node, os.O_WRONLY | os.O_NONBLOCK)
        os.write(self._writers[node], packed(*events, at=at))

    def key(self, node: str, code: int, value: int, at: float | None = None) -> None:
        self.send(node, (ecodes.EV_MSC, ecodes.MSC_SCAN, 0x70005), (ecodes.EV_KEY, code, value), at=at)

    def keys_at_once(self, node: str, code: int, *moves: tuple[int, float]) -> None:
        """Presses (1) and releases (0), each with its own time (s), all read together, as after a short delay."""
        os.write(self._writers[node], b"".join(packed((ecodes.EV_KEY, code, value), at=at) for value, at in moves))

    def close(self) -> None:
        for fd in self._writers.values():
            os.close(fd)
        self._writers.clear()

    def open(self, path: str) -> int:
        node = Path(path).name
        if node in self.refused:
            raise OSError(self.refused[node], os.strerror(self.refused[node]))
        fd = super().open(path)
        self.opened[fd] = node
        return fd

    def may_read(self, path: str) -> bool:
        return Path(path).name not in self.refused

    def read(self, fd: int) -> bytes:
        data = super().read(fd)
        if not data and not (self.dev / self.opened[fd]).exists():
            raise OSError(errno.ENODEV, "No such device")
        if not data:
            raise BlockingIOError
        return data

    def ioctl(self, fd: int, request: int, argument: int | bytes) -> bytes | int:
        node = self.opened[fd]
        self.requests.append((node, request, argument))
        number = request & 0xFF
        if number == 0x90 and node in self.busy:
            raise OSError(errno.EBUSY, "Device or resource busy")
        if number == 0x90 and argument:
            self.down_when_grabbed.append(set(self.down[node]))
        if number == 0x18:
            assert isinstance(argument, bytes) and request >> 16 & 0x3FFF == len(argument)
            bits = sum(1 << code for code in self.down[node])
            return bits.to_bytes(len(argument), "little")
        return 0
