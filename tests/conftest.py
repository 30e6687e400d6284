"""On a machine that should have every part (KERFCALL_NO_SKIPS is set), a skipped test is a failure.

And what several rooms' tests need: a sound server; a display server, or none; for each test a runtime folder of its
own, so that no test's live session is refused for the sake of another's, or of one that is cutting wood; and a witness
of every session, here and in the processes that a test starts, that nothing counts which was not announced.
"""

from __future__ import annotations

import gc
import itertools
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from assistant.runner import loop
from assistant.runner.one_live import FOLDER_VARIABLE
from tests import witness
from tests.pedal.xserver import XServer
from tests.sound_server import SoundServer, running

# Hundreds of programs are started: where the shell forbids byte code, each of them would compile all of ours.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# The same examples in every run, so that what fails has to do with the last change; others with KERFCALL_EXPLORE. How
# long an example takes is the machine's affair, and what else it is doing.
settings.register_profile(
    "any machine",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=not os.environ.get("KERFCALL_EXPLORE"),
)
settings.load_profile("any machine")

WITNESSED = Path(__file__).parent / "witnessed"
LONGEST = (
    "screens/test_view.py",
    "runner/test_held_moves.py",
    "test_driven_program.py",
    "screens/test_page_chromium.py",
    "runner/test_whole_program.py",
    "screens/test_page_server.py",
    "test_process.py",
    "session/test_rules.py",
    "runner/test_unread.py",
    "hearing/test_listener.py",
    "hearing/test_mishaps.py",
    "pedal/test_listener.py",
    "commands/test_soundcheck.py",
    "runner/test_stalled.py",
    "commands/test_calibrate_drive.py",
    "screens/test_page_halt.py",
    "carriage/test_drive.py",
    "commands/test_ready_carriage.py",
    "screens/test_page_regions.py",
    "speaking/test_device.py",
    "hearing/test_sphinx.py",
    "commands/test_test_joint.py",
    "commands/test_cut.py",
    "calibrating/test_prompts.py",
    "commands/test_ready.py",
    "hearing/test_ear.py",
    "screens/test_view_devices.py",
    "hearing/test_sound_child.py",
    "commands/test_by_ear.py",
    "screens/test_view_regions.py",
    "hearing/test_soundcheck_live.py",
    "commands/test_init.py",
    "runner/test_kill.py",
)
"""Of the files, worst first, what waits and what computes in turn; the others in their usual order."""


def pytest_configure(config: pytest.Config) -> None:
    """A shell that starts the tests in the background has Ctrl-C ignored, and every child would inherit that."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """What `-n auto` starts: four workers more than there are cores.

    Much of the time is spent waiting, for feet that hold, screens that are read and voices that speak.
    """
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return cores + 4


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes(config: pytest.Config) -> None:
    """In a fresh clone each worker would rewrite the assertions of all tests: that is done once, for all of them."""
    here = Path(__file__).parent
    if any((here / "session" / "__pycache__").glob("*-pytest-*.pyc")):
        return
    rooms = sorted(room for room in here.iterdir() if any(room.glob("test_*.py")))
    collect = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "no:xdist", "-o", "addopts="]
    halves = [
        subprocess.Popen([*collect, *map(str, half)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for half in (rooms[::2], rooms[1::2])
    ]
    for half in halves:
        half.wait()


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[None]:
    """All that is collected stays: nothing is gained by going through it again and again, now or later."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The files that take longest go first, so that none of them is left to one core when the others are done."""
    order = {str(Path(__file__).parent / name): n for n, name in enumerate(LONGEST)}
    items.sort(key=lambda item: order.get(str(item.path), len(order)))


@pytest.fixture(autouse=True, scope="session")
def everything_witnessed() -> Iterator[None]:
    """A fixture, not a hook: tests that run side by side are children of a process that must not pass this on."""
    given = os.environ.get("PYTHONPATH")
    with tempfile.TemporaryDirectory(prefix="witness-") as folder, pytest.MonkeyPatch.context() as patch:
        patch.setenv("PYTHONPATH", os.pathsep.join((str(WITNESSED), *((given,) if given else ()))))
        patch.setenv(witness.FILE_VARIABLE, str(Path(folder) / "objections"))
        patch.delenv("COLUMNS", raising=False)  # of the terminal that the tests are run from, not of those they open
        witness.watch_runners(loop, witness.object_here)
        yield


@pytest.fixture(autouse=True)
def nothing_counts_unannounced(everything_witnessed: None) -> Iterator[None]:
    """Also where a program catches what is raised in it, and in the processes that a test starts."""
    yield
    objections = witness.taken()
    if objections:
        pytest.fail("\n".join(objections), pytrace=False)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    skipped = terminalreporter.stats.get("skipped", [])
    if skipped and os.environ.get("KERFCALL_NO_SKIPS"):
        terminalreporter.write_line(f"{len(skipped)} skipped, and no skip is allowed here", red=True)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = reporter.stats.get("skipped", []) if reporter else []
    if skipped and exitstatus == 0 and os.environ.get("KERFCALL_NO_SKIPS"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture(scope="session")
def runtime_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Names of folders, none of them made yet."""
    base = tmp_path_factory.mktemp("runtime")
    return (base / str(number) for number in itertools.count())


@pytest.fixture(autouse=True)
def own_runtime_folder(runtime_folders: Iterator[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(FOLDER_VARIABLE, str(next(runtime_folders)))


@pytest.fixture
def xserver(monkeypatch: pytest.MonkeyPatch) -> Iterator[XServer]:
    """A running display server that this process's DISPLAY names."""
    server = XServer()
    monkeypatch.setenv("DISPLAY", server.display)
    monkeypatch.setenv("XDG_SESSION_TYPE", "x11")
    yield server
    server.end()


@pytest.fixture
def no_display(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("XDG_SESSION_TYPE", raising=False)


@pytest.fixture
def sound_server() -> Iterator[SoundServer]:
    with running() as server:
        yield server
