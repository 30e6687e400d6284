"""On a machine that should have every part (KERFCALL_NO_SKIPS is set), a skipped test is a failure.

And what several rooms' tests need: a sound server, and for each test a runtime folder of its own, so that no test's
live session is refused for the sake of another's, or of one that is cutting wood."""

from __future__ import annotations

import itertools
import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.runner.one_live import FOLDER_VARIABLE
from tests.sound_server import SoundServer, running


def pytest_configure() -> None:
    """A shell that starts the tests in the background has Ctrl-C ignored, and every child would inherit that."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


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
def sound_server() -> Iterator[SoundServer]:
    with running() as server:
        yield server
