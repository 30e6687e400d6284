"""What several tests of the screens share."""

from __future__ import annotations

from collections.abc import Iterator
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
