"""Streams closed or full, too few handles, Ctrl-C: one line, an exit code, no traceback, nothing left behind.

Real processes, as a shell would start them.
"""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant import process
from assistant.journal.store import Journal
from tests.commands.program import PLAN, SHOP
from tests.hearing.test_download import ARCHIVE, site  # noqa: F401 (a fixture)
from tests.hearing.voices import write_wav
from tests.sampling import every

psutil = pytest.importorskip("psutil")
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="streams and signals as on POSIX systems")
MATE = '[[boards]]\nname = "short side"\npart = "B"\nends = 2\n'  # without it a warning is given
STOPPED = "kerfcall: stopped with Ctrl-C"
TAG = "KERFCALL_TEST_PROCESS"
FULL = "kerfcall: standard output can't be written: No space left on device; the rest was not written\n"
CLOSED = "kerfcall: standard output is closed, so nothing can be shown; leave out >&-, or redirect it to a file\n"
GONE = "kerfcall: the program that read the output has ended; the rest was not written\n"
KERFCALL = f"{sys.executable} -m assistant"
needs_full = pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is full")


class Bench:
    """A folder with plan, shop file, script and journal, and processes started in it."""

    def __init__(self, folder: Path):
        self.folder = folder
        self._started: list[subprocess.Popen[str]] = []
        for name, text in (("plan.toml", PLAN + MATE), ("shop.toml", SHOP), ("script.txt", "1 pedal tap\n")):
            (folder / name).write_text(text, encoding="utf-8")
        root = str(Path(__file__).parents[1])
        kept = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "PYTHONUNBUFFERED")}
        path = os.pathsep.join((root, kept.get("PYTHONPATH", "")))
        self.environ = kept | {TAG: str(folder), "PYTHONPATH": path, "XDG_DATA_HOME": str(folder / "data")}

    def shell(self, line: str, **environ: str) -> subprocess.CompletedProcess[str]:
        """A line for a shell, in which KERFCALL is the program."""
        return subprocess.run(
            ["bash", "-c", line.replace("KERFCALL", KERFCALL)],
            cwd=self.folder,
            env=self.environ | environ,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )

    def start(self, *words: str) -> subprocess.Popen[str]:
        """In a session of its own, as a terminal's foreground group."""
        self._started.append(
            subprocess.Popen(
                [sys.executable, *words],
                cwd=self.folder,
                env=self.environ,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
                start_new_session=True,
            )
        )
        return self._started[-1]

    def ours(self) -> list[Any]:
        """Every process that descends from one of ours, however it came by another parent."""
        found = []
        for one in psutil.process_iter():
            try:
                if one.environ().get(TAG) == str(self.folder) and one.status() != psutil.STATUS_ZOMBIE:
                    found.append(one)
            except psutil.Error:
                continue
        return found

    def all_gone(self) -> bool:
        end = time.monotonic() + 30
        while self.ours() and time.monotonic() < end:
            time.sleep(0.1)
        return not self.ours()

    def close(self) -> None:
        for one in self._started:
            one.kill()
            one.communicate()
        for one in self.ours():
            one.kill()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    bench = Bench(tmp_path)
    yield bench
    bench.close()


LAYOUT = "KERFCALL layout plan.toml --shop shop.toml"
CUT = "KERFCALL cut plan.toml --shop shop.toml --state state --rehearse script.txt"


@needs_full
@pytest.mark.parametrize("unbuffered", every(2, ["", "1"]))
@pytest.mark.parametrize("line", [LAYOUT, f"{LAYOUT} --json", "KERFCALL --help", "KERFCALL layout --help", CUT])
def test_a_full_output_is_one_line(bench: Bench, line: str, unbuffered: str) -> None:
    done = bench.shell(f"{line} >/dev/full", PYTHONUNBUFFERED=unbuffered)
    assert (done.returncode, done.stderr) == (3, FULL)


@pytest.mark.parametrize("line", [LAYOUT, "KERFCALL --help", "KERFCALL journal list", "KERFCALL demo", CUT])
def test_a_closed_output_is_one_line(bench: Bench, line: str) -> None:
    done = bench.shell(f"{line} >&-")
    assert (done.returncode, done.stderr) == (3, CLOSED)
    assert not (bench.folder / "state").exists(), "the journal's file would have been taken for the output"


@pytest.mark.parametrize("unbuffered", every(2, ["", "1"]))
@pytest.mark.parametrize(("line", "code"), [(f"{LAYOUT} --json", 0), ("KERFCALL --help", 0), (CUT, 1)])
def test_a_reader_that_is_gone_is_one_line(bench: Bench, line: str, code: int, unbuffered: str) -> None:
    done = bench.shell(f"({line}; echo $? >&2) | true", PYTHONUNBUFFERED=unbuffered)
    if done.stderr != f"{code}\n":  # all of it was taken before the reader went
        assert done.stderr == f"{GONE}{code}\n"


def test_a_reader_that_was_gone_before(bench: Bench) -> None:
    """Certainly gone: it ends before the program starts."""
    done = bench.shell(f"(sleep 1; {LAYOUT}; echo $? >&2) | true")
    assert done.stderr == f"{GONE}0\n"


@needs_full
@pytest.mark.parametrize("to", ["2>/dev/full", "2>&-"])
def test_words_that_standard_error_can_not_take_go_nowhere(bench: Bench, to: str) -> None:
    done = bench.shell(f"KERFCALL layout nope.toml --shop shop.toml {to}")
    assert (done.returncode, done.stdout, done.stderr) == (2, "", "")
    done = bench.shell(f"{LAYOUT} {to}")
    assert done.returncode == 0 and "Small tray" in done.stdout


def test_closed_streams_of_all_kinds(bench: Bench) -> None:
    assert bench.shell(f"{LAYOUT} <&- >&- 2>&-").returncode == 3
    assert bench.shell(f"{LAYOUT} <&-").returncode == 0


@pytest.mark.parametrize("handles", every(2, [6, 16, 40]))
@pytest.mark.parametrize("line", [LAYOUT, "KERFCALL ready", "KERFCALL journal list", "KERFCALL demo", CUT])
def test_too_few_handles_are_one_line(bench: Bench, line: str, handles: int) -> None:
    done = bench.shell(f"ulimit -n {handles}; {line}")
    assert done.returncode == 3 and done.stdout == "" and len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith("kerfcall: only ") and done.stderr.endswith(" with: ulimit -n 256\n")


@pytest.mark.parametrize("line", [LAYOUT, CUT])
def test_as_many_handles_as_are_asked_for_are_enough(bench: Bench, line: str) -> None:
    done = bench.shell(f"ulimit -n 64; {line}")
    assert done.returncode in (0, 1) and done.stderr.count("kerfcall: ") == 0


@pytest.mark.parametrize("code", [errno.EMFILE, errno.ENFILE])
def test_handles_that_run_out_later_are_told_as_such(code: int) -> None:
    error = OSError(code, os.strerror(code), "/some/file")
    text, exit_code = process.explained(error, None, 0)
    assert "too many files are open; allow more" in text and exit_code == 3


def test_an_error_that_nobody_worded_is_still_one_line() -> None:
    assert process.explained(PermissionError(13, "Permission denied", "/some/file"), None, 0) == (
        "/some/file: Permission denied",
        3,
    )


def stopped(done: subprocess.Popen[str], after: str = "") -> None:
    out, err = done.communicate(timeout=60)
    assert err == f"{STOPPED}{after}\n", (out, err)
    assert done.returncode == 130


@pytest.mark.parametrize("number", every(3, [1, 2, 5, 10, 20, 35, 50, 65, 80]))
def test_ctrl_c_in_any_import_of_the_start(bench: Bench, number: int) -> None:
    stopped(
        bench.start("-m", "tests.process_child", "import", str(number), "layout", "plan.toml", "--shop", "shop.toml")
    )


@pytest.mark.parametrize("number", every(2, [120, 200]))
def test_ctrl_c_in_an_import_of_heavy_libraries(bench: Bench, number: int) -> None:
    stopped(bench.start("-m", "tests.process_child", "import", str(number), "soundcheck", "--order"))


@pytest.mark.parametrize("moment", ["dropped", "mistaken"])
def test_a_ctrl_c_that_python_or_a_library_drops_is_not_lost(bench: Bench, moment: str) -> None:
    stopped(bench.start("-m", "tests.process_child", moment, "layout", "plan.toml"))


ADAPTERS = "assistant.runner.adapters"
STEPS = [
    (ADAPTERS, "Adapters.open_speaker"),
    (ADAPTERS, "Adapters.open_listener"),
    (ADAPTERS, "Adapters.open_keys"),
    (ADAPTERS, "Adapters.refuse_if_nothing_drives"),
    ("assistant.hearing.listener", "LiveListener.has_microphone"),  # where it waits longest
]


@pytest.mark.parametrize(("module", "name"), every(2, STEPS))
def test_ctrl_c_while_a_session_opens_its_parts_begins_none(bench: Bench, module: str, name: str) -> None:
    words = ("cut", "plan.toml", "--shop", "shop.toml", "--state", "state", "--no-test-joint")
    child = ("-m", "tests.process_child", "call", module, name)
    stopped(bench.start(*child, *words), ": no session was started")
    with Journal.open(bench.folder / "state") as journal:
        assert journal.sessions() == []
    assert bench.all_gone()


def test_ctrl_c_while_a_session_is_come_back_to_leaves_it_open(bench: Bench) -> None:
    done = bench.shell(f"{CUT}")
    assert done.returncode == 1
    with Journal.open(bench.folder / "state") as journal:
        (before,) = journal.sessions()
    child = ("-m", "tests.process_child", "call", ADAPTERS, "Adapters.open_listener")
    stopped(bench.start(*child, "resume", before.id, "--state", "state"), f": session {before.id} stays open")
    with Journal.open(bench.folder / "state") as journal:
        assert journal.sessions() == [before]


def interrupt(bench: Bench, program: subprocess.Popen[str], child: str, only: bool = False) -> None:
    """Ctrl-C to the whole group, as a terminal sends it, as soon as there is a process of ours that was called so.

    only: to the program only.
    """
    end = time.monotonic() + 60
    above = psutil.Process(program.pid)
    while not any(child in " ".join(_words(one)) for one in _below(above)):
        assert time.monotonic() < end and program.poll() is None, program.communicate()
        time.sleep(0.01)
    (os.kill if only else os.killpg)(program.pid, signal.SIGINT)


def _below(program: Any) -> list[Any]:
    """What it has started; faster than `Bench.ours`, which finds what has come by another parent, too."""
    try:
        return list(program.children(recursive=True))
    except psutil.Error:
        return []


def _words(one: Any) -> list[str]:
    try:
        return list(one.cmdline())
    except psutil.Error:
        return []


@pytest.mark.parametrize("later_s", every(2, [0.0, 0.1, 0.5]))
def test_ctrl_c_while_the_recogniser_loads(bench: Bench, later_s: float) -> None:
    """Its process is in the terminal's group too, and says nothing."""
    write_wav(bench.folder / "said.wav", bytes(32_000))
    program = bench.start("-m", "assistant", "hear", "said.wav")
    interrupt(bench, program, "multiprocessing.spawn")
    time.sleep(later_s)
    stopped(program)
    assert bench.all_gone()


def test_ctrl_c_in_ready_ends_a_driver_that_hangs(bench: Bench) -> None:
    """To the program alone: what asks the sound library is in a process of its own, and would outlive it."""
    hanging = bench.folder / "hanging"
    hanging.mkdir()
    (hanging / "miniaudio.py").write_text("import time\ntime.sleep(600)\n", encoding="utf-8")
    bench.environ["PYTHONPATH"] = os.pathsep.join((str(hanging), bench.environ["PYTHONPATH"]))
    program = bench.start("-m", "assistant", "ready", "--shop", "shop.toml")
    interrupt(bench, program, "sound_child", only=True)
    stopped(program)
    assert bench.all_gone()


def test_ctrl_c_in_the_demo_ends_its_acts(bench: Bench) -> None:
    """The demo, the act's process in it and the recogniser's process in that: one line."""
    program = bench.start("-m", "assistant", "demo", "--state", "state")
    interrupt(bench, program, "multiprocessing.spawn")
    stopped(program)
    assert bench.all_gone()


def test_ctrl_c_while_a_model_is_fetched(bench: Bench, site: Any) -> None:  # noqa: F811
    site.chunk_pause = 0.5
    model = site.model()
    program = bench.start(
        *(
            "-m",
            "tests.process_child",
            "model",
            model.url,
            str(len(ARCHIVE)),
            model.sha256,
            str(bench.folder / "models"),
        )
    )
    end = time.monotonic() + 60
    while not site.asked:
        assert time.monotonic() < end and program.poll() is None, program.communicate()
        time.sleep(0.01)
    os.killpg(program.pid, signal.SIGINT)
    stopped(program)
    assert not (bench.folder / "models" / model.name).exists()


def test_what_is_started_shielded_does_not_see_ctrl_c() -> None:
    """From its first instruction on: the signal is blocked in it already, though multiprocessing unblocks it once."""
    show = "import signal; print(signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, []))"
    code = (
        "import subprocess, sys\nfrom multiprocessing import resource_tracker\n"
        "from assistant.process import shielded_from_ctrl_c\n"
        "with shielded_from_ctrl_c():\n    resource_tracker.getfd()\n"
        f"    subprocess.run([sys.executable, '-c', {show!r}])\n{show}"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.split() == ["True", "False"]


def test_starting_a_process_is_not_broken_off_by_ctrl_c() -> None:
    """Any thread takes the signal for the main one, which finishes first: a half started child prints a traceback."""
    code = (
        "import os, signal, threading, time\nfrom assistant import process\n"
        "process.begin()\nthreading.Thread(target=time.sleep, args=(60,), daemon=True).start()\n"
        "try:\n"
        "    with process.shielded_from_ctrl_c():\n"
        "        os.kill(os.getpid(), signal.SIGINT)\n        time.sleep(0.3)\n        print('started')\n"
        "    print('went on')\n"
        "except KeyboardInterrupt:\n    print('stopped')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.split() == ["started", "stopped"]


def test_a_program_stopped_with_ctrl_c_waits_until_what_a_thread_starts_has_started() -> None:
    code = (
        "import threading, time\nfrom assistant import process\n"
        "ready = threading.Event()\n"
        "def start():\n"
        "    with process.shielded_from_ctrl_c():\n"
        "        ready.set()\n        time.sleep(0.3)\n        print('started', flush=True)\n"
        "threading.Thread(target=start, daemon=True).start()\n"
        "ready.wait()\nprocess.end(True)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout) == (130, "started\n")
