"""Reads the pedal's own device from the kernel and grabs it: the same contract as for keys heard through the display.

A thread waits for events and hands them on with the kernel's own times. The grab ends when the descriptor is closed, so
it also ends when the process dies.
"""

from __future__ import annotations

import contextlib
import errno
import os
import select
import threading
import time
from collections.abc import Callable, Iterator, Sequence

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
    InputEvent,
    Kernel,
    Node,
    events,
)
from assistant.pedal.moves import KeyMove
from assistant.pedal.watch import REPLACED_BY

RELEASED_WITHIN_S = 1.0
"""If the key is down when the device is opened, wait this long before grabbing the device anyway."""
OnMove = Callable[[KeyMove, int, Node, float], None]
"""on_move(move, code, node, at); for dropped events the code is 0."""


class Reader:
    """Kernel events of one node -> moves of its keys. Pure.

    A key that was down earlier, or while events were lost, means nothing until it is pressed again. Nobody knows when
    it went down, and a press that seems too long could become a long press, which confirms.
    """

    def __init__(self) -> None:
        self._down: set[int] = set()  # presses that were seen, and whose releases were not
        self._lost = False

    def moves(self, event: InputEvent) -> Iterator[tuple[KeyMove, int, float]]:
        """The moves that this event causes: (move, code, at)."""
        if event.type == EV_SYN and event.code == SYN_DROPPED:
            self._lost = True
        elif self._lost:
            # Everything up to the next report is left over from the lost events.
            if event.type == EV_SYN and event.code == SYN_REPORT:
                self._lost = False
                self._down.clear()
                yield KeyMove.DROP, 0, event.at
        elif event.type == EV_KEY and event.value == DOWN:
            if event.code in self._down:  # auto-repeat has a value of its own, so a release was lost
                yield KeyMove.DROP, 0, event.at
            self._down.add(event.code)
            yield KeyMove.PRESS, event.code, event.at
        elif event.type == EV_KEY and event.value == UP and event.code in self._down:
            self._down.discard(event.code)
            yield KeyMove.RELEASE, event.code, event.at


class DeviceWatch:
    """Hears the keys of these nodes until `close`, or until one node is unplugged.

    on_move: called on the watch's thread, must be short; `at` is on `time.monotonic`'s clock. on_end: called once.
    """

    def __init__(
        self,
        nodes: Sequence[Node],
        on_move: OnMove,
        on_end: Callable[[], None],
        kernel: Kernel = KERNEL,
        grab: bool = True,
    ) -> None:
        """Opens the nodes and, with `grab`, grabs them. Raises NoSuchPart: missing, not allowed, or taken."""
        self._kernel = kernel
        self._nodes = tuple(nodes)
        self._on_move = on_move
        self._on_end = on_end
        self._open: dict[int, tuple[Node, Reader]] = {}
        self._closing = threading.Event()
        self._wake_read, self._wake_write = os.pipe()  # `close` writes to it, which wakes the poll below
        self.lost = f"The pedal is not heard any more: {nodes[0].name} was unplugged; {REPLACED_BY}."
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
                # A key that is grabbed while down would stay down, and repeat, for every other program.
                end = time.monotonic() + RELEASED_WITHIN_S
                while kernel.keys_down(fd) and time.monotonic() < end:
                    time.sleep(0.01)
                kernel.grab(fd)
            # Events that came before the clock was set carry another clock's times.
            with contextlib.suppress(BlockingIOError):
                while kernel.read(fd):
                    pass
            self._open[fd] = node, Reader()
        except OSError as error:
            if fd >= 0:
                os.close(fd)
            raise NoSuchPart(f"The pedal is not heard: {_reason(error, node)}.") from error

    @property
    def alive(self) -> bool:
        """Whether every node can be heard."""
        return self._thread.is_alive() and not self._closing.is_set()

    def is_down(self, code: int) -> bool | None:
        """Whether the kernel says that this key is down on any of the nodes; None where it can't be read.

        Read through a descriptor of its own, because the request discards the events waiting on the descriptor it uses.
        """
        try:
            for node in self._nodes:
                fd = self._kernel.open(node.path)
                try:
                    if code in self._kernel.keys_down(fd):
                        return True
                finally:
                    os.close(fd)
        except OSError:
            return None
        return False

    def close(self) -> None:
        """Release the device and stop hearing it. Returns within a second."""
        self._closing.set()
        # The thread may have ended by itself and closed the pipe.
        with contextlib.suppress(OSError):
            os.write(self._wake_write, b"x")
        if threading.current_thread() is not self._thread:
            self._thread.join(1.0)

    def _run(self) -> None:
        try:
            poll = select.poll()
            for fd in (*self._open, self._wake_read):
                poll.register(fd, select.POLLIN)
            gone = False
            while not (gone or self._closing.is_set()):
                gone = not all(self._read(fd) for fd, _ in poll.poll() if fd != self._wake_read)
        finally:
            self._closing.set()
            self._let_go()
            with contextlib.suppress(Exception):
                self._on_end()

    def _read(self, fd: int) -> bool:
        """Hand on what has come. False: the device is gone."""
        node, reader = self._open[fd]
        try:
            data = self._kernel.read(fd)
        except BlockingIOError:
            return True
        except OSError:
            return False
        for event in events(data):
            for move, code, at in reader.moves(event):
                with contextlib.suppress(Exception):  # a fault in the callback must not end the pedal's thread
                    self._on_move(move, code, node, at)
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
            f"another program has grabbed {node.name}; {REPLACED_BY}. To fix it: end that program "
            "(a key remapper, or another session)"
        )
    if error.errno in (errno.ENODEV, errno.ENOENT, errno.ENXIO):
        return f"{node.name} is not plugged in; {REPLACED_BY}. To fix it: plug it in"
    return f"{node.name} can't be read ({error.strerror}); {REPLACED_BY}. To fix it: plug it in again"
