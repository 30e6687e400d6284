"""Lines written on a separate thread: in order, reported only once taken, delayed by no terminal."""

from __future__ import annotations

import contextlib
import io
import os
import queue
import threading
import time
from collections.abc import Iterator
from typing import Any, TextIO

import pytest

from assistant.screens.line_writer import END_S, KEPT, LineWriter

PATIENCE_S = 20.0  # after which something counts as not coming


class Gate(io.StringIO):
    """Takes a text only while it is open; keeps what it took."""

    def __init__(self) -> None:
        super().__init__()
        self.open = threading.Event()
        self.waiting = threading.Event()

    def write(self, text: str) -> int:
        self.waiting.set()
        assert self.open.wait(PATIENCE_S)
        return super().write(text)


@contextlib.contextmanager
def unread_pipe() -> Iterator[tuple[int, TextIO]]:
    """A pipe that is full to the last byte, and its reading end."""
    reading, writing = os.pipe()
    os.set_blocking(writing, False)
    with contextlib.suppress(BlockingIOError):
        while True:
            os.write(writing, b"." * 65536)
    with contextlib.suppress(BlockingIOError):
        while True:
            os.write(writing, b".")
    os.set_blocking(writing, True)
    out = os.fdopen(writing, "w", encoding="utf-8")
    try:
        yield reading, out
    finally:
        os.close(reading)
        with contextlib.suppress(OSError):
            out.close()


def reports() -> tuple[queue.Queue[int], Any]:
    seen: queue.Queue[int] = queue.Queue()
    return seen, seen.put


def next_of(seen: queue.Queue[int]) -> int:
    return seen.get(timeout=PATIENCE_S)


def until(holds: Any) -> None:
    end = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.01)


def test_entries_come_in_order_and_a_report_after_all_that_was_put_before_it() -> None:
    out, told = io.StringIO(), []
    writer = LineWriter(out, lambda generation: told.append((generation, out.getvalue())))
    for n in range(5):
        writer.put(f"line {n}\n")
        writer.report(n // 2)
    writer.close()
    lines = [f"line {n}\n" for n in range(5)]
    assert out.getvalue() == "".join(lines)
    assert [generation for generation, _ in told] == [0, 1, 2]
    for generation, text in told:
        assert text.startswith("".join(lines[: 2 * generation + 1])), "reported before it was written"


def test_a_text_that_is_still_being_written_is_not_reported() -> None:
    out, (seen, put) = Gate(), reports()
    writer = LineWriter(out, put)
    writer.put("a question\n")
    writer.report(7)
    assert out.waiting.wait(PATIENCE_S)
    assert seen.empty()
    out.open.set()
    assert next_of(seen) == 7
    writer.close()


def overfilled(out: Gate, put: Any, *, first: str = "in the way\n") -> LineWriter:
    """A writer that hangs in its first entry, with the question of generation 1 put and dropped since."""
    writer = LineWriter(out, put)
    writer.put(first)
    assert out.waiting.wait(PATIENCE_S)
    writer.put("the question\n")
    writer.report(1)
    for n in range(KEPT - 1):
        writer.put(f"{n}\n")
    return writer


def test_what_was_dropped_is_not_reported_and_what_came_after_it_is() -> None:
    """The oldest entry is dropped first, and with it the report that everything was shown."""
    out, (seen, put) = Gate(), reports()
    writer = overfilled(out, put)
    writer.put("another question\n")
    writer.report(2)
    out.open.set()
    assert next_of(seen) == 2
    writer.close()
    assert seen.empty()
    shown = out.getvalue()
    assert "the question" not in shown and shown.endswith("another question\n")


def test_a_question_that_was_dropped_in_part_is_not_reported() -> None:
    """The report's own entry is still there, but the entry before it is not."""
    out, (seen, put) = Gate(), reports()
    writer = LineWriter(out, put)
    writer.put("in the way\n")
    assert out.waiting.wait(PATIENCE_S)
    for n in range(KEPT + 1):
        writer.put(f"part {n} of a question\n")
    writer.report(1)
    out.open.set()
    writer.close()
    assert seen.empty() and "part 0" not in out.getvalue() and f"part {KEPT}" in out.getvalue()


def test_repeated_text_is_reported_if_the_first_report_was_dropped_and_only_then() -> None:
    out, (seen, put) = Gate(), reports()
    writer = overfilled(out, put)
    writer.put("more\n")
    out.open.set()
    until(lambda: out.getvalue().endswith("more\n"))
    assert seen.empty()
    writer.put("the question\n", says_again=1)
    assert next_of(seen) == 1
    assert out.getvalue().endswith("the question\n")
    writer.report(2)
    assert next_of(seen) == 2
    writer.put("the next question\n", says_again=2)
    writer.close()
    assert seen.empty(), "generation 2 was reported the first time"


def test_a_closed_pipe_ends_the_writer_and_delays_nothing() -> None:
    reading, writing = os.pipe()
    seen, put = reports()
    with os.fdopen(writing, "w", encoding="utf-8") as out:
        writer = LineWriter(out, put)
        os.close(reading)
        writer.put("nobody is there\n")
        writer.report(1)
        until(lambda: not writer._thread.is_alive())
        writer.put("and not later\n")
        writer.report(2)
        writer.close()
    assert seen.empty()


def test_an_unread_pipe_delays_neither_put_nor_close() -> None:
    """Both run in the test's own thread, so that a hang fails this test and nothing else."""
    seen, put = reports()
    with unread_pipe() as (reading, out):
        writer = LineWriter(out, put)
        done: queue.Queue[float] = queue.Queue()

        def use() -> None:
            for n in range(3 * KEPT):
                writer.put(f"line {n}\n")
                writer.report(n)
            begun = time.monotonic()
            writer.close()
            done.put(time.monotonic() - begun)

        threading.Thread(target=use, daemon=True).start()
        assert done.get(timeout=PATIENCE_S) >= END_S  # it did wait for the terminal, and gave up
        assert seen.empty(), "nothing of it was taken"
        left = b""
        while b"\n" not in left:
            left += os.read(reading, 1 << 20)
        until(lambda: not writer._thread.is_alive())
        os.set_blocking(reading, False)
        with contextlib.suppress(BlockingIOError):
            left += os.read(reading, 1 << 20)
        assert left.count(b"\n") == 1, "the entry that it hung in, and none after close"


@pytest.mark.parametrize("closes", [True, False])
def test_a_program_with_an_unread_pipe_still_ends(closes: bool) -> None:
    """The thread that hangs in the write doesn't keep the interpreter from ending."""
    import subprocess
    import sys

    script = (
        "import sys\n"
        "from assistant.screens.line_writer import LineWriter\n"
        "writer = LineWriter(sys.stdout)\n"
        "for _ in range(30): writer.put('x' * 65536)\n"
        + ("writer.close()\n" if closes else "")
        + "print('ended', file=sys.stderr)\n"
    )
    child = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        assert child.wait(PATIENCE_S) == 0
        assert child.stderr is not None and child.stderr.read() == "ended\n"
    finally:
        child.kill()
        for stream in (child.stdout, child.stderr):
            assert stream is not None
            stream.close()


def test_letters_missing_from_the_encoding_are_replaced() -> None:
    reading, writing = os.pipe()
    with os.fdopen(writing, "w", encoding="ascii") as out:
        writer = LineWriter(out)
        writer.put("3 × 5\n")
        writer.close()
    with os.fdopen(reading, "rb") as shown:
        assert shown.read() == b"3 ? 5\n"


def test_what_was_printed_earlier_comes_first() -> None:
    reading, writing = os.pipe()
    with os.fdopen(writing, "w", encoding="utf-8") as out:
        out.write("first\n")
        writer = LineWriter(out)
        writer.put("second\n")
        writer.close()
    with os.fdopen(reading, "rb") as shown:
        assert shown.read() == b"first\nsecond\n"
