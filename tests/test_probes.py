"""Lines are gathered whatever the probes do: raise, hang, end the program, or answer something else."""

from __future__ import annotations

import threading
import time

import pytest

from assistant.health import BROKEN, WORKS, Finding, one_line
from assistant.probes import Probe, gather


def probe(part: str, look: object, within_s: float = 5.0) -> Probe:
    return Probe((part,), look, "mend it", within_s)  # type: ignore[arg-type]


def test_lines_come_in_the_order_of_their_probes() -> None:
    def late() -> list[Finding]:
        time.sleep(0.2)
        return [Finding("slow", WORKS, "yes")]

    both = Probe(("a", "b"), lambda: [Finding("a", WORKS, "1"), Finding("b", WORKS, "2")], "")
    assert [line.part for line in gather([probe("slow", late), both])] == ["slow", "a", "b"]


@pytest.mark.parametrize("error", [ValueError("bad figure"), OSError(5, "Input/output error"), SystemExit(1)])
def test_what_raises_is_broken_alone(error: BaseException) -> None:
    def raises() -> list[Finding]:
        raise error

    broken, works = gather([probe("one", raises), probe("two", lambda: [Finding("two", WORKS, "yes")])])
    assert (broken.part, broken.state, broken.mend) == ("one", BROKEN, "mend it")
    assert one_line(error) in broken.text
    assert works.state == WORKS


def test_what_hangs_is_broken_in_its_time_and_the_others_are_not_held_up() -> None:
    hold = threading.Event()
    try:
        lines = gather(
            [
                probe("hangs", lambda: hold.wait(), 0.3),
                probe("hangs too", lambda: hold.wait(), 0.3),
                probe("works", lambda: [Finding("works", WORKS, "yes")]),
            ]
        )
    finally:
        hold.set()
    assert [line.state for line in lines] == [BROKEN, BROKEN, WORKS]
    assert "no answer within 0." in lines[0].text  # after its 0.3 s, as soon as the machine lets it look


@pytest.mark.parametrize("answer", [[], [Finding("other", WORKS, "")], None])
def test_another_line_than_promised_is_none(answer: object) -> None:
    (line,) = gather([probe("one", lambda: answer)])
    assert (line.part, line.state) == ("one", BROKEN)


def test_what_is_slow_but_moves_is_waited_for_and_called_slow_with_the_figure() -> None:
    def work() -> list[Finding]:
        end = time.thread_time() + 2.5
        while time.thread_time() < end:
            pass
        return [Finding("works hard", WORKS, "yes", "", {"key": 1})]

    hold = threading.Event()
    try:
        slow, stuck = gather([probe("works hard", work, 1.5), probe("hangs", lambda: hold.wait(), 1.5)])
    finally:
        hold.set()
    assert slow.state == WORKS and slow.text.startswith("yes; slow: took ") and slow.text.endswith(" s")
    assert slow.data["key"] == 1 and slow.data["took_s"] >= 2.5
    assert stuck.state == BROKEN and "made no more progress" in stuck.text
