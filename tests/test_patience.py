"""How long a part is waited for: as long as it moves, with a clock that is set and with real processes and threads."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.patience import STEP, Patience, cpu_s_of, cpu_s_of_thread

linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="processor times are read on Linux only")


class Part:
    """Something that is waited for, with its own clock."""

    def __init__(self, still_s: float = 5.0, longest_s: float = 60.0) -> None:
        self.now, self.moved = 100.0, 0.0
        self.patience = Patience(still_s, longest_s, lambda: self.moved, now=lambda: self.now)

    def wait(self, seconds: float, moves: float = 0.0) -> bool:
        """So long, asked ten times a second; whether it was over at any of them. moves: a second."""
        over = False
        for _ in range(round(10 * seconds)):
            self.now += 0.1
            self.moved += moves / 10
            over = self.patience.over() or over
        return over


def test_what_does_not_move_is_over_when_its_time_is() -> None:
    part = Part()
    assert not part.wait(4.9)
    assert part.wait(0.3)
    assert part.patience.why() == "gave no answer within 5.2 s, and made no more progress"


def test_what_moves_is_waited_for_and_from_its_end_the_time_runs() -> None:
    part = Part()
    assert not part.wait(40, moves=0.5)
    assert not part.wait(4.5)
    assert part.wait(1.0)


def test_what_only_looks_does_not_move() -> None:
    """A loop that waits takes some processor time as well."""
    part = Part()
    assert part.wait(6.0, moves=STEP / 10)


def test_what_moves_in_circles_has_an_end_too() -> None:
    part = Part()
    assert not part.wait(59, moves=0.5)
    assert part.wait(2, moves=0.5)
    assert part.patience.why() == "was not done within 60 s"


def test_a_sign_of_life_counts_where_movement_is_not_known() -> None:
    now = [0.0]
    patience = Patience(5.0, 60.0, now=lambda: now[0])
    for at in (2.0, 4.0, 4.5):
        now[0] = at
        assert not patience.over()
    patience.sign()
    for at in (6.0, 8.0, 9.4):
        now[0] = at
        assert not patience.over()
    assert patience.still_for_s == pytest.approx(4.9)
    now[0] = 9.6
    assert patience.over() and patience.waited_s == 9.6


def test_who_was_held_up_itself_blames_nobody() -> None:
    """Stopped and continued, both of them: the part has had no time to move."""
    part = Part()
    part.wait(1.0)
    part.now += 30.0
    assert not part.patience.over()
    assert not part.wait(4.8)
    assert part.wait(0.5)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.floats(0.1, 4.0), st.booleans()), min_size=1, max_size=40))
def test_whatever_moves_in_bursts_is_waited_for_until_a_gap_is_too_long(bursts: list[tuple[float, bool]]) -> None:
    part, gap = Part(longest_s=1e6), 0.0
    for seconds, moves in bursts:
        over = part.wait(seconds, 1.0 if moves else 0.0)
        gap = 0.0 if moves else gap + round(10 * seconds) / 10
        assert not over or gap > 4.9
        if over:
            return
        assert gap < 5.2


# --- what processes and threads do, as the kernel tells it

WORKS = "import time\nprint('begun', flush=True)\nwhile True: pass"
HANGS = "import time\nprint('begun', flush=True)\ntime.sleep(60)"


def grows(read: Callable[[], float | None], by: float, within_s: float) -> bool:
    end, first = time.monotonic() + within_s, read()
    assert first is not None
    while time.monotonic() < end:
        now = read()
        if now is not None and now - first >= by:
            return True
        time.sleep(0.02)
    return False


@linux
@pytest.mark.parametrize(("code", "moves"), [(WORKS, True), (HANGS, False)])
def test_a_process_at_work_moves_and_one_that_hangs_does_not(code: str, moves: bool) -> None:
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE) as process:
        try:
            assert process.stdout is not None and process.stdout.readline() == b"begun\n"
            time.sleep(0.3)
            assert grows(lambda: cpu_s_of(process.pid), STEP, 20.0 if moves else 1.0) == moves
        finally:
            process.kill()
    assert cpu_s_of(process.pid) is None, "it has ended"
    assert cpu_s_of(None) is None


@linux
def test_a_thread_at_work_moves_and_one_that_hangs_does_not() -> None:
    ending = threading.Event()

    def work() -> None:
        while not ending.is_set():
            pass

    working, hanging = threading.Thread(target=work), threading.Thread(target=ending.wait)
    working.start()
    hanging.start()
    try:
        assert grows(lambda: cpu_s_of_thread(working.ident), STEP, 20.0)
        assert not grows(lambda: cpu_s_of_thread(hanging.ident), STEP, 0.5)
    finally:
        ending.set()
        working.join()
        hanging.join()
    assert cpu_s_of_thread(None) is None
