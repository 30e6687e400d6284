"""Who holds a connection: paired devices have room of their own, and everybody else a small share.

Anybody on the network can open connections and then say nothing, or a byte now and then. So whoever has
not shown a token has `WHOLE_S` for a whole request, and where the share is full the oldest makes room for
the newest: a browser sends its request at once, and has done with it long before its turn comes.
"""

from __future__ import annotations

import socket
import threading
import time
from collections import Counter, OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from assistant.screens.page.devices import PairedDevice
from assistant.screens.page.hub import Stream

MOST_PAIRED = 64
MOST_UNPAIRED, UNPAIRED_OF_ONE = 32, 16
REMEMBERED = 64  # addresses that paired devices came from
WHOLE_S = 10.0  # for a whole request


@dataclass(eq=False, slots=True)
class Connection:
    """One that is open.

    address: the client's. since (s): when it began to wait for a request, or to answer one. waits: for a request.
    device: the paired one that it was last asked by, None for none. stream: what it carries, if anything.
    """

    socket: socket.socket
    address: str
    since: float
    waits: bool = True
    device: PairedDevice | None = None
    stream: Stream | None = None


class Room:
    """The open connections. From any thread."""

    def __init__(self, now: Callable[[], float] = time.monotonic):
        self._now = now
        self._guard = threading.Lock()
        self._all: dict[socket.socket, Connection] = {}
        self._homes: OrderedDict[str, None] = OrderedDict()
        self._closed = False

    def __len__(self) -> int:
        return len(self._all)

    def enter(self, request: socket.socket, address: str) -> bool:
        """A place for a new connection, which counts as nobody's; False once closed."""
        with self._guard:
            if self._closed:
                return False
            unpaired = [one for one in self._all.values() if one.device is None]
            of_one = [one for one in unpaired if one.address == address]
            if len(of_one) >= UNPAIRED_OF_ONE:
                self._end(min(of_one, key=_began))
            elif len(unpaired) >= MOST_UNPAIRED:
                # Of the address that has most; one that a paired device came from only where there is no other.
                strange = [one for one in unpaired if one.address not in self._homes] or unpaired
                ((most, _),) = Counter(one.address for one in strange).most_common(1)
                self._end(min((one for one in strange if one.address == most), key=_began))
            self._all[request] = Connection(request, address, self._now())
            return True

    def begin_answer(self, request: socket.socket, device: PairedDevice | None) -> Connection | None:
        """A whole request is in, from this device. None: too late, the connection has had to go.

        Its `device` stays None where the paired ones' room is full.
        """
        with self._guard:
            one = self._all.get(request)
            if one is None:
                return None
            one.waits, one.since = False, self._now()
            if device is None:
                return one
            if one.device is not None or sum(each.device is not None for each in self._all.values()) < MOST_PAIRED:
                one.device = device
            self._homes[one.address] = None
            self._homes.move_to_end(one.address)
            if len(self._homes) > REMEMBERED:
                self._homes.popitem(last=False)
            return one

    def attach_stream(self, request: socket.socket, stream: Stream) -> None:
        """From now on the connection is this stream's, and ends with it."""
        with self._guard:
            if (one := self._all.get(request)) is not None:
                one.stream = stream
            else:
                stream.put(None)

    def forget_device(self, request: socket.socket) -> None:
        """Its device leaves, and is still to be answered."""
        with self._guard:
            if (one := self._all.get(request)) is not None:
                one.device = None

    def await_request(self, request: socket.socket) -> None:
        """The answer is out; the next request may come."""
        with self._guard:
            if (one := self._all.get(request)) is not None:
                one.waits, one.since = True, self._now()

    def remove(self, request: socket.socket) -> None:
        with self._guard:
            self._all.pop(request, None)

    def clear(self, holds: Callable[[PairedDevice], bool]) -> None:
        """End those that took too long, and those of devices that are paired no more."""
        with self._guard:
            paired = {one.device for one in self._all.values() if one.device is not None}
        revoked = {device for device in paired if not holds(device)}  # reads a file, so not under the lock
        late = self._now() - WHOLE_S
        with self._guard:
            for one in list(self._all.values()):
                if one.device in revoked or (one.since <= late and (one.waits or one.device is None)):
                    self._end(one)

    def close(self) -> None:
        """End all, and let nobody in any more."""
        with self._guard:
            self._closed = True
            for one in list(self._all.values()):
                self._end(one)

    def _end(self, one: Connection) -> None:
        """Its thread finds the socket at its end, and the stream's queue too."""
        del self._all[one.socket]
        if one.stream is not None:
            one.stream.put(None)
        with suppress(OSError):
            one.socket.shutdown(socket.SHUT_RDWR)


def _began(one: Connection) -> float:
    return one.since
