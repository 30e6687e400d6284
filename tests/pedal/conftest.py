from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.pedal.xserver import XServer


@pytest.fixture
def xserver(monkeypatch: pytest.MonkeyPatch) -> Iterator[XServer]:
    """A running display server that this process's DISPLAY names."""
    server = XServer()
    monkeypatch.setenv("DISPLAY", server.display)
    monkeypatch.setenv("XDG_SESSION_TYPE", "x11")
    yield server
    server.end()
