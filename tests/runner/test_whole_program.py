"""`cut` and `resume` live, as separate processes: keys in a terminal, a pedal's key on a display, no sound card."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.journal.store import Journal
from assistant.session.announced import READING_S
from tests.commands.program import PLAN
from tests.pedal.xserver import XServer, needs_x, wait_for

pexpect = pytest.importorskip("pexpect")
pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX"),
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
]

GAP_S = 0.8  # the same key sooner is auto-repeat
DOUBLE_S = 0.1
LONG_S = 1.5  # with auto-repeat from 0.66 s on, as the display server has it
SETTLE_S = 0.3
TOLD_S = READING_S + 0.4  # what was only shown counts as announced after this time
SHOP = """
unit = "mm"
checks_off = ["zero", "edge and face", "blade height", "backing"]
[blade]
kerf = 3.18
run_down_s = 0
[pedal]
pass_takes_s = 1
"""
Fact = tuple[Any, ...]


class Saw:
    """A folder with plan, shop and journal, and the program run in it."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.child: Any = None
        self._last_key, self._pressed_at = "", 0.0
        (folder / "plan.toml").write_text(PLAN, encoding="utf-8")
        (folder / "shop.toml").write_text(SHOP, encoding="utf-8")

    def words(self, *words: str) -> list[str]:
        return [sys.executable, "-m", "assistant", *words, "--state", str(self.folder / "state")]

    def cut(self, *options: str) -> list[str]:
        """In plain lines."""
        return [*self.cut_in_view(*options), "--plain"]

    def cut_in_view(self, *options: str) -> list[str]:
        return self.words("cut", str(self.folder / "plan.toml"), "--shop", str(self.folder / "shop.toml"), *options)

    def run(self, command: list[str], **environ: str) -> None:
        """In a pseudo-terminal, without a display unless `environ` names one.

        Nobody reads it between two keys, so what the view was writing then can be cut off within a letter.
        """
        kept = {name: value for name, value in os.environ.items() if name not in ("DISPLAY", "XDG_SESSION_TYPE")}
        self.child = pexpect.spawn(
            command[0],
            command[1:],
            env=kept | environ,
            encoding="utf-8",
            codec_errors="replace",
            timeout=15,
            dimensions=(50, 2000),
        )

    def until(self, text: str) -> str:
        """Everything shown up to `text`."""
        self.child.expect_exact(text)
        return str(self.child.before)

    def key(self, key: str) -> None:
        wait = self._pressed_at + GAP_S - time.monotonic() if key == self._last_key else 0.0
        time.sleep(max(TOLD_S if key in ("h", " ") else 0.0, wait))
        self.child.send(key)
        self._last_key, self._pressed_at = key, time.monotonic()

    def keys(self, *pairs: tuple[str, str]) -> None:
        """Each key, then what must be shown before the next."""
        for key, shown in pairs:
            self.key(key)
            self.until(shown)

    def ended(self, within_s: float = 40.0) -> tuple[int, str]:
        """The exit code, and what was shown before."""
        self.child.expect(pexpect.EOF, timeout=within_s)
        rest = str(self.child.before)
        self.child.close()
        return self.child.exitstatus, rest

    def facts(self) -> list[Fact]:
        """Kind, setup, pass or check, and source of every fact of the session, as far as each has them.

        None before it is in the journal.
        """
        with Journal.open(self.folder / "state") as journal:
            rows = journal.sessions()
            assert len(rows) <= 1
            records = [record for row in rows for record in journal.replay(row.id)]
        return [plain(record.fact) for record in records]

    def state(self) -> str:
        with Journal.open(self.folder / "state") as journal:
            return journal.sessions()[0].state

    def close(self) -> None:
        if self.child is not None:
            self.child.close(force=True)


def plain(fact: Any) -> Fact:
    return (fact.kind, *(getattr(fact, name) for name in ("setup", "pass_", "check", "by") if hasattr(fact, name)))


@pytest.fixture
def saw(tmp_path: Path) -> Iterator[Saw]:
    saw = Saw(tmp_path)
    yield saw
    saw.close()


def asked(setup: int, by: str, *names: str) -> list[Fact]:
    """Each of these checks opened, then confirmed."""
    kinds = [(("check_opened", setup, name), ("check_confirmed", setup, name, by)) for name in names]
    return [fact for pair in kinds for fact in pair]


def checked(setup: int, by: str) -> list[Fact]:
    """The checks before a setup's first pass. From the second setup on, clamps and guard are one question."""
    return asked(setup, by, *(("clamps", "guard") if setup == 1 else ("clamps and guard",)))


def counted(setup: int, by: str) -> list[Fact]:
    """The end of a setup: the saw is off and the sockets are counted."""
    return [*asked(setup, by, "saw off"), ("setup_done", setup)]


def one_pass(setup: int, number: int, by: str) -> list[Fact]:
    return [("setting_called", setup, number), ("pass_cut", setup, number, by)]


def one_setup(setup: int, by: str) -> list[Fact]:
    """A whole setup without a detour: two passes for a 6.05 mm socket and a 3.18 mm kerf."""
    passes = one_pass(setup, 1, by) + one_pass(setup, 2, by)
    return [("setup_started", setup), *checked(setup, by), *passes, *counted(setup, by)]


FIRST_CHECK, SECOND_CHECK = "check: clamps,", "check: guard,"
BOTH_CHECKS, LAST_CHECK = "check: clamps and guard,", "check: saw off,"


def test_keys_drive_a_whole_job_and_the_program_ends_by_itself(saw: Saw) -> None:
    """One long press per check, one space per pass. Saying again leaves no trace, and no key is needed to end."""
    saw.run(saw.cut("--no-voice"))
    saw.until(FIRST_CHECK)
    saw.until("The pedal is not heard: there is no display server")
    saw.until("the terminal's keys replace it (space: tap, d: double tap, h: long press)")
    saw.keys(("d", "?? Setup 1 of 2: "), ("h", SECOND_CHECK), ("h", "pass 1/2"))
    saw.keys(("d", "Again: "), (" ", "pass 2/2"), (" ", "?? Saw off. When the blade has stopped, count "))
    saw.keys(("h", "setup 2/2, " + BOTH_CHECKS), ("h", "setup 2/2, pass 1/2"), (" ", "pass 2/2"))
    saw.keys((" ", "setup 2/2, " + LAST_CHECK), ("h", "All cut."))
    code, rest = saw.ended(within_s=40)
    assert code == 0
    assert "4 of 4 in all" in rest and "stays open" not in rest
    assert saw.facts() == [("started",), *one_setup(1, "keys"), *one_setup(2, "keys"), ("finished",)]
    assert saw.state() == "finished"


def test_a_check_confirmed_before_it_could_be_read_is_not_confirmed(saw: Saw) -> None:
    saw.run(saw.cut("--no-voice"))
    saw.until(FIRST_CHECK)
    saw.child.send("h")
    saw.until("Not counted: it had not been shown long enough to be read.")
    saw.keys(("h", SECOND_CHECK), ("q", "stays open"))
    assert saw.ended()[0] == 1
    assert saw.facts() == [("started",), ("setup_started", 1), *checked(1, "keys")[:3]]


@pytest.mark.parametrize("view", [False, True])
def test_a_new_session_names_those_left_open_before_its_first_board(saw: Saw, view: bool) -> None:
    """A session that was only rehearsed is not among them. Nothing prevents the new session from being cut."""
    script = saw.folder / "script.txt"
    script.write_text("1 interrupt\n", encoding="utf-8")
    assert subprocess.run([*saw.cut_in_view(), "--rehearse", str(script)], check=False, capture_output=True).stdout
    saw.run(saw.cut("--no-voice"))
    assert "still open" not in saw.until(FIRST_CHECK)
    saw.keys(("h", SECOND_CHECK), ("q", "Go back to it with: kerfcall resume "))
    session = saw.ended()[1].split()[0]
    saw.run(saw.cut_in_view("--no-voice") if view else saw.cut("--no-voice"))
    saw.until(f"This session is still open: Small tray, 0 passes cut (kerfcall resume {session} --state ")
    saw.until("leave this new session and resume the old one.")
    if not view:
        saw.until(FIRST_CHECK)
        saw.keys(("h", SECOND_CHECK))
    saw.keys(("q", "stays open"))
    assert saw.ended()[0] == 1


@pytest.mark.long
def test_q_leaves_it_open_and_resume_calls_the_pass_in_flight_again(saw: Saw) -> None:
    """Exit code 1 and how to resume. Then it asks about carriage, work, clamps and guard; the pass is not cut."""
    saw.run(saw.cut("--no-voice"))
    saw.until(FIRST_CHECK)
    saw.keys(("h", SECOND_CHECK), ("h", "pass 1/2"), (" ", "pass 2/2"), ("q", "Go back to it with: kerfcall resume "))
    code, rest = saw.ended()
    session = rest.split()[0]
    assert code == 1 and saw.state() == "open"
    left = [("started",), ("setup_started", 1), *checked(1, "keys"), *one_pass(1, 1, "keys"), ("setting_called", 1, 2)]
    assert saw.facts() == left

    saw.run(saw.words("resume", session, "--no-voice", "--plain"))
    saw.until("1 pass is recorded as cut.")
    saw.keys(("h", "still clamped"), ("h", FIRST_CHECK), ("h", SECOND_CHECK), ("h", "pass 2/2"))
    saw.keys((" ", LAST_CHECK), ("h", "setup 2/2, " + BOTH_CHECKS), ("h", "pass 1/2"), (" ", "pass 2/2"))
    saw.keys((" ", LAST_CHECK), ("h", "All cut."), ("q", ""))
    code, rest = saw.ended()
    assert code == 0 and "stays open" not in rest
    came_back = [("resumed", 1, 2), *checked(1, "keys"), *one_pass(1, 2, "keys"), *counted(1, "keys")]
    assert saw.facts() == [*left, *came_back, *one_setup(2, "keys"), ("finished",)]


@needs_x
def test_a_pedal_drives_it_from_any_window(saw: Saw, xserver: XServer) -> None:
    """Tap, double tap and long press (with auto-repeat) are one gesture each; another key is none."""
    saw.run(saw.cut("--no-voice"), DISPLAY=xserver.display, XDG_SESSION_TYPE="x11")
    saw.until(FIRST_CHECK)
    time.sleep(SETTLE_S)

    def press_long(shown: str) -> None:
        time.sleep(TOLD_S)
        xserver.key("Next", LONG_S)
        saw.until(shown)

    def tap(shown: str) -> None:
        time.sleep(TOLD_S)
        xserver.key("Next")
        saw.until(shown)

    tap("?? Setup 1 of 2: ")  # a tap confirms nothing: the check is asked again
    press_long(SECOND_CHECK)
    press_long("pass 1/2")
    time.sleep(DOUBLE_S)  # no foot is faster: a press at once after a release is a bounce
    xserver.xdotool("key", "Next", "sleep", str(DOUBLE_S), "key", "Next")
    saw.until("Again: ")
    for other in ("Prior", "space", "b", "F13"):
        xserver.key(other)
    tap("pass 2/2")
    press_long("standing by")
    press_long("check: carrying on,")
    press_long("pass 2/2")
    tap(LAST_CHECK)
    press_long("setup 2/2, " + BOTH_CHECKS)
    saw.key("q")
    assert saw.ended()[0] == 1
    pedal = "pedal"
    assert saw.facts() == [
        ("started",),
        ("setup_started", 1),
        *checked(1, pedal),
        *one_pass(1, 1, pedal),
        ("setting_called", 1, 2),
        ("stood_by", pedal),
        ("carried_on", pedal),
        *asked(1, pedal, "carrying on"),
        *one_pass(1, 2, pedal),
        *counted(1, pedal),
        ("setup_started", 2),
        ("check_opened", 2, "clamps and guard"),
    ]


@needs_x
@pytest.mark.skipif(not shutil.which("xterm"), reason="xterm is not installed")
def test_a_press_counts_once_while_the_programs_own_terminal_has_the_focus(saw: Saw, xserver: XServer) -> None:
    """The key reaches the program twice, from the display and from the terminal: a tap is one pass, not two.

    The terminal is a real one of 80 by 24, so it shows the view.
    """
    out = saw.folder / "code"
    script = f'"$@"; echo $? > "{out}"'
    environ = {**os.environ, "DISPLAY": xserver.display, "XDG_SESSION_TYPE": "x11"}
    command = ["xterm", "-e", "sh", "-c", script, "sh", *saw.cut_in_view("--no-voice")]

    def reached(fact: Fact) -> None:
        wait_for(lambda: (saw.folder / "state").exists() and saw.facts()[-1:] == [fact], within_s=40)

    with subprocess.Popen(command, env=environ, stderr=subprocess.DEVNULL) as terminal:
        try:
            window = xserver.xdotool("search", "--sync", "--onlyvisible", "--class", "xterm").split()[0]
            xserver.xdotool("windowfocus", "--sync", window)
            wait_for(lambda: any(saw.folder.glob("state/journal.sqlite3")), within_s=40)
            reached(("check_opened", 1, "clamps"))
            # Sooner than GAP_S the terminal would take a second press for auto-repeat, and nothing would be proven.
            for down_s, fact in (
                (LONG_S, ("check_opened", 1, "guard")),
                (LONG_S, ("setting_called", 1, 1)),
                (0.05, ("setting_called", 1, 2)),
            ):
                time.sleep(TOLD_S)
                xserver.key("Next", down_s)
                reached(fact)
            time.sleep(TOLD_S)
            xserver.xdotool("key", "space")  # the terminal's own keys work beside it
            reached(("check_opened", 1, "saw off"))
            time.sleep(TOLD_S)
            xserver.key("Next", LONG_S)
            reached(("check_opened", 2, "clamps and guard"))
            xserver.xdotool("key", "q")
            wait_for(lambda: out.exists() and out.read_text() == "1\n")
        finally:
            terminal.kill()
    passes = [*one_pass(1, 1, "pedal"), *one_pass(1, 2, "keys"), *counted(1, "pedal")]
    start = [("started",), ("setup_started", 1), *checked(1, "pedal")]
    assert saw.facts() == [*start, *passes, ("setup_started", 2), ("check_opened", 2, "clamps and guard")]


def test_without_any_sound_device_it_runs_on_in_text_and_says_so_once(saw: Saw) -> None:
    """Neither loudspeaker nor microphone: each is reported once, with what replaces it, and the job goes on by keys."""
    (saw.folder / "no-sound.conf").write_text("")
    nowhere = str(saw.folder / "no-server")
    saw.run(saw.cut(), ALSA_CONFIG_PATH=str(saw.folder / "no-sound.conf"), PULSE_SERVER=f"unix:{nowhere}")
    shown = saw.until(FIRST_CHECK)
    time.sleep(4.0)  # long enough for several attempts to open the loudspeaker again
    for key, text in (("h", SECOND_CHECK), ("h", "pass 1/2"), (" ", "pass 2/2"), ("q", "stays open")):
        saw.key(key)
        shown += saw.until(text)
    code, rest = saw.ended()
    shown += rest
    assert code == 1
    assert shown.count("No loudspeaker") == 1, shown
    assert shown.count("icrophone") == 1, shown
    assert "on the screen only" in shown
    assert "Traceback" not in shown and "ALSA" not in shown
    passes = [*one_pass(1, 1, "keys"), ("setting_called", 1, 2)]
    assert saw.facts() == [("started",), ("setup_started", 1), *checked(1, "keys"), *passes]
