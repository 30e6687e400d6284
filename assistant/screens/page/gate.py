"""Decides which requests the server answers: only under its own names, only from its own pages, and not too often.

Another site's page can make its name point at this machine (DNS rebinding), with Host and Origin that match each other.
So Host is checked against a list of this machine's own names, never against Origin alone.
"""

from __future__ import annotations

import ipaddress
import socket
import struct
import sys
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress

REMEMBERED = 256  # names whose bucket is kept
SIOCGIFADDR = 0x8915  # netdevice(7): the first address of an interface


def own_names(lan: bool) -> frozenset[str]:
    """The names, without port, that this machine may be called; its addresses come from each connection."""
    names = {"localhost"}
    if lan:
        own = socket.gethostname().lower()
        names |= {own, f"{own.partition('.')[0]}.local"}
    return frozenset(name for name in names if name)


def is_own_host(values: Sequence[str], names: frozenset[str], address: str, port: int) -> bool:
    """Whether the Host header (all its values) is one name or the address that was connected to, with our port."""
    if len(values) != 1:
        return False
    name, colon, number = values[0].strip().lower().rpartition(":")
    if not colon or number != str(port):
        # Browsers leave out a port of 80.
        return port == 80 and values[0].strip().lower() in names | {address}
    return name in names or name == address


def is_own_origin(values: Sequence[str], host: str) -> bool:
    """Whether the Origin header (all its values) is this server's, as called by `host`."""
    return len(values) == 1 and values[0].strip().lower() == f"http://{host.strip().lower()}"


def is_at_home(address: str) -> bool:
    """Whether a client's address is in a home network or is this machine's. The server answers no other."""
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    mapped = getattr(ip, "ipv4_mapped", None)
    ip = mapped or ip
    return ip.is_loopback or ip.is_link_local or ip.is_private


def home_address() -> str:
    """The address of this machine in its network, as other devices call it; 127.0.0.1 where it has none.

    Connecting a datagram socket sends nothing: it asks the system which way it would go. The
    address asked for is of the documentation block of RFC 5737.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def home_addresses() -> tuple[str, ...]:
    """All IPv4 addresses by which other devices may call this machine, `home_address` first; none on loopback.

    If an interface has several, the system may report only the first.
    """
    found = dict.fromkeys((home_address(), *_addresses()))
    return tuple(address for address in found if not ipaddress.ip_address(address).is_loopback)


def _addresses() -> Iterator[str]:
    if sys.platform != "linux":
        with suppress(OSError):
            yield from socket.gethostbyname_ex(socket.gethostname())[2]
        return
    import fcntl

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for _, name in socket.if_nameindex():
            with suppress(OSError):  # an interface without an address
                # struct ifreq: 16 bytes for the name, then a sockaddr_in, with the address 4 bytes from its beginning.
                answer = fcntl.ioctl(probe, SIOCGIFADDR, struct.pack("40s", name.encode()))
                yield socket.inet_ntoa(answer[20:24])


def is_home_address(text: str) -> bool:
    """Whether this is an IPv4 address of this machine, not on loopback. The test is to use the address."""
    try:
        address = ipaddress.IPv4Address(text)
    except ValueError:
        return False
    if address.is_loopback or address.is_unspecified or address.is_multicast:
        return False
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.bind((text, 0))
            probe.connect((text, 9))  # sends nothing, and is refused for a network's broadcast address
        except OSError:
            return False
    return True


class Rates:
    """A bucket of `burst` for each name, refilled at `each_s` per second. Callable from any thread."""

    def __init__(self, each_s: float, burst: float, now: Callable[[], float] = time.monotonic):
        self._each_s, self._burst, self._now = each_s, burst, now
        self._guard = threading.Lock()
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def allow(self, name: str) -> bool:
        """Take one from the bucket; False if it is empty. The names unseen for longest are forgotten."""
        now = self._now()
        with self._guard:
            held, at = self._buckets.pop(name, (self._burst, now))
            held = min(self._burst, held + (now - at) * self._each_s)
            allowed = held >= 1
            self._buckets[name] = (held - 1 if allowed else held, now)
            if len(self._buckets) > REMEMBERED:
                self._buckets.popitem(last=False)
        return allowed
