"""Who holds a connection of the page's server, with the test's own clock and real sockets."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from assistant.screens.page.devices import PairedDevice
from assistant.screens.page.hub import Stream
from assistant.screens.page.room import MOST_PAIRED, MOST_UNPAIRED, UNPAIRED_OF_ONE, WHOLE_S, Connections

PHONE, TABLET = (PairedDevice(str(n), name, f"{n:064}", "", "") for n, name in enumerate(("phone", "tablet"), 1))


class Bench:
    def __init__(self) -> None:
        self.now = 0.0
        self.room = Connections(lambda: self.now)
        self.ends: dict[socket.socket, socket.socket] = {}

    def enter(self, address: str) -> socket.socket:
        """A connection that began 10 ms after the previous one."""
        self.now += 0.01
        here, there = socket.socketpair()
        there.setblocking(False)
        self.ends[here] = there
        assert self.room.enter(here, address)
        return here

    def paired(self, address: str = "192.168.1.9", device: PairedDevice = TABLET) -> socket.socket:
        here = self.enter(address)
        self.room.begin_answer(here, device)
        return here

    def is_open(self, here: socket.socket) -> bool:
        try:
            return self.ends[here].recv(1) != b""
        except BlockingIOError:
            return True

    def clear(self, *held: PairedDevice) -> None:
        self.room.clear(lambda device: device in held)


@pytest.fixture
def bench() -> Iterator[Bench]:
    bench = Bench()
    yield bench
    for pair in bench.ends.items():
        for each in pair:
            each.close()


def test_the_oldest_of_an_address_makes_room(bench: Bench) -> None:
    first, second = bench.enter("10.0.0.1"), bench.enter("10.0.0.1")
    other = bench.enter("10.0.0.2")
    for _ in range(UNPAIRED_OF_ONE - 1):
        bench.enter("10.0.0.1")
    assert [bench.is_open(one) for one in (first, second, other)] == [False, True, True]


def test_the_address_with_the_most_connections_makes_room(bench: Bench) -> None:
    most = [bench.enter("10.0.0.1") for _ in range(2)]
    others = [bench.enter(f"10.0.1.{n}") for n in range(MOST_UNPAIRED - 2)]
    new = bench.enter("10.0.2.1")
    assert [bench.is_open(one) for one in (*most, *others, new)] == [False, *[True] * MOST_UNPAIRED]


def test_no_number_of_strange_addresses_ends_a_paired_devices_connection(bench: Bench) -> None:
    bench.paired("192.168.1.9")
    fresh = bench.enter("192.168.1.9")
    for n in range(1000):
        bench.enter(f"10.0.{n % 250}.{n // 250}")
    assert bench.is_open(fresh)
    assert len(bench.room) == MOST_UNPAIRED + 1


def test_a_connection_just_answered_is_not_the_oldest(bench: Bench) -> None:
    first, second = bench.enter("10.0.0.1"), bench.enter("10.0.0.1")
    bench.now += 1
    bench.room.begin_answer(first, None)
    bench.room.await_request(first)
    for _ in range(UNPAIRED_OF_ONE - 1):
        bench.enter("10.0.0.1")
    assert [bench.is_open(one) for one in (first, second)] == [True, False]


def test_paired_devices_have_a_reserved_share_and_it_is_limited(bench: Bench) -> None:
    for _ in range(MOST_UNPAIRED):
        bench.enter("10.0.0.1")
    paired = [bench.paired() for _ in range(MOST_PAIRED)]
    assert all(bench.is_open(one) for one in paired)
    more = bench.room.begin_answer(bench.enter("192.168.1.9"), TABLET)
    assert more is not None and more.device is None
    bench.room.remove(paired[0])
    assert bench.room.begin_answer(more.socket, TABLET) is more and more.device == TABLET


def test_a_request_that_took_too_long_is_not_answered(bench: Bench) -> None:
    slow, quick = bench.enter("10.0.0.1"), bench.enter("10.0.0.1")
    bench.now = WHOLE_S
    bench.clear()
    assert bench.is_open(slow)
    bench.now = WHOLE_S + 0.015
    bench.clear()
    assert [bench.is_open(one) for one in (slow, quick)] == [False, True]
    assert bench.room.begin_answer(slow, TABLET) is None


def test_an_unpaired_answer_that_nobody_reads_ends_and_a_paired_ones_goes_on(bench: Bench) -> None:
    stranger, page = bench.enter("10.0.0.1"), bench.paired()
    bench.room.begin_answer(stranger, None)
    bench.now += WHOLE_S + 1
    bench.clear(TABLET)
    assert [bench.is_open(one) for one in (stranger, page)] == [False, True]
    bench.room.await_request(page)
    bench.now += WHOLE_S + 1
    bench.clear(TABLET)
    assert not bench.is_open(page)


def test_a_revoked_devices_connections_end_and_their_streams(bench: Bench) -> None:
    gone, kept = bench.paired(device=PHONE), bench.paired(device=TABLET)
    stream = Stream(PHONE.id)
    bench.room.attach_stream(gone, stream)
    bench.clear(TABLET)
    assert [bench.is_open(one) for one in (gone, kept)] == [False, True]
    assert stream.queue.get_nowait() is None
    late = Stream(PHONE.id)
    bench.room.attach_stream(gone, late)
    assert late.queue.get_nowait() is None


def test_a_device_that_leaves_is_still_answered(bench: Bench) -> None:
    leaving = bench.paired(device=PHONE)
    bench.room.forget_device(leaving)
    bench.clear()
    assert bench.is_open(leaving)


def test_closing_ends_every_connection_and_accepts_no_more(bench: Bench) -> None:
    all_ = [bench.enter("10.0.0.1"), bench.paired()]
    bench.room.close()
    assert not any(bench.is_open(one) for one in all_)
    with socket.socket() as late:
        assert not bench.room.enter(late, "10.0.0.1")
    assert len(bench.room) == 0
