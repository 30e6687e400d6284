"""The view through real pseudo-terminals: the program in them, the page read back by an emulator."""

from __future__ import annotations

import contextlib
import io
import os
import re
import signal
import statistics
import struct
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.journal.store import Journal
from assistant.runner.clock import LiveClock
from assistant.runner.loop import Outputs, Runner
from assistant.screens import view_letters as letters
from assistant.screens.mishap_note import HOW_TO
from assistant.screens.view import TerminalView, why_no_view
from assistant.session import facts as f
from assistant.session.announced import READING_S
from assistant.session.events import Gesture, Start
from tests.commands.program import PLAN
from tests.runner.adapters import drain
from tests.sampling import every
from tests.session.jobs import few_checks, job, plan, with_pass_time

pytest.importorskip("pyte")
pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a matter of POSIX"),
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
]
if sys.platform != "win32":
    from tests.screens.view_rig import SHELL, Rig, program

SHOP = """
unit = "mm"
checks_off = ["zero", "edge and face", "blade height", "backing"]
[blade]
kerf = 3.18
run_down_s = 0
[pedal]
pass_takes_s = 1
"""
SILENT = ("--no-voice", "--no-pedal")
MANY = PLAN.replace("width = 18", "width = 600")
SIZES = [(80, 24), (200, 60)]
TOLD_S = READING_S + 0.4  # what was only shown counts as announced from then on
GAP_S = 0.8  # the same key sooner is auto-repeat
SLOW_S = 10.0
PRESSES_UNREAD = 12


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Rig]]:
    rigs: list[Rig] = []

    def begin(
        *options: str, size: tuple[int, int] = (80, 24), plan: str = PLAN, shop: str = SHOP, **environ: Any
    ) -> Rig:
        command = program(tmp_path, *options, plan=plan, shop=shop)
        rigs.append(Rig(command, size[0], size[1], **environ))
        return rigs[-1]

    yield begin
    for rig in rigs:
        rig.close()


def facts(folder: Path) -> list[f.Record]:
    with Journal.open(folder / "state") as journal:
        return list(journal.replay(journal.sessions()[-1].id))


def drawn(text: str, least: int = 1) -> Callable[[str], bool]:
    """Whether this stands on a page in big letters, of this scale at least."""
    sizes = [[line.rstrip() for line in letters.big(text, scale)] for scale in range(least, 9)]

    def holds(page: str) -> bool:
        rows = page.splitlines()
        return any(
            all(a in b for a, b in zip(lines, rows[n:], strict=False))
            for lines in sizes
            for n in range(len(rows) - len(lines))
        )

    return holds


def confirm(rig: Rig, *shown: str) -> None:
    """One long press for each of these checks, known by its big letters."""
    for check in shown:
        rig.until(drawn(check))
        time.sleep(TOLD_S)
        rig.send("h")


def to_the_first_pass(rig: Rig, *shown: str) -> None:
    """Through the checks, by default those of the first setup, to a setting that counts as announced."""
    confirm(rig, *(shown or ("KEEP CLEAR", "GUARD")))
    rig.until("pass 1 of")
    time.sleep(TOLD_S)


def test_the_job_is_shown_over_the_page_and_a_change_of_it_is_read_back(
    start: Callable[..., Rig], tmp_path: Path
) -> None:
    """The table covers no setting; a number and a key ask, yes does it, and then the board is to come out."""
    rig = start()
    to_the_first_pass(rig)
    setting = f"{float(facts(tmp_path)[0].fact.job.pattern_of(1).passes[0].setting):.2f}"  # type: ignore[attr-defined]
    rig.send("j")
    rig.until("Type a setup's number", "setup        board", "now", "begun", drawn(setting))
    rig.send("1")
    rig.send(" ")
    rig.until("The job stays as it is", lambda page: "Type a setup's number" not in page, drawn(setting))
    assert not any(isinstance(record.fact, f.PassCut) for record in facts(tmp_path)), "the space was no tap"
    rig.send("j")
    rig.until("Type a setup's number")
    for key in ("1", "k"):
        rig.send(key)
    rig.until(drawn("ONE MORE?"), lambda page: "Type a setup's number" not in page)
    time.sleep(TOLD_S)
    rig.send("y")
    rig.until("pass 1 of 2", "setup 1 of 4", drawn(setting))
    time.sleep(TOLD_S)
    rig.send("j")
    rig.until("Type a setup's number")
    for key in ("1", "x"):
        rig.send(key)
    rig.until(drawn("SPOILT?"))
    time.sleep(TOLD_S)
    rig.send("y")
    rig.until(drawn("BOARD OUT"), "SAW OFF", "setup 1 ", lambda page: "setup 1 of" not in page)
    confirm(rig, "BOARD OUT")
    rig.until(drawn("KEEP CLEAR"), "setup 3 (1 of 4)")
    told = [record.fact.kind for record in facts(tmp_path)]
    assert told.count("job_extended") == 2 and told[-2:] == ["setup_started", "check_opened"]
    rig.send("q")
    rig.ended()


def test_what_went_wrong_is_chosen_from_the_list_and_what_to_do_stays_until_it_goes_on(
    start: Callable[..., Rig], tmp_path: Path
) -> None:
    rig = start()
    to_the_first_pass(rig)
    rig.send(" ")
    rig.until("pass 2 of 2")
    rig.send("x")
    rig.until("Stand by first (s).", lambda page: HOW_TO not in page)
    rig.send("s")
    rig.until(drawn("STANDING BY"), "tap: what went wrong")
    rig.send("x")
    rig.until(HOW_TO, "8  the cuts are too deep", "17  you are taking a break")
    for key in ("8", " "):
        rig.send(key)
    rig.until("Nothing was reported; nothing else was done.", lambda page: HOW_TO not in page, drawn("STANDING BY"))
    for key in ("x", "8", "\r"):
        rig.send(key)
    rig.until(drawn("TOO DEEP?"), drawn("PLUG OUT?"), "tap: next", lambda page: HOW_TO not in page)
    time.sleep(TOLD_S)
    rig.send("y")
    rig.until(drawn("TOO DEEP BY?"), "tap: one more", "#: type it")
    for key in ("#", "5", "\r"):
        rig.send(key)
    rig.until(drawn("TOO DEEP BY"), drawn("0.5 MM?"), "long press: yes")
    time.sleep(TOLD_S)
    rig.send("y")
    rig.until(drawn("CUT TO"))
    time.sleep(TOLD_S)
    rig.send("y")
    card = "measure it at the tooth that stands highest."
    standing_by = lambda page: card in " ".join(page.split())  # noqa: E731
    rig.until(drawn("SAW OFF", 2), "STANDING BY", standing_by)
    for key, line in (("m", "problem marked"), ("l", "left"), ("w", "Standing by")):
        rig.send(key)
        rig.until(line, standing_by)
    assert kinds(tmp_path)[-4:] == ["stood_by", "went_wrong", "depth_set", "noted"]
    rig.send("c")
    rig.until("QUESTION", lambda page: not standing_by(page))
    rig.send("q")
    rig.ended()


def kinds(folder: Path) -> list[str]:
    return [record.fact.kind for record in facts(folder)]


def test_among_plain_lines_the_job_is_shown_and_changed_alike(start: Callable[..., Rig], tmp_path: Path) -> None:
    rig = start("--plain")
    rig.until("[setup 1/2")
    time.sleep(TOLD_S)
    rig.send("j")
    rig.until("Type a setup's number", "setup        board", "1  now   long side")
    for key in ("2", "u", "9", "\r"):
        rig.send(key)
    rig.until("Cut again in setup 2", "There is no socket 9 in setup 2; it has 1.")
    time.sleep(GAP_S)
    rig.send("j")
    for key in ("2", "\r"):
        rig.send(key)
    rig.until("Go on with long side, end 2?")
    time.sleep(TOLD_S)
    rig.send("y")
    rig.until("[setup 2/2")
    assert [record.fact.kind for record in facts(tmp_path)][-2:] == ["setup_started", "check_opened"]
    rig.send("q")
    rig.ended()


@pytest.mark.parametrize("size", every(2, [(size,) for size in SIZES]))
def test_a_job_from_the_first_check_to_the_last_pass(start: Callable[..., Rig], tmp_path: Path, size: tuple) -> None:
    """Cells, not colours, tell it: what is asked, the setting, the pass, what is cut; at the end the shell's page."""
    rig = start(size=size)
    keep_clear = "Keep clear: 5 to 13 mm, up to 26 mm above the bed."
    rig.until("Clamps, screws", lambda page: keep_clear in " ".join(page.split()))
    for line in ("KEEP CLEAR", "5 TO 13 MM", "BELOW 26 MM"):
        rig.until(drawn(line, 1 if size == (80, 24) else 2))
    to_the_first_pass(rig)
    setting = f"{float(facts(tmp_path)[0].fact.job.pattern_of(1).passes[0].setting):.2f}"  # type: ignore[attr-defined]
    scale = 2 if size == (80, 24) else 6
    rig.until(drawn(setting, scale))
    rig.until(
        *("tap: pass cut, call next", "▼", "▲", "░"),
        lambda page: "STOP" in page or "STOP" in "".join(line[1:2] for line in page.splitlines()),
    )
    rig.send(" ")
    rig.until("pass 2 of 2", "keys tap -> pass 1 is cut", "here", "1/2")
    time.sleep(TOLD_S)
    rig.send(" ")
    for line in ("SAW OFF", "COUNT 1"):
        rig.until(drawn(line, 1 if size == (80, 24) else 3), "setup 1 of 2")
    confirm(rig, "SAW OFF")
    rig.until("setup 2 of 2")
    to_the_first_pass(rig, "KEEP CLEAR")
    rig.send(" ")
    rig.until("pass 2 of 2")
    time.sleep(TOLD_S)
    rig.send(" ")
    confirm(rig, "SAW OFF")
    rig.until(drawn("ALL CUT", 1 if size == (80, 24) else 3), "q: leave")
    rig.send("q")
    assert rig.ended() == 0
    left = rig.screen.text
    assert "-- Setup 2: under 1 min for 2 passes" in left and "-- Setup 1: under 1 min for 2 passes" in left
    assert SHELL in left and "All cut. Isolate the saw" in left and "4 of 4 in all" in left.replace("\n", " ")
    assert rig.mode_is_back()


def test_at_a_setups_end_the_wait_for_the_blade_counts_down_and_goes(start: Callable[..., Rig], tmp_path: Path) -> None:
    """A long press before it has gone confirms nothing."""
    rig = start(shop=SHOP.replace("run_down_s = 0", "run_down_s = 8"))
    to_the_first_pass(rig)
    rig.send(" ")
    rig.until("pass 2 of 2")
    time.sleep(TOLD_S)
    rig.send(" ")
    seen: list[int] = []

    def waiting(page: str) -> bool:
        """Keeps each figure that stands beside the big letters."""
        figures = [n for n in range(1, 9) if drawn(f"WAIT {n}")(page)]
        seen.extend(n for n in figures if n not in seen)
        return bool(figures)

    rig.until(drawn("COUNT 1"))
    rig.until(waiting)
    time.sleep(TOLD_S)
    rig.send("h")
    rig.until("Not counted: the blade may still have been turning.")
    rig.until(lambda page: not waiting(page) and drawn("COUNT 1")(page))
    assert len(seen) >= 3 and seen == sorted(seen, reverse=True)
    assert facts(tmp_path)[-1].fact == f.CheckOpened(1, "saw off")
    time.sleep(GAP_S)
    rig.send("h")
    rig.until("setup 2 of 2")


def test_leaving_in_the_middle_tells_the_session_and_how_to_come_back(start: Callable[..., Rig]) -> None:
    rig = start()
    to_the_first_pass(rig)
    assert SHELL not in rig.screen.text and rig.screen.alternate and rig.screen.cursor.hidden
    rig.send("q")
    assert rig.ended() == 1
    left = rig.screen.text
    assert re.search(r"Session \S+ stays open\. Go back to it with: kerfcall resume", left)
    assert "Session" in left and "pass 1/2" in left and SHELL in left
    assert rig.mode_is_back()


def test_the_page_follows_the_size_of_the_terminal(start: Callable[..., Rig]) -> None:
    rig = start()
    to_the_first_pass(rig)
    rig.resize(200, 60)
    rig.until("pass 1 of 2, setup 1 of 2", drawn("9.16", 7), "long press: stand by")
    rig.until(lambda page: page.splitlines()[-6].rstrip().endswith("?: keys") and len(page.splitlines()) == 60)
    rig.resize(60, 20)  # smaller than it wants to be: what matters most is still there
    rig.until("pass 1 of 2", "set 9.16 mm", lambda page: all(len(line) <= 60 for line in page.splitlines()))
    rig.resize(10, 4)
    rig.read(1.0)
    rig.resize(80, 24)
    rig.until("tap: pass cut, call next")
    assert rig.process.poll() is None


def test_what_a_long_press_means_while_standing_by_goes_when_that_is_over(
    start: Callable[..., Rig], tmp_path: Path
) -> None:
    """Carried on, or killed and resumed: a long press confirms or means yes, and nothing says that it carries on."""
    rig = start()
    to_the_first_pass(rig)
    for _ in range(2):
        rig.send("h")
        rig.until(drawn("STANDING BY"), "long press: carry on", lambda page: "to carry on" not in page)
        rig.send(" ")
        rig.until(drawn("WHAT WENT"), "double tap: never mind")
        rig.send("d")
        rig.until(drawn("STANDING BY"), "long press: carry on")
        rig.send("h")
        asked = ("Saw off? Clamps still tight, guard on?", "long press: confirmed")
        rig.until(*asked, lambda page: "carry on" not in page)
        to_the_first_pass(rig, "CARRYING")
    rig.send("h")
    rig.until("long press: carry on")
    rig.process.kill()
    rig.ended()
    again = Rig([sys.executable, "-m", "assistant", "resume", "--state", str(tmp_path / "state"), *SILENT])
    try:
        again.until(drawn("UNTOUCHED?"), "long press: yes", lambda page: "carry on" not in page)
    finally:
        again.close()


@pytest.mark.long
def test_nothing_is_sent_while_nothing_changes(start: Callable[..., Rig]) -> None:
    rig = start()
    to_the_first_pass(rig)
    rig.read(1.0)
    before = len(rig.sent)
    rig.read(3.0)
    assert len(rig.sent) == before


@pytest.mark.long
def test_a_pass_sends_a_part_of_a_page_only(start: Callable[..., Rig]) -> None:
    rig = start(plan=MANY)
    to_the_first_pass(rig)
    # With the first cut goes what the session began with, and the rest of the page moves up.
    rig.read(1.0)
    rig.send(" ")
    rig.read(GAP_S)
    whole = 80 * 24
    for _ in range(3):
        before = len(rig.sent)
        rig.send(" ")
        rig.read(GAP_S)
        assert 50 < len(rig.sent) - before < 0.6 * whole


@pytest.mark.long
def test_background_is_never_set_and_no_color_is_honoured(start: Callable[..., Rig]) -> None:
    """A dark terminal stays dark and a light one light. SGR 40 to 48 and 100 to 107 would set a background."""
    for environ, colours in (({}, {1, 32, 33, 35}), ({"NO_COLOR": "1"}, {1})):  # of checks, of cutting, of marks
        rig = start(**environ)
        to_the_first_pass(rig)
        codes = {int(n) for some in re.findall(rb"\x1b\[([\d;]*)m", rig.sent) for n in some.split(b";") if n}
        assert codes - {0, 7, 22, 27, 39} == colours
        rig.close()


@pytest.mark.parametrize(
    ("options", "size", "environ", "why"),
    [
        (("--plain",), (80, 24), {}, ""),
        ((), (79, 24), {}, "79 columns; 80 are needed."),
        ((), (80, 23), {}, "23 rows; 24 are needed."),
        ((), (80, 24), {"TERM": "dumb"}, "the terminal's kind (TERM) is dumb;"),
        ((), (80, 24), {"TERM": None}, "the terminal's kind (TERM) is not set;"),
        (
            (),
            (80, 24),
            {"PYTHONUTF8": "0", "PYTHONIOENCODING": "latin-1"},
            "the encoding is iso8859-1; UTF-8 is needed.",
        ),
    ],
)
def test_where_a_page_would_not_do_there_are_plain_lines_that_say_why(
    start: Callable[..., Rig],
    options: tuple[str, ...],
    size: tuple[int, int],
    environ: dict[str, str | None],
    why: str,
) -> None:
    rig = start(*options, size=size, **environ)
    shown = rig.until("check: clamps")
    assert (f"-- Plain lines: {why}" in shown) if why else "Plain lines" not in shown
    assert b"\x1b[?1049h" not in rig.sent and b"\x1b[2J" not in rig.sent
    rig.send("q")
    assert rig.ended() == 1


def test_no_terminal_no_page() -> None:
    assert why_no_view(io.StringIO())


@pytest.mark.parametrize("number", every(2, [signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGQUIT]))
def test_signals_leave_the_terminal_as_it_was(start: Callable[..., Rig], number: int) -> None:
    rig = start()
    to_the_first_pass(rig)
    os.kill(rig.process.pid, number)
    assert rig.ended() == (-number if number == signal.SIGQUIT else 1)
    assert SHELL in rig.screen.text
    assert rig.mode_is_back() or number == signal.SIGQUIT and not rig.screen.alternate


def test_control_c_leaves_the_session_open_and_the_terminal_as_it_was(start: Callable[..., Rig]) -> None:
    rig = start()
    to_the_first_pass(rig)
    rig.send("\x03")
    assert rig.ended() == 1
    assert "stays open" in rig.screen.text and rig.mode_is_back()


def test_a_crash_leaves_the_terminal_as_it_was_and_is_told_on_it(start: Callable[..., Rig], tmp_path: Path) -> None:
    """The journal's disk is gone: the program ends with its message on the shell's page."""
    rig = start()
    to_the_first_pass(rig)
    for file in (tmp_path / "state").glob("journal.sqlite3*"):
        file.write_bytes(b"no database at all")
    rig.send(" ")
    assert rig.ended() not in (0, 1)
    assert SHELL in rig.screen.text and "journal" in rig.screen.text
    assert rig.mode_is_back()


def test_control_z_gives_the_page_to_the_shell_and_coming_back_takes_it_anew(tmp_path: Path) -> None:
    """Under a real shell with job control, as it is on a bench."""
    command = " ".join(program(tmp_path, plan=PLAN, shop=SHOP))
    rig = Rig(["sh", "-i"], PS1="ready> ")
    try:
        rig.until("ready>")
        rig.send(command + "\n")
        to_the_first_pass(rig)
        rig.send("\x1a")
        rig.until(lambda page: "topped" in page and page.rstrip().endswith("ready>"))
        assert not rig.screen.alternate and not rig.screen.cursor.hidden
        rig.read(1.2)
        assert not rig.screen.alternate  # it doesn't draw over the shell
        rig.send("fg\n")
        rig.until("tap: pass cut, call next")
        assert rig.screen.alternate and rig.screen.cursor.hidden
        rig.send("q")
        rig.until(lambda page: "stays open" in page and page.rstrip().endswith("ready>"))
    finally:
        rig.close()


def test_what_others_write_to_the_standard_error_does_not_tear_the_page(tmp_path: Path) -> None:
    """It is told at the end."""
    script = (
        "import os, sys, time\n"
        "from assistant.screens.view import TerminalView\n"
        "view = TerminalView(sys.stdout, 'X')\n"
        "view.note('a line of the log')\n"
        "time.sleep(0.5)\n"
        "print('a library complains', file=sys.stderr)\n"
        "os.write(2, b'and another one' + bytes([10]))\n"
        "time.sleep(0.5)\n"
        "view.close()\n"
    )
    rig = Rig([sys.executable, "-c", script])
    try:
        rig.until("a line of the log")
        rig.read(0.8)
        if rig.screen.alternate:
            assert "complains" not in rig.screen.text
        assert rig.ended() == 0
        assert "a library complains" in rig.screen.text and "and another one" in rig.screen.text
    finally:
        rig.close()


def test_a_list_lies_over_the_page_for_its_time_only(tmp_path: Path) -> None:
    """With nothing pressed and nothing said; a pairing code is not left standing."""
    script = (
        "import sys, time\n"
        "from assistant.screens import view as module\n"
        "from tests.screens.test_view_sight import Session\n"
        "assert module.NOTE_S == 20.0\n"
        "module.NOTE_S = 3.0\n"
        "view = module.TerminalView(sys.stdout, 'X')\n"
        "view._gathering = Session().cutting().gathering\n"
        "view.note('Bench page:\\n  code 1234 5678')\n"
        "time.sleep(6)\n"
        "view.close()\n"
    )
    rig = Rig([sys.executable, "-c", script])
    try:
        rig.until("code 1234 5678")
        rig.read(1.0)
        assert "code 1234 5678" in rig.screen.text and rig.screen.alternate
        rig.until(lambda page: "1234" not in page)
        assert rig.screen.alternate  # the page is still there, the list is not
        assert rig.ended() == 0
    finally:
        rig.close()


def test_the_pages_address_stays_beside_a_check_while_its_code_is_good(tmp_path: Path) -> None:
    """What else is told at the start, such as a device that is missing, doesn't take it away; an answer does."""
    command = program(tmp_path, "--page", "--port", "18437", plan=PLAN, shop=SHOP, silent=False)
    rig = Rig(command)
    try:
        rig.until("Bench page: http://127.0.0.1:18437/")
        rig.read(4.0)
        rig.until("To pair a device: code", drawn("BELOW 26 MM"), "Clamps, screws")
        rig.send("h")
        rig.until(lambda shown: "Bench page" not in shown)
    finally:
        rig.close()


def test_a_view_that_breaks_down_goes_on_in_plain_lines(tmp_path: Path) -> None:
    script = (
        "import sys, time\n"
        "from assistant.screens.view import TerminalView\n"
        "view = TerminalView(sys.stdout, 'X')\n"
        "view.gauges = lambda: 1 / 0\n"
        "view.look(); time.sleep(0.5)\n"
        "view.said('12.35', 'setting', '')\n"
        "view.close()\n"
    )
    rig = Rig([sys.executable, "-c", script])
    try:
        assert rig.ended() == 0
        assert "failed (ZeroDivisionError" in rig.screen.text and ">> 12.35" in rig.screen.text
        assert not rig.screen.alternate
    finally:
        rig.close()


# --- a slow terminal


@contextlib.contextmanager
def unread() -> Iterator[tuple[int, io.TextIOWrapper]]:
    """A terminal that nobody reads."""
    import fcntl
    import termios

    master, slave = os.openpty()
    fcntl.ioctl(master, termios.TIOCSWINSZ, struct.pack("HHHH", 60, 200, 0, 0))
    out = os.fdopen(slave, "w", encoding="utf-8")
    try:
        yield master, out
    finally:
        with contextlib.suppress(OSError):
            out.close()
        os.close(master)


def is_stuck(out: io.TextIOWrapper) -> bool:
    """Whether the terminal takes not one byte more."""
    fd = os.open(os.ttyname(out.fileno()), os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        os.write(fd, b".")
    except BlockingIOError:
        return True
    finally:
        os.close(fd)
    return False


def test_a_terminal_that_is_not_read_for_ten_seconds_never_delays_the_session() -> None:
    """Each turn of the session, its commit to nowhere, is done, and so is closing; what waits never ends."""
    a_job = with_pass_time(job(plan(width=1500, finger=5, parts="A", ends=1), few_checks()), 0.0)
    with unread() as (master, out):
        view = TerminalView(out, "X")
        clock = LiveClock()
        runner = Runner(lambda records: None, Outputs(screens=[view], watchers=[view]), clock)
        alone = Runner(lambda records: None, Outputs(), clock)

        def turn(of: Runner) -> float:
            begun = time.perf_counter()
            of.handle(Gesture(clock.at(), "", "tap" if of.state.mode == "cutting" else "hold", clock.at()))
            drain(of)
            return time.perf_counter() - begun

        for each in (runner, alone):
            each.handle(Start(clock.at(), "", a_job))
        turns, floor, stuck, end = [], [], 0, time.monotonic() + SLOW_S
        while time.monotonic() < end:
            turns.append(turn(runner))
            floor.append(turn(alone))
            stuck += is_stuck(out)
            time.sleep(0.05)
        assert len(turns) > 50 and stuck > len(turns) / 2
        assert statistics.median(turns) < 3 * statistics.median(floor), "against a session without a screen"
        view.close()
        left = b""
        os.set_blocking(master, False)
        with contextlib.suppress(BlockingIOError, OSError):
            while data := os.read(master, 65536):
                left += data
        assert b"\x1b[?1049l" in left


def test_the_program_on_a_terminal_that_is_not_read_counts_nothing_unseen_and_catches_up(
    start: Callable[..., Rig], tmp_path: Path
) -> None:
    """Resized again and again, so that whole pages fill the terminal's buffer.

    Then the newest page comes, and not all that were missed.
    """
    rig = start(size=(200, 60), plan=MANY)
    to_the_first_pass(rig)

    def passes_cut() -> int:
        return sum(isinstance(record.fact, f.PassCut) for record in facts(tmp_path))

    for n in range(PRESSES_UNREAD):
        rig.resize(200 - n % 2, 60)
        rig.send(" ")
        time.sleep(TOLD_S)
    cut = passes_cut()
    assert 1 <= cut < PRESSES_UNREAD - 2
    before = len(rig.sent)
    rig.resize(200, 60)
    rig.until(f"pass {cut + 1} of")
    rig.read(0.7)
    assert len(rig.sent) - before < 0.6 * PRESSES_UNREAD * 200 * 60
    rig.read(TOLD_S)
    rig.send(" ")
    rig.until(f"pass {cut + 2} of")
    rig.send("q")
    assert rig.ended() == 1 and rig.mode_is_back()
