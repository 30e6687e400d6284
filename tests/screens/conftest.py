"""What several tests of the screens share."""

from __future__ import annotations

import time
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium, for the bench page. Only modules that are skipped without it ask for it."""
    from tests.screens.test_page_chromium import CHROMIUM, FLAGS, playwright

    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def now(monkeypatch: pytest.MonkeyPatch) -> float:
    """The time, which stands for the terminal view: the seconds left of a wait would go on between two looks at it."""
    now = time.monotonic()
    monkeypatch.setattr("assistant.screens.view_sight.time", SimpleNamespace(monotonic=lambda: now))
    return now
