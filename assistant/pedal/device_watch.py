"""The pedal's own device, read from the kernel and grabbed: the same contract as the display's keys.

A thread waits for events and hands them on with the kernel's own times. The grab ends when the descriptor is closed,
so also when the process dies.
"""

from __future__ import annotations

import contextlib
import errno
import os
import select
import threading
import time
from collections.abc import Callable, Sequence

from assistant.errors import NoSuchPart
from assistant.pedal.devices import no_permission
from assistant.pedal.kernel import (
    DOWN,
    EV_KEY,
    EV_SYN,
    KERNEL,
    SYN_DROPPED,
    SYN_REPORT,
    UP,
    Event,
    Kernel,
    Node,
    events,
)
from assistant.pedal.watch import STANDS_IN

RELEASED_WITHIN_S = 1.0
# on_move(kind, code, node, at): kind = press | release | drop (events were lost: what is in progress is unknown).
Move = Callable[[str, int, Node, float], None]


class Reader:
    """Kernel events of one node -> moves of its keys. Pure.

    A key that was down before, or while events were lost, means nothing until it is pressed again: when it
    went down is not known, and a press too long by that could become a hold, which confirms.
    """

    def __init__(self) -> None:
        self._down: set[int] = set()  # presses that were seen, and whose release was not
        self._lost = False

    def take(self, event: Event) -> list[tuple[str, int, float]]:
        """The moves that this event makes: (press | release | drop, code, at)."""
        if event.type == EV_SYN and event.code == SYN_DROPPED:
            self._lost = True
            return []
        if self._lost:
            return self._after_loss(event)
        if event.type != EV_KEY or event.value not in (UP, DOWN):  # auto-repeat is value 2
            return []
        return self._key(event)

    def _key(self, event: Event) -> list[tuple[str, int, float]]:
        was = event.code in self._down
        if event.value == DOWN:
            self._down.add(event.code)
            lost = [("drop", 0, event.at)] if was else []  # auto-repeat has a value of its own
            return [*lost, ("press", event.code, event.at)]
        self._down.discard(event.code)
        return [("release", event.code, event.at)] if was else []

    def _after_loss(self, event: Event) -> list[tuple[str, int, float]]:
        """Events up to the next report are of the lost ones."""
        if event.type != EV_SYN or event.code != SYN_REPORT:
            return []
        self._lost = False
        self._down.clear()
        return [("drop", 0, event.at)]


class DeviceWatch:
    """Hears the keys of these nodes until `close`, or until one of them is unplugged.

    on_move: on the watch's thread, must be short; `at` is on `time.monotonic`'s clock. on_end: once, at the end.
    """

    def __init__(
        self,
        nodes: Sequence[Node],
        on_move: Move,
        on_end: Callable[[], None],
        kernel: Kernel = KERNEL,
        grab: bool = True,
    ) -> None:
        """Opens and, with `grab`, takes the nodes for itself. Raises NoSuchPart: not there, not allowed, taken."""
        self._kernel = kernel
        self._nodes = tuple(nodes)
        self._on_move = on_move
        self._on_end = on_end
        self._open: dict[int, tuple[Node, Reader]] = {}
        self._closing = threading.Event()
        self._wake_read, self._wake_write = os.pipe()
        self.lost = f"The pedal is not heard any more: {nodes[0].name} was unplugged; {STANDS_IN}."
        try:
            for node in nodes:
                self._add(node, grab)
        except BaseException:
            self._let_go()
            raise
        self._thread = threading.Thread(target=self._run, name="pedal device", daemon=True)
        self._thread.start()

    def _add(self, node: Node, grab: bool) -> None:
        kernel = self._kernel
        fd = -1
        try:
            fd = kernel.open(node.path)
            kernel.use_monotonic(fd)
            if grab:
                self._wait_until_up(fd)
                kernel.grab(fd)
            self._drain(fd)
            self._open[fd] = node, Reader()
        except OSError as error:
            if fd >= 0:
                os.close(fd)
            raise NoSuchPart(f"The pedal is not heard: {_reason(error, node)}.") from error

    def _wait_until_up(self, fd: int) -> None:
        """A key grabbed while it is down would stay down, and repeat, for everybody else."""
        end = time.monotonic() + RELEASED_WITHIN_S
        while self._kernel.keys_down(fd) and time.monotonic() < end:
            time.sleep(0.01)

    def _drain(self, fd: int) -> None:
        """What came before the clock was set has another clock's times."""
        with contextlib.suppress(BlockingIOError):
            while self._kernel.read(fd):
                pass

    @property
    def alive(self) -> bool:
        """Whether every node is being heard."""
        return self._thread.is_alive() and not self._closing.is_set()

    def is_down(self, code: int) -> bool | None:
        """Whether the kernel has this key down on any of the nodes; None where it can't be read.

        Read through a descriptor of its own: the request drops the events that wait on the one it is made on.
        """
        try:
            return any(code in self._read_level(node) for node in self._nodes)
        except OSError:
            return None

    def _read_level(self, node: Node) -> frozenset[int]:
        fd = self._kernel.open(node.path)
        try:
            return self._kernel.keys_down(fd)
        finally:
            os.close(fd)

    def close(self) -> None:
        """Give the device back and hear nothing more. Returns within a second."""
        self._closing.set()
        with contextlib.suppress(OSError):
            os.write(self._wake_write, b"x")
        if threading.current_thread() is not self._thread:
            self._thread.join(1.0)

    def _run(self) -> None:
        try:
            self._listen()
        finally:
            self._closing.set()
            self._let_go()
            with contextlib.suppress(Exception):
                self._on_end()

    def _listen(self) -> None:
        poll = select.poll()
        for fd in (*self._open, self._wake_read):
            poll.register(fd, select.POLLIN)
        while not self._closing.is_set():
            for fd, _ in poll.poll():
                if fd != self._wake_read and not self._read(fd):
                    return

    def _read(self, fd: int) -> bool:
        """False: the device is gone."""
        node, reader = self._open[fd]
        try:
            data = self._kernel.read(fd)
            moves = [move for event in events(data) for move in reader.take(event)]
        except BlockingIOError:
            return True
        except OSError:
            return False
        for kind, code, at in moves:
            with contextlib.suppress(Exception):  # a fault in the callback must not end the pedal
                self._on_move(kind, code, node, at)
        return bool(data)

    def _let_go(self) -> None:
        for fd in (*self._open, self._wake_read, self._wake_write):
            with contextlib.suppress(OSError):
                os.close(fd)
        self._open.clear()


def _reason(error: OSError, node: Node) -> str:
    if error.errno in (errno.EACCES, errno.EPERM):
        return no_permission(node)
    if error.errno == errno.EBUSY:
        return (
            f"another program has taken {node.name} for itself; {STANDS_IN}. To mend it: end that program "
            "(a key remapper, or another session)"
        )
    if error.errno in (errno.ENODEV, errno.ENOENT, errno.ENXIO):
        return f"{node.name} is not plugged in; {STANDS_IN}. To mend it: plug it in"
    return f"{node.name} can't be read ({error.strerror}); {STANDS_IN}. To mend it: plug it in again"
