"""On a machine that should have every part (KERFCALL_NO_SKIPS is set), a skipped test is a failure.

And what several rooms' tests need: a sound server."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator

import pytest

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


@pytest.fixture
def sound_server() -> Iterator[SoundServer]:
    with running() as server:
        yield server
