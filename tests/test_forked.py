"""A program that is forked off behaves as one for which Python is started."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from tests import forked
from tests.commands.program import Workshop

pytestmark = pytest.mark.skipif(not forked.AVAILABLE, reason="Linux alone has handles of processes")


@pytest.mark.parametrize(
    "words",
    [("layout", "plan.toml", "--shop", "shop.toml", "--json"), ("layout", "none.toml"), ("layout", "--help"), ()],
)
def test_it_gives_the_same_code_and_the_same_output_as_a_started_one(tmp_path: Path, words: tuple[str, ...]) -> None:
    workshop = Workshop(tmp_path)
    assert workshop.run(*words) == workshop.run(*words, PYTHONHASHSEED="0")


def test_two_at_once_have_their_own_folders_environments_and_ends(tmp_path: Path) -> None:
    """In one there is a plan; of the other the folder for settings is named."""
    outputs = []
    for name, plan in (("a", "plan.toml"), ("b", "none.toml")):
        (tmp_path / name).mkdir()
        Workshop(tmp_path / name)
        reading, writing = os.pipe()
        environ = {**os.environ, "XDG_CONFIG_HOME": str(tmp_path / name / "config")}
        words = ("layout", plan) + (("--shop", "shop.toml") if name == "a" else ())
        outputs.append((forked.Child(words, tmp_path / name, environ, stdout=writing, stderr=writing), reading))
        os.close(writing)
    (first, shown), (second, other) = outputs
    assert first.pid != second.pid
    with open(shown, encoding="utf-8") as out, open(other, encoding="utf-8") as err:
        assert "Small tray" in out.read() and first.wait(60) == 0
        told = err.read()
    assert second.wait(60) == 2
    assert "none.toml: there is no such file" in told and str(tmp_path / "b" / "config") in told


def test_a_killed_one_ends_with_its_signal_and_may_be_killed_again(tmp_path: Path) -> None:
    workshop = Workshop(tmp_path)
    workshop.write("script.txt", "".join(f"{n} pedal hold\n" for n in range(1, 2000)))
    reading, writing = os.pipe()
    words = ("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--rehearse", "script.txt")
    child = forked.Child(words, tmp_path, os.environ, stdout=writing)
    os.close(writing)
    with open(reading, encoding="utf-8") as shown:
        assert shown.readline()
        child.kill()
        shown.read()
    assert child.wait(60) == -signal.SIGKILL
    child.kill()


def test_one_that_writes_nothing_more_is_not_waited_for_for_ever(tmp_path: Path) -> None:
    workshop = Workshop(tmp_path)
    workshop.write("script.txt", "1 pedal hold\n100 pedal hold\n")
    workshop.patience_s = 3.0
    with pytest.raises(TimeoutError, match="wrote nothing for 3.0 s"):
        workshop.cut((tmp_path / "script.txt").read_text(encoding="utf-8"), "--real-time", "--no-voice")
