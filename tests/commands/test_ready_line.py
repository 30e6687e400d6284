"""Lines are gathered whatever the probes do: raise, hang, end the program, or answer something else."""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

import pytest

from assistant.commands.ready_line import BROKEN, WORKS, Line, Probe, gathered, pip, plain, short


def probe(part: str, look: object, within_s: float = 5.0) -> Probe:
    return Probe((part,), look, "mend it", within_s)  # type: ignore[arg-type]


def test_lines_come_in_the_order_of_their_probes() -> None:
    def late() -> list[Line]:
        time.sleep(0.2)
        return [Line("slow", WORKS, "yes")]

    both = Probe(("a", "b"), lambda: [Line("a", WORKS, "1"), Line("b", WORKS, "2")], "")
    assert [line.part for line in gathered([probe("slow", late), both])] == ["slow", "a", "b"]


@pytest.mark.parametrize("error", [ValueError("bad figure"), OSError(5, "Input/output error"), SystemExit(1)])
def test_what_raises_is_broken_alone(error: BaseException) -> None:
    def raises() -> list[Line]:
        raise error

    broken, works = gathered([probe("one", raises), probe("two", lambda: [Line("two", WORKS, "yes")])])
    assert (broken.part, broken.state, broken.mend) == ("one", BROKEN, "mend it")
    assert plain(error) in broken.text
    assert works.state == WORKS


def test_what_hangs_is_broken_in_its_time_and_the_others_are_not_held_up() -> None:
    hold = threading.Event()
    try:
        lines = gathered(
            [
                probe("hangs", lambda: hold.wait(), 0.3),
                probe("hangs too", lambda: hold.wait(), 0.3),
                probe("works", lambda: [Line("works", WORKS, "yes")]),
            ]
        )
    finally:
        hold.set()
    assert [line.state for line in lines] == [BROKEN, BROKEN, WORKS]
    assert "no answer within 0.3 s" in lines[0].text


@pytest.mark.parametrize("answer", [[], [Line("other", WORKS, "")], None])
def test_another_line_than_promised_is_none(answer: object) -> None:
    (line,) = gathered([probe("one", lambda: answer)])
    assert (line.part, line.state) == ("one", BROKEN)


def test_an_error_is_told_in_one_line() -> None:
    assert plain(ValueError("first\nsecond")) == "first"
    assert plain(ValueError()) == "ValueError"
    assert plain(OSError(28, "No space left on device", "/some/where")) == "No space left on device: /some/where"


@pytest.mark.skipif(sys.platform == "win32", reason="~ is the shell's on POSIX")
def test_paths_are_shortened_as_a_shell_takes_them(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    home, next_door = tmp_path / "carver", tmp_path / "carvers"
    monkeypatch.setenv("HOME", str(home))
    assert short(home / "shop.toml") == "~/shop.toml"
    assert short(str(home)) == "~"
    assert short(str(next_door / "shop.toml")) == str(next_door / "shop.toml")
    monkeypatch.setenv("HOME", "/")
    assert short("/etc/x") == "/etc/x"


def test_install_commands_can_be_pasted() -> None:
    assert pip("numpy>=1.26", "six") == "python -m pip install 'numpy>=1.26' six"


def test_what_is_slow_but_moves_is_waited_for_and_called_slow_with_the_figure() -> None:
    def work() -> list[Line]:
        end = time.thread_time() + 2.5
        while time.thread_time() < end:
            pass
        return [Line("works hard", WORKS, "yes", "", {"key": 1})]

    hold = threading.Event()
    try:
        slow, stuck = gathered([probe("works hard", work, 1.5), probe("hangs", lambda: hold.wait(), 1.5)])
    finally:
        hold.set()
    assert slow.state == WORKS and slow.text.startswith("yes; slow: took ") and slow.text.endswith(" s")
    assert slow.data["key"] == 1 and slow.data["took_s"] >= 2.5
    assert stuck.state == BROKEN and "nothing moved any more" in stuck.text
