"""Rehearsal scripts: one line per event, and every fault at once, by line."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.errors import BadInput
from assistant.runner.script import LineKind, ScriptLine, parse_script, read_script
from assistant.session.kinds import Press


def test_lines_comments_and_blanks() -> None:
    text = "# a rehearsal\n\n4.0 pedal tap\n  4.0   heard  marigold all   clamps are secure \n6 key +\n12 interrupt\n"
    assert parse_script(text, "s") == (
        ScriptLine(4.0, LineKind.PEDAL, "tap"),
        ScriptLine(4.0, LineKind.HEARD, "marigold all clamps are secure"),
        ScriptLine(6.0, LineKind.KEY, "+"),
        ScriptLine(12.0, LineKind.INTERRUPT, ""),
    )


@pytest.mark.parametrize(
    ("written", "press"),
    [
        ("tap", Press.TAP),
        ("double", Press.DOUBLE),
        ("double tap", Press.DOUBLE),
        ("hold", Press.LONG),
        ("long  press", Press.LONG),
    ],
)
def test_a_gesture_can_be_written_as_it_is_shown_or_as_it_is_stored(written: str, press: Press) -> None:
    (line,) = parse_script(f"1 pedal {written}", "s")
    assert line.argument == press


def test_a_device_can_be_lost_and_come_back() -> None:
    assert parse_script("1 device microphone lost\n2 device pedal stands in", "s")[1].argument == "pedal stands in"


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("soon pedal tap", "does not begin with a time"),
        ("-1 pedal tap", "does not begin with a time"),
        ("nan pedal tap", "does not begin with a time"),
        ("1e9 pedal tap", "does not begin with a time"),
        ("1 pedal kick", "has an unknown gesture"),
        ("1 pedal long", "has an unknown gesture"),
        ("1 pedal", "has an unknown gesture"),
        ("1 shout loud", "has an unknown kind of event"),
        ("1", "has an unknown kind of event"),
        ("1 heard", "has nothing to hear"),
        ("1 key", "has a key that does nothing in a session"),
        ("1 key ?", "has a key that does nothing in a session"),
        ("1 key page_down", "has a key that does nothing in a session"),
        ("1 key 12", "has a key that does nothing in a session"),
        ("1 interrupt now", "has more than an interrupt"),
        ("1 device radio lost", "names no device and state"),
    ],
)
def test_each_fault_names_its_line_and_the_fix(line: str, words: str) -> None:
    with pytest.raises(BadInput, match=words) as caught:
        parse_script(f"# first\n{line}\n", "script.txt")
    (fault,) = caught.value.faults
    assert fault.where == "script.txt: line 2" and fault.mend


def test_all_faults_at_once_and_time_that_goes_back() -> None:
    with pytest.raises(BadInput) as caught:
        parse_script("3 pedal tap\n2 pedal tap\nx pedal tap\n4 pedal kick\n", "s")
    assert [fault.where for fault in caught.value.faults] == ["s: line 2", "s: line 3", "s: line 4"]


def test_unreadable_files(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="can't be read"):
        read_script(tmp_path / "none.txt")
    with pytest.raises(BadInput, match="can't be read"):
        read_script(tmp_path)
    (tmp_path / "binary").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadInput, match="not UTF-8"):
        read_script(tmp_path / "binary")
    (tmp_path / "large").write_bytes(b"#" * 1_000_001)
    with pytest.raises(BadInput, match="too large"):
        read_script(tmp_path / "large")
