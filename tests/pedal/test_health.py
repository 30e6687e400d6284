"""What `ready` finds out about the pedal."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest

from assistant.health import LIMITED, WORKS
from assistant.pedal import health
from assistant.plans.model import PedalSettings
from tests.pedal.xserver import XServer, needs_x


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="there the desktop is always there")
def test_a_pedal_without_a_display_is_limited_and_its_key_is_named(no_display: None) -> None:
    line = health.pedal(PedalSettings(key="f13"))
    assert line.state == LIMITED and "no display server" in line.text and "f13" in line.text and line.mend
    assert line.data == {"key": "f13"}


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a pedal's own device is read on Linux only")
def test_a_missing_pedal_device_is_limited(no_display: None) -> None:
    line = health.pedal(PedalSettings(key="b", device="ffff:fffe"))
    assert line.state == LIMITED and "there is no device ffff:fffe" in line.text and "plug it in" in line.mend


@pytest.mark.skipif(not importlib.util.find_spec("evdev"), reason="python-evdev is not installed")
def test_a_pedals_own_device_works_without_a_display(
    no_display: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.pedal.fake_kernel import FakeKernel

    fake = FakeKernel(tmp_path)
    fake.plug("event0", [109, 48])
    monkeypatch.setattr("assistant.pedal.trial.try_out.__defaults__", (fake,))
    line = health.pedal(PedalSettings(key="b", device="3553:b001"))
    assert line.state == WORKS and "b, read alone from Foot Switch (3553:b001)" in line.text


@needs_x
def test_a_pedal_on_a_real_display_works(monkeypatch: pytest.MonkeyPatch) -> None:
    server = XServer()
    try:
        monkeypatch.setenv("DISPLAY", server.display)
        monkeypatch.setenv("XDG_SESSION_TYPE", "x11")
        line = health.pedal(PedalSettings(key="page_down"))
        assert (line.state, line.data) == (WORKS, {"key": "page_down"}) and line.text.startswith("page_down")
    finally:
        server.end()
