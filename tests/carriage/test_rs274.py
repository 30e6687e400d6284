"""Every line that goes to a controller, as RS-274: words, modal groups, and what an independent reader makes of it.

The modal groups are those of the published documentation of LinuxCNC 2.9 ("Modal Groups", table "G-code Modal Groups"),
whose interpreter descends from NIST's RS274NGC; that NIST's own report (NISTIR 6556, its table of modal groups) has the
same groups for these words is recalled from memory. The reader is that interpreter, `rs274` of Debian's
linuxcnc-uspace.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from assistant.session.events import Homed, Lost
from tests.carriage.rig import Rig
from tests.carriage.test_protocol import at_home, there

GROUPS = {
    "non-modal": (4, 10, 28, 30, 53, 92),
    "motion": (0, 1, 2, 3, 33, 38, 73, 76, 80, 81, 82, 83, 84, 85, 86, 87, 88, 89),
    "plane": (17, 18, 19),
    "distance": (90, 91),
    "feed rate": (93, 94, 95),
    "units": (20, 21),
    "cutter radius": (40, 41, 42),
    "tool length": (43, 49),
    "return": (98, 99),
    "coordinates": (54, 55, 56, 57, 58, 59),
    "control": (61, 64),
}
WORD = re.compile(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))")
LINE_MAX = 256
"""Characters, of that interpreter's lines."""


@pytest.fixture(scope="module")
def blocks() -> list[str]:
    """The RS-274 part of every jog of a session: up, down, with and without a coming up, and a visit."""
    rig: Rig = at_home()
    for setting in ("15.4375", "3", "3.0025", "0.01"):
        there(rig, setting)
    rig.controller.screw.put(rig.reads + 0.1)
    rig.home(visit=True)
    assert isinstance(rig.until(Homed, Lost), Homed)
    found = [line.removeprefix("$J=") for line in rig.controller.sent if line.startswith("$J=")]
    others = {line for line in rig.controller.sent if not line.startswith("$J=")}
    assert others == {"$I", "$$", "$N", "$H", "$130=300.517", "$130=300"}, "the firmware's own words, not RS-274"
    assert len(found) > 50
    return found


def test_a_line_holds_only_words_and_each_letter_but_g_once(blocks: list[str]) -> None:
    for block in blocks:
        words = WORD.findall(block)
        assert "".join(letter + number for letter, number in words) == block
        letters = [letter for letter, _ in words if letter != "G"]
        assert sorted(letters) == ["F", "X"] and len(block) <= LINE_MAX


def test_no_two_words_are_of_one_modal_group(blocks: list[str]) -> None:
    for block in blocks:
        codes = [int(number) for letter, number in WORD.findall(block) if letter == "G"]
        groups = [name for code in codes for name, members in GROUPS.items() if code in members]
        assert len(groups) == len(codes) == len(set(groups)), block
        # Absolute, in millimetres and in machine coordinates, whatever was in force before.
        assert {"distance", "units", "non-modal"} == set(groups)


def test_an_independent_reader_moves_to_the_same_places(blocks: list[str], tmp_path: Path) -> None:
    """A jog is a straight feed, G1, that leaves the modal state alone; the reader is given that word."""
    reader = shutil.which("rs274")
    if reader is None:
        pytest.skip("rs274 is not installed; on Debian: apt-get install linuxcnc-uspace")
    program = tmp_path / "moves.ngc"
    program.write_text("\n".join(f"G1{block}" for block in blocks) + "\nM2\n", encoding="ascii")
    done = subprocess.run(
        [reader, "-g", program.name], cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    feeds = [(float(x), f) for f, x in _moves(done.stdout)]
    sent = [(float(dict(WORD.findall(block))["X"]), float(dict(WORD.findall(block))["F"])) for block in blocks]
    assert feeds == [(pytest.approx(x, abs=1e-4), pytest.approx(f)) for x, f in sent]


def _moves(text: str) -> list[tuple[float, str]]:
    """(feed, x) of every straight feed of its list of canonical moves."""
    feed, found = 0.0, []
    for line in text.splitlines():
        if match := re.search(r"SET_FEED_RATE\(([-\d.]+)\)", line):
            feed = float(match[1])
        elif match := re.search(r"STRAIGHT_FEED\(([-\d.]+),", line):
            found.append((feed, match[1]))
    return found
