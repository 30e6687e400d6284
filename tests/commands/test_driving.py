"""What `cut` and `resume` share, in a real terminal: the lines of the shop file that keep a changed voice."""

from __future__ import annotations

import sys
import tomllib

import pytest

from assistant.journal.store import Journal
from assistant.session.facts import Started
from tests.commands.program import SHOP, Workshop

pexpect = pytest.importorskip("pexpect", reason="pexpect is not installed")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")

TO_KEEP = "-- You changed the voice. To keep it, put this in the shop file under [voice]: "
ANSWERS = {"+": "Louder.", "-": "Quieter.", "<": "Slower."}


def keys_of_a_session(workshop: Workshop, keys: str) -> tuple[str, ...]:
    """The lines that a session names to keep the voice after these keys of `ANSWERS`."""
    words = ["cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--no-voice", "--no-pedal", "--plain"]
    command = [sys.executable, "-m", "assistant", *words]
    child = pexpect.spawn(
        command[0], command[1:], cwd=workshop.folder, encoding="utf-8", timeout=20, dimensions=(50, 300)
    )
    try:
        child.expect("check: clamps")
        for key in keys:
            child.send(key)
            child.expect_exact(ANSWERS[key])
        child.send("q")
        child.expect(pexpect.EOF)
        told, code = child.before, child.wait()
    finally:
        child.close(force=True)
    assert code == 1, told
    assert "stays open" in told and "Traceback" not in told
    # The terminal's modes are put back on the same line.
    named = [line.partition(TO_KEEP)[2] for line in told.splitlines() if TO_KEEP in line]
    assert len(named) <= 1, named
    return tuple(named[0].split(", ")) if named else ()


def paste(workshop: Workshop, lines: tuple[str, ...]) -> None:
    workshop.write("shop.toml", "\n".join([SHOP, "[voice]", *lines, ""]))


@pytest.mark.parametrize(
    ("keys", "lines"),
    [
        ("+", ("loudness = 3",)),
        ("<", ("speech_rate = 156",)),
        ("-<", ("loudness = -3", "speech_rate = 156")),
    ],
)
def test_the_lines_named_at_the_end_keep_the_voice(workshop: Workshop, keys: str, lines: tuple[str, ...]) -> None:
    """Pasted as they stand they are taken, and the next session begins there: nothing is left to keep."""
    assert keys_of_a_session(workshop, keys) == lines
    paste(workshop, lines)
    taken = workshop.run("layout", "plan.toml", "--shop", "shop.toml", "--json")
    assert taken.code == 0, taken.err
    assert keys_of_a_session(workshop, "") == ()
    with Journal.open(workshop.folder / "state") as journal:
        latest = journal.sessions()[-1].id
        started = next(iter(journal.replay(latest))).fact
    assert isinstance(started, Started)
    voice = tomllib.loads((workshop.folder / "shop.toml").read_text())["voice"]
    assert {name: getattr(started.job.voice, name) for name in voice} == voice


def test_a_change_of_a_kept_voice_is_told_from_where_that_began(workshop: Workshop) -> None:
    paste(workshop, ("loudness = 3",))
    assert keys_of_a_session(workshop, "+") == ("loudness = 6",)


def test_louder_and_quieter_again_leaves_nothing_to_keep(workshop: Workshop) -> None:
    assert keys_of_a_session(workshop, "+-") == ()
