"""Layouts and numbers against python-evdev's, which is built from the kernel's headers."""

from __future__ import annotations

import os
import struct
import sys
from pathlib import Path

import pytest

if not sys.platform.startswith("linux"):
    pytest.skip("input events are a matter of Linux", allow_module_level=True)
pytest.importorskip("evdev", reason="python-evdev is not installed")

from evdev import _input, ecodes  # noqa: E402

from assistant.pedal import kernel  # noqa: E402
from assistant.plans.pedal_keys import KEYS, READ_ALONE  # noqa: E402
from tests.pedal.fake_kernel import FakeKernel, packed, words  # noqa: E402

OTHERWISE = {"print_screen": "SYSRQ", "menu": "COMPOSE", "scroll_lock": "SCROLLLOCK"} | {
    "media_volume_mute": "MUTE",
    "media_volume_down": "VOLUMEDOWN",
    "media_volume_up": "VOLUMEUP",
    "media_next": "NEXTSONG",
    "media_play_pause": "PLAYPAUSE",
    "media_previous": "PREVIOUSSONG",
    "media_stop": "STOPCD",
}


def test_every_pedal_key_has_the_kernels_code() -> None:
    names = sorted(KEYS | READ_ALONE)
    wanted = {name: getattr(ecodes, "KEY_" + OTHERWISE.get(name, name.replace("_", "").upper())) for name in names}
    assert {name: kernel.code_of(name) for name in names} == wanted
    assert {kernel.name_of_code(code): code for code in wanted.values()} == wanted


def test_a_number_is_the_kernels_code() -> None:
    assert kernel.code_of(f"<{ecodes.BTN_LEFT}>") == ecodes.BTN_LEFT == 272
    assert kernel.code_of("<0>") is None and kernel.code_of("<768>") is None and kernel.code_of("zork") is None
    assert kernel.KEY_MAX == ecodes.KEY_MAX and kernel.name_of_code(272) == "<272>"


def test_constants_are_the_headers() -> None:
    for name in ("EV_SYN", "EV_KEY", "SYN_REPORT", "SYN_DROPPED"):
        assert getattr(kernel, name) == getattr(ecodes, name)
    assert (kernel.BUS_USB, kernel.BUS_BLUETOOTH) == (ecodes.BUS_USB, ecodes.BUS_BLUETOOTH)
    assert {getattr(ecodes, f"KEY_{letter}") for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"} == kernel.LETTERS
    modifiers = ("LEFTCTRL", "RIGHTCTRL", "LEFTSHIFT", "RIGHTSHIFT", "LEFTALT", "RIGHTALT", "LEFTMETA", "RIGHTMETA")
    locks = ("CAPSLOCK", "NUMLOCK")
    assert {getattr(ecodes, f"KEY_{name}") for name in modifiers + locks} == kernel.MODIFIERS


def test_text_keys_are_those_that_print_or_edit_and_no_pedal_key_is_one() -> None:
    typing = "MINUS EQUAL LEFTBRACE RIGHTBRACE SEMICOLON APOSTROPHE GRAVE BACKSLASH COMMA DOT SLASH 102ND RO YEN"
    keypad = "KP0 KP5 KP9 KPDOT KPPLUS KPMINUS KPASTERISK KPSLASH KPENTER KPEQUAL KPCOMMA"
    for name in (typing + " " + keypad).split():
        assert getattr(ecodes, f"KEY_{name}") in kernel.TYPES_TEXT, name
    assert {kernel.CODES[name] for name in READ_ALONE} <= kernel.TYPES_TEXT
    assert not {kernel.CODES[name] for name in KEYS} & kernel.TYPES_TEXT


def test_requests_are_made_as_the_ioctl_header_makes_them() -> None:
    """asm-generic/ioctl.h: direction << 30 | size << 16 | type << 8 | number; write 1, read 2."""

    def made(direction: int, number: int, size: int) -> int:
        return direction << 30 | size << 16 | ord("E") << 8 | number

    size = struct.calcsize("@i")
    assert made(1, 0x90, size) == kernel.EVIOCGRAB
    assert made(1, 0xA0, size) == kernel.EVIOCSCLOCKID
    assert made(2, 0x18, ecodes.KEY_CNT // 8) == kernel.EVIOCGKEY


def test_events_are_read_back_with_their_times() -> None:
    data = packed((ecodes.EV_KEY, ecodes.KEY_B, 1), at=1234.5)
    assert len(data) == 2 * kernel.EVENT.size
    key, report = kernel.events(data + b"torn")
    assert key == kernel.InputEvent(1234.5, ecodes.EV_KEY, ecodes.KEY_B, 1)
    assert (report.type, report.code) == (0, 0)


def test_python_evdev_reads_the_same_events_from_the_same_bytes() -> None:
    data = packed((ecodes.EV_MSC, ecodes.MSC_SCAN, 5), (ecodes.EV_KEY, ecodes.KEY_F13, 2), at=98765.25)
    read, write = os.pipe()
    try:
        os.write(write, data)
        theirs = _input.device_read_many(read)
    finally:
        os.close(read)
        os.close(write)
    ours = [(event.at, event.type, event.code, event.value) for event in kernel.events(data)]
    assert ours == [(seconds + micros / 1e6, *rest) for seconds, micros, *rest in theirs] and len(ours) == 3


def test_a_devices_keys_are_read_from_its_bitmap() -> None:
    """The example is the kernel's own for a PC power button: KEY_POWER, on 64 bits and on 32."""
    assert kernel.key_bits("10000000000000 0", 64) == {ecodes.KEY_POWER}
    assert kernel.key_bits("100000 0 0 0", 32) == {ecodes.KEY_POWER}
    keys = {ecodes.KEY_ESC, ecodes.KEY_B, ecodes.KEY_F24, ecodes.BTN_LEFT}
    assert kernel.key_bits(words(keys)) == keys


def test_devices_are_described_without_opening_them(tmp_path: Path) -> None:
    fake = FakeKernel(tmp_path)
    fake.plug("event10", [ecodes.KEY_F13], "Second", (1, 2))
    fake.plug("event2", [ecodes.KEY_PAGEDOWN], "Foot\x1b Switch", link="usb-foot-event-kbd")
    (fake.sys / "event3").mkdir()  # going away
    first, second = fake.nodes()
    assert (first.name, first.stable) == ("Foot Switch", str(fake.dev / "by-id" / "usb-foot-event-kbd"))
    assert (second.path, second.stable, second.keys) == (str(fake.dev / "event10"), "0001:0002", {ecodes.KEY_F13})
    assert fake.opened == {}
