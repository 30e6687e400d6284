"""Limits connections: paired devices have a reserved share, and all other clients together a small one.

Anyone on the network can open connections and then send nothing, or a byte now and then. So a client that has shown no
token has `WHOLE_S` to send a whole request. When the small share is full, the oldest connection makes room for the
newest. A browser sends its request at once, so it is finished long before its connection is the oldest.
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
    """An open connection.

    address: the client's. since (s): when it began to wait for a request, or to answer one. waits: whether it waits for
    a request. device: the paired device of its last request, None if there was none. stream: what it carries, if any.
    """

    socket: socket.socket
    address: str
    since: float
    waits: bool = True
    device: PairedDevice | None = None
    stream: Stream | None = None


class Connections:
    """The open connections. Callable from any thread."""

    def __init__(self, now: Callable[[], float] = time.monotonic):
        self._now = now
        self._guard = threading.Lock()
        self._all: dict[socket.socket, Connection] = {}
        self._homes: OrderedDict[str, None] = OrderedDict()
        self._closed = False

    def __len__(self) -> int:
        return len(self._all)

    def enter(self, request: socket.socket, address: str) -> bool:
        """Make a place for a new connection, unpaired until a token comes. False once closed."""
        with self._guard:
            if self._closed:
                return False
            unpaired = [one for one in self._all.values() if one.device is None]
            of_one = [one for one in unpaired if one.address == address]
            if len(of_one) >= UNPAIRED_OF_ONE:
                self._end(min(of_one, key=_began))
            elif len(unpaired) >= MOST_UNPAIRED:
                # End one of the address that has the most. Spare a paired device's address if there is any other.
                strange = [one for one in unpaired if one.address not in self._homes] or unpaired
                ((most, _),) = Counter(one.address for one in strange).most_common(1)
                self._end(min((one for one in strange if one.address == most), key=_began))
            self._all[request] = Connection(request, address, self._now())
            return True

    def begin_answer(self, request: socket.socket, device: PairedDevice | None) -> Connection | None:
        """A whole request has come from this device. None: too late, the connection was already ended.

        Its `device` stays None if the paired devices' share is full.
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
        """From now on the connection carries this stream, and ends with it."""
        with self._guard:
            if (one := self._all.get(request)) is not None:
                one.stream = stream
            else:
                # The connection was ended before it had this stream to end with it.
                stream.put(None)

    def forget_device(self, request: socket.socket) -> None:
        """Its device is leaving; the connection must last until the answer is out."""
        with self._guard:
            if (one := self._all.get(request)) is not None:
                one.device = None

    def await_request(self, request: socket.socket) -> None:
        """The answer is out; the next request can come."""
        with self._guard:
            if (one := self._all.get(request)) is not None:
                one.waits, one.since = True, self._now()

    def remove(self, request: socket.socket) -> None:
        with self._guard:
            self._all.pop(request, None)

    def clear(self, holds: Callable[[PairedDevice], bool]) -> None:
        """End connections that took too long, and those of devices that are no longer paired."""
        with self._guard:
            paired = {one.device for one in self._all.values() if one.device is not None}
        revoked = {device for device in paired if not holds(device)}  # reads a file, so not under the lock
        late = self._now() - WHOLE_S
        with self._guard:
            for one in list(self._all.values()):
                if one.device in revoked or (one.since <= late and (one.waits or one.device is None)):
                    self._end(one)

    def close(self) -> None:
        """End all connections, and accept no more."""
        with self._guard:
            self._closed = True
            for one in list(self._all.values()):
                self._end(one)

    def _end(self, one: Connection) -> None:
        """Its thread then reads the end of the socket, and the end of the stream's queue."""
        del self._all[one.socket]
        if one.stream is not None:
            one.stream.put(None)
        with suppress(OSError):
            one.socket.shutdown(socket.SHUT_RDWR)


def _began(one: Connection) -> float:
    return one.since
