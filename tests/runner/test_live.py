"""The live loop: real threads, a real clock, real signals."""

from __future__ import annotations

import os
import signal
import threading
import time

import pytest

from assistant.runner.clock import LiveClock
from assistant.runner.live import leaving_on_signals, run_live
from assistant.session.events import Gesture, Leave
from tests.runner.adapters import started


def test_events_from_another_thread_are_handled_until_it_is_left() -> None:
    runner, log, _ = started()
    clock = runner.clock = LiveClock()

    def operator() -> None:
        runner.post(Gesture(clock.at(), clock.utc(), "hold", clock.at()))
        time.sleep(0.05)
        runner.post(Leave(clock.at(), clock.utc()))

    thread = threading.Thread(target=operator)
    thread.start()
    run_live(runner)
    thread.join()
    assert log.of("commit") == [("commit", "check_confirmed", "check_opened")]
    assert runner.closing is not None and runner.closing.open_


def test_a_deadline_wakes_the_loop_by_itself() -> None:
    runner, log, _ = started()
    clock = runner.clock = LiveClock()
    runner.deadlines.add(clock.at() + 0.1)
    threading.Timer(0.3, lambda: runner.post(Leave(clock.at(), clock.utc()))).start()
    run_live(runner)
    assert runner.deadlines == set()


def test_a_pump_is_called_as_time_goes_on() -> None:
    runner, _, _ = started()
    clock = runner.clock = LiveClock()
    times: list[float] = []
    threading.Timer(0.4, lambda: runner.post(Leave(clock.at(), clock.utc()))).start()
    run_live(runner, times.append)
    assert len(times) >= 4 and times == sorted(times)


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
@pytest.mark.skipif(os.name != "posix", reason="signals as on POSIX systems")
def test_a_signal_leaves_the_session_open(name: str) -> None:
    runner, _, _ = started()
    runner.clock = LiveClock()
    number = getattr(signal, name)
    before = signal.getsignal(number)
    with leaving_on_signals(runner):
        os.kill(os.getpid(), number)
        run_live(runner)
    assert runner.closing is not None and runner.closing.open_
    assert signal.getsignal(number) is before


def test_the_live_clock_goes_on_from_where_a_session_was() -> None:
    clock = LiveClock(120.5)
    first = clock.at()
    time.sleep(0.01)
    assert 120.5 <= first < clock.at() < 130
    assert clock.utc().endswith("Z")
