"""The view reports what is open as shown once the terminal has taken it, and not while a list covers it."""

from __future__ import annotations

import os
import queue
import select
import struct
import sys
import threading
import time
from collections.abc import Iterator

import pytest

from assistant.runner.clock import SetClock
from assistant.runner.loop import Outputs, Runner
from assistant.screens.view import SETTLE_S, TICK_S, TerminalView
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.events import Gesture, Start
from assistant.session.kinds import Klass
from assistant.session.turn import view
from assistant.wording.prompts import Words
from tests.runner.adapters import drain
from tests.session.jobs import few_checks, job, plan

pyte = pytest.importorskip("pyte")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX")
if sys.platform != "win32":
    from tests.screens.view_rig import Emulator, fill, is_stuck

PATIENCE_S = 20.0
DRAWN_S = 2 * TICK_S + SETTLE_S  # enough for a page, had there been one to draw
LIST = "Keys:\n  space  tap\n  h      long press"


class Bench:
    """A session with the view on a pseudo-terminal of 100 by 40, which is read only while `reading` is set."""

    def __init__(self) -> None:
        import fcntl
        import termios

        self.master, slave = os.openpty()
        fcntl.ioctl(self.master, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 100, 0, 0))
        self.out = os.fdopen(slave, "w", encoding="utf-8")
        self.terminal = os.ttyname(slave)
        self.reported: queue.Queue[int] = queue.Queue()
        self.reading = threading.Event()
        self._screen = Emulator(100, 40)
        self._stream = pyte.ByteStream(self._screen)
        self._ending = threading.Event()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self.view = TerminalView(self.out, "X", self.reported.put)
        self.runner = Runner(lambda records: None, Outputs(screens=[self.view], watchers=[self.view]), SetClock())

    def _read(self) -> None:
        while not self._ending.is_set():
            if self.reading.wait(0.05) and select.select([self.master], [], [], 0.05)[0]:
                self._stream.feed(os.read(self.master, 65536).replace(b"\0", b""))

    def start(self) -> int:
        """The session begins; the generation of its first check."""
        self.runner.handle(Start(0.0, "", job(plan(parts="A"), few_checks()), hear_out=True))
        drain(self.runner)
        return self.runner.state.generation

    def until(self, text: str, without: str = "") -> None:
        """Wait for a page that shows this text, and not the other."""
        end = time.monotonic() + PATIENCE_S
        while text not in (page := self._screen.text) or (without and without in page):
            assert time.monotonic() < end, page
            time.sleep(0.02)

    def close(self) -> None:
        self.reading.set()
        self.view.close()
        self._ending.set()
        self._reader.join(PATIENCE_S)
        self.out.close()
        os.close(self.master)


@pytest.fixture
def bench() -> Iterator[Bench]:
    one = Bench()
    yield one
    one.close()


def test_what_is_open_is_reported_once_when_it_has_been_drawn(bench: Bench) -> None:
    bench.reading.set()
    generation = bench.start()
    assert bench.reported.get(timeout=PATIENCE_S) == generation
    bench.until("trailing end held down?")
    bench.runner.handle(Gesture(1.0, "", "double", 1.0))
    bench.until("pedal double tap")
    time.sleep(DRAWN_S)
    assert bench.reported.empty(), "drawn again, it is no news"


def test_a_terminal_that_is_not_read_has_shown_nothing_until_it_is(bench: Bench) -> None:
    bench.reading.set()
    bench.view.note("a line of the log")
    bench.until("a line of the log")  # a page was taken; only the next is not
    bench.reading.clear()
    time.sleep(0.3)  # the reader has seen it
    fill(bench.terminal)
    generation = bench.start()
    time.sleep(DRAWN_S)
    assert is_stuck(bench.terminal) and bench.reported.empty()
    bench.reading.set()
    assert bench.reported.get(timeout=PATIENCE_S) == generation
    bench.until("trailing end held down?")


def test_under_a_list_nothing_counts_as_shown_until_the_list_is_gone(bench: Bench) -> None:
    bench.reading.set()
    bench.view.note(LIST, for_s=3600.0)
    generation = bench.start()
    bench.until("h      long press")
    time.sleep(DRAWN_S)
    assert bench.reported.empty()
    bench.view.note(LIST, for_s=0.0)
    assert bench.reported.get(timeout=PATIENCE_S) == generation
    bench.until("trailing end held down?", without="h      long press")


def test_what_was_shown_before_a_list_covered_it_is_not_reported_again(bench: Bench) -> None:
    bench.reading.set()
    first = bench.start()
    assert bench.reported.get(timeout=PATIENCE_S) == first
    bench.view.note(LIST, for_s=3600.0)
    bench.until("h      long press")
    bench.runner.handle(Gesture(1.0, "", "tap", 1.0))  # an answer removes the list
    time.sleep(DRAWN_S)
    bench.until("trailing end held down?", without="h      long press")
    assert bench.reported.empty()


def test_the_words_of_a_turn_are_not_drawn_before_its_snapshot(bench: Bench) -> None:
    """The next board's words under the question about this one would be wrong, if only for one frame."""
    bench.reading.set()
    bench.start()
    bench.until("trailing end held down?")
    state, words = bench.runner.state, Words(bench.runner.state.the_job)
    opened = f.Record(99, 1.0, "", f.CheckOpened(1, "guard"))
    bench.view.turn(Gesture(1.0, "", "hold", 1.0), [opened])
    bench.view.said("Clamp the next board.", Klass.CLAMP, "The next board was named.")
    time.sleep(DRAWN_S)
    bench.until("trailing end held down?", without="next board")
    bench.view.show(view(apply(state, opened)), None, words)
    bench.until("The next board was named.", without="trailing end held down?")
