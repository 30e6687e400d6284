"""`demo`: what can't be written is found before anything is played."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from fractions import Fraction
from pathlib import Path

import pytest

from assistant.__main__ import main
from assistant.journal.store import Journal
from assistant.session.facts import CarriageHomed, PassCut, Resumed
from tests.commands.program import Workshop

AS_NOBODY = """
import os, sys
# Modules may lie where nobody in particular can't read.
import assistant.commands.command_line, assistant.commands.demo, assistant.process
from assistant.__main__ import main
if os.geteuid() == 0:
    os.setuid(65534)
sys.exit(main(["demo", *sys.argv[1:]]))
"""


@pytest.mark.parametrize("name", ["no folder/a.wav", "file.txt/a.wav"])
def test_a_name_that_cant_be_written_is_refused_at_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    (tmp_path / "file.txt").write_text("x")
    assert main(["demo", "--out", str(tmp_path / name)]) == 3
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith(f"kerfcall: {tmp_path / name} can't be written: ") and printed.err.count("\n") == 1
    assert "give another file with --out" in printed.err


def test_a_folder_is_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "--out", str(tmp_path)]) == 2
    assert capsys.readouterr().err == f"kerfcall: {tmp_path}: is not a file; give the name of a WAV file to write\n"


def test_a_state_folder_that_cant_be_made_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file.txt").write_text("x")
    state = tmp_path / "file.txt"
    assert main(["demo", "--out", str(tmp_path / "a.wav"), "--state", str(state)]) == 3
    printed = capsys.readouterr()
    assert printed.out == "" and f"the folder {state} can't be created or written to: " in printed.err
    assert not (tmp_path / "a.wav").exists(), "nothing is left behind"


@pytest.mark.skipif(os.name != "posix", reason="rights as on POSIX systems")
def test_in_a_folder_that_is_only_read_nothing_is_played() -> None:
    """Run by a child that is nobody in particular, since rights don't bind the superuser."""
    with tempfile.TemporaryDirectory() as folder:
        os.chmod(folder, 0o555)
        command = [sys.executable, "-c", AS_NOBODY]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=60, check=False)
        os.chmod(folder, 0o755)
    assert (done.returncode, done.stdout) == (3, ""), done.stderr
    assert done.stderr == (
        "kerfcall: kerfcall-demo.wav can't be written: Permission denied; give another file with --out FILE.wav\n"
    )


@pytest.mark.long
@pytest.mark.timeout(900)
def test_the_whole_demo_is_played_and_kept(workshop: Workshop) -> None:
    """Killed partway through a board and resumed. Every pass is cut once, and the sound has the length shown."""
    workshop.patience_s = 600.0
    done = workshop.run("demo", "--out", "said.wav", "--state", "state")
    assert done.code == 0, done.err
    assert done.err == ""
    first, second = done.out.split("\n*** The process was killed partway through a board. A new one resumes")
    heard_in_both(first, second)
    assert "session finished" not in first and "session finished" in second and "Press q" not in done.out
    assert "Two zero point zero two." in first and "Resuming Corner of a small tray:" in second
    counted = {f"pass {n}": done.out.count(f"    pass {n} cut, recorded by") for n in range(1, 9)}
    assert counted == {f"pass {n}": 2 if n <= 4 else 1 for n in range(1, 9)}, "four on one board, eight on the other"
    assert done.out.count("Saw off. When the blade has stopped, count") == 2
    assert "Not counted" not in done.out, "the operator waits until the blade stands still"
    assert (workshop.folder / "said.wav").stat().st_size > 40 * 22_050 * 2
    with Journal.open_to_read(workshop.folder / "state") as journal:
        (session,) = journal.sessions()
        facts = [record.fact for record in journal.replay(session.id)]
    (killed,) = (n for n, fact in enumerate(facts) if isinstance(fact, Resumed))
    cut = [(fact.pass_, fact.by) for fact in facts[:killed] if isinstance(fact, PassCut)]
    assert cut == [(1, "voice"), (2, "pedal"), (3, "pedal")]
    assert session.state == "finished"


@pytest.mark.long
@pytest.mark.timeout(900)
def test_the_demo_of_a_driven_carriage_is_halted_lost_and_resumed_and_cuts_every_pass(workshop: Workshop) -> None:
    workshop.patience_s = 600.0
    done = workshop.run("demo", "--drive", "--out", "said.wav", "--state", "state")
    assert (done.code, done.err) == (0, "")
    first, second = done.out.split("\n*** The process was killed partway through a board. A new one resumes")
    assert "HALTED AT" in first and "CARRIAGE LOST" in second and "CARRIAGE LOST" not in first
    assert second.index("down to the home switch") < second.index("Is the work still clamped")
    with Journal.open_to_read(workshop.folder / "state") as journal:
        (session,) = journal.sessions()
        facts = [record.fact for record in journal.replay(session.id)]
    kinds = [fact.kind for fact in facts]
    assert (kinds.count("halted"), kinds.count("carriage_lost"), kinds.count("resumed")) == (1, 1, 1)
    assert kinds.count("pass_cut") == 12 and session.state == "finished"
    proved = [fact for fact in facts if isinstance(fact, CarriageHomed) and fact.off_by]
    assert len(proved) == 2 and all(abs(Fraction(fact.off_by)) <= Fraction(1, 400) for fact in proved)


def heard_in_both(first: str, second: str) -> None:
    """The recogniser hears the operator's answers, in the act that is killed and in the one that resumes."""
    checks = ("carriage zero is correct", "all clamps are secure", "proceed to next pass")
    asked = ("report my progress", "say again position")
    later = ("how many more to go", "affirm that is right", "safety guard fitted", "clamps are tight and guard is on")
    counted = "saw is off and all are counted"
    assert [text for text in (*checks, *asked) if f'op: "{text}"' not in first.replace("marigold ", "")] == []
    assert [text for text in (*later, "proceed to next pass", counted) if text not in second] == []
    assert (first.count("op: (pedal: long press)"), first.count("op: (pedal: tap)")) == (1, 2), "the guard"
    assert second.count("(pedal: long press)") == 1, "the clamps"
