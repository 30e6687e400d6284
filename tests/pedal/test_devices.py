"""Which device is taken: never a keyboard by accident, and every refusal says how to fix it."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

if not sys.platform.startswith("linux"):
    pytest.skip("input devices are a matter of Linux", allow_module_level=True)
pytest.importorskip("evdev", reason="python-evdev is not installed")

from evdev import ecodes  # noqa: E402

from assistant.errors import NoSuchPart  # noqa: E402
from assistant.pedal.devices import no_permission, nodes_to_learn_from, source_of  # noqa: E402
from assistant.plans.model import PedalSettings  # noqa: E402
from tests.pedal.fake_kernel import FakeKernel  # noqa: E402

KEYBOARD = [*range(1, 112), ecodes.KEY_PAGEDOWN]
KEYS = [ecodes.KEY_PAGEDOWN, ecodes.KEY_PAGEUP]


@pytest.fixture
def fake(tmp_path: Path) -> Iterator[FakeKernel]:
    fake = FakeKernel(tmp_path)
    yield fake
    fake.close()


def chosen(fake: FakeKernel, **settings: str) -> list[str]:
    source = source_of(PedalSettings(**settings), fake, environ={}, platform="linux")
    return [Path(node.path).name for node in source.nodes]


def test_without_a_display_the_one_device_with_the_key_is_taken(fake: FakeKernel) -> None:
    fake.plug("event0", KEYBOARD, "Keyboard", (1, 1))
    fake.plug("event1", [ecodes.BTN_LEFT], "Mouse", (2, 2))
    fake.plug("event2", KEYS)
    assert chosen(fake) == ["event2"]
    assert chosen(fake, key="f13") == []
    assert chosen(fake, key="<109>") == [], "a number is the display's unless a device is named"
    assert chosen(fake, device="display") == []


@pytest.mark.parametrize("extra", [KEYBOARD, [*KEYS, ecodes.KEY_B]])
def test_a_device_with_letters_is_taken_only_if_it_is_named(fake: FakeKernel, extra: list[int]) -> None:
    fake.plug("event0", extra, "Whole Thing", (0x0ABC, 1), link="usb-whole-event-kbd")
    assert chosen(fake) == []
    for device in ("0abc:0001", "0ABC:0001", "whole thing", str(fake.dev / "by-id" / "usb-whole-event-kbd")):
        assert chosen(fake, device=device) == ["event0"]
        assert chosen(fake, device=device, key="b") == ["event0"]


def test_the_media_keys_of_a_keyboard_are_part_of_the_keyboard(fake: FakeKernel) -> None:
    fake.plug("event0", KEYBOARD, "Keyboard")
    fake.plug("event1", KEYS, "Keyboard Consumer Control")
    assert chosen(fake) == []


@pytest.mark.parametrize("bus", [ecodes.BUS_CEC, ecodes.BUS_HOST, ecodes.BUS_I8042])
def test_a_remote_control_through_a_screens_cable_or_a_built_in_part_is_not_taken(fake: FakeKernel, bus: int) -> None:
    fake.plug("event0", KEYS, "screen", bus=bus)
    assert chosen(fake) == []


def test_two_devices_with_the_key_are_not_guessed_between(fake: FakeKernel) -> None:
    fake.plug("event0", KEYS)
    fake.plug("event1", KEYS, "Page Turner", (9, 9))
    with pytest.raises(NoSuchPart, match=r"more than one device.*Foot Switch \(3553:b001\), Page Turner \(0009:0009\)"):
        chosen(fake)


def test_every_node_of_a_pedal_that_has_the_key_is_heard(fake: FakeKernel) -> None:
    fake.plug("event0", KEYS)
    fake.plug("event1", [ecodes.BTN_LEFT])
    fake.plug("event2", KEYS)
    assert chosen(fake) == ["event0", "event2"]
    assert chosen(fake, device="3553:b001", key="<272>") == ["event1"]


def test_a_working_display_comes_before_devices(fake: FakeKernel, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.pedal.devices.why_no_keyboard", lambda environ, platform: "")
    fake.plug("event0", KEYS)
    assert chosen(fake) == []
    assert chosen(fake, device="Foot Switch") == ["event0"]


def test_a_named_device_that_is_not_there_or_lacks_the_key_says_so(fake: FakeKernel) -> None:
    fake.plug("event0", KEYS)
    with pytest.raises(NoSuchPart, match=r"no device 1234:5678.*plug it in\. Input devices here: Foot Switch"):
        chosen(fake, device="1234:5678")
    with pytest.raises(NoSuchPart, match="Foot Switch has no key f13"):
        chosen(fake, device="3553:b001", key="f13")
    with pytest.raises(NoSuchPart, match="no device has a key <65361>"):
        chosen(fake, device="3553:b001", key="<65361>")
    for platform in ("win32", "darwin"):
        with pytest.raises(NoSuchPart, match="on Linux only"):
            source_of(PedalSettings(device="3553:b001"), fake, {}, platform)


def test_no_permission_names_the_group_and_a_rule_for_this_device_alone(fake: FakeKernel) -> None:
    """Group `input` and udev's attribute match: common Linux practice, no source."""
    fake.plug("event0", KEYS)
    text = no_permission(fake.nodes()[0])
    assert "usermod -aG input" in text and 'ATTRS{id/vendor}=="3553"' in text and 'ATTRS{id/product}=="b001"' in text


def test_learning_listens_to_every_device_that_may_be_read(fake: FakeKernel) -> None:
    fake.plug("event0", KEYBOARD, "Keyboard", (1, 1))
    fake.plug("event1", KEYS)
    fake.plug("event2", [], "Accelerometer", (4, 4))

    def learnt(device: str = "auto") -> list[str]:
        nodes = nodes_to_learn_from(PedalSettings(device=device), fake, {}, "linux")
        return [Path(node.path).name for node in nodes]

    assert learnt() == ["event0", "event1"]
    assert learnt("foot switch") == ["event1"]
    assert learnt("display") == []
    fake.refused = {"event0": 13}
    assert learnt() == ["event1"]
    fake.refused = {"event0": 13, "event1": 13}
    with pytest.raises(NoSuchPart, match="may not read Keyboard"):
        learnt()
