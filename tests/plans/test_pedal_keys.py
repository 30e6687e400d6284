"""A pedal may send only keys that type nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.plans.pedal_keys import KEYS
from tests.plans.files import SHOP, shop_faults, shop_of


def _with(key: str) -> str:
    return SHOP + f"[pedal]\nkey = '{key}'\n"


def test_keys_that_type_nothing_are_taken(tmp_path: Path) -> None:
    keys = [*sorted(KEYS), "<65437>"]
    assert [shop_of(tmp_path, _with(key)).pedal.key for key in keys] == keys


@pytest.mark.parametrize("key", ["Page Down", "pagedown", "PAGE-DOWN", "page_down"])
def test_spelling_of_a_name_is_forgiven(tmp_path: Path, key: str) -> None:
    assert shop_of(tmp_path, _with(key)).pedal.key == "page_down"


@pytest.mark.parametrize("key", ["b", "B", "7", "!", "space", "enter", "tab", "backspace", "delete", "kp_1", "Space"])
def test_keys_that_type_or_erase_text_are_refused(tmp_path: Path, key: str) -> None:
    assert shop_faults(tmp_path, _with(key)) == [
        "shop.toml: pedal.key: is a key that types text into the window that has the focus "
        f'(got "{key}"); set the pedal to page_down, f13 or another key that types nothing'
    ]


@pytest.mark.parametrize("key", ["ctrl_l", "shift", "alt_gr", "caps_lock", "cmd_r"])
def test_modifiers_are_refused(tmp_path: Path, key: str) -> None:
    assert "is a key that changes what other keys do" in shop_faults(tmp_path, _with(key))[0]


def test_unknown_names_are_refused_with_the_nearest(tmp_path: Path) -> None:
    assert shop_faults(tmp_path, _with("page_dwn")) == [
        'shop.toml: pedal.key: is not a known key (got "page_dwn"); did you mean "page_down"?'
    ]
    assert "f13 or another key" in shop_faults(tmp_path, _with("zzzzzz"))[0]


@pytest.mark.parametrize("device", ["/dev/input/by-id/usb-foot-event-kbd", "3553:B001", "Foot Switch"])
@pytest.mark.parametrize("key", ["b", "B", "7", "space", "Enter", "<272>"])
def test_a_key_that_types_is_taken_where_the_pedals_own_device_is_read(tmp_path: Path, device: str, key: str) -> None:
    pedal = shop_of(tmp_path, _with(key) + f'device = "{device}"\n').pedal
    assert (pedal.key, pedal.device) == (key.lower(), device)


@pytest.mark.parametrize("device", ["auto", "display"])
def test_a_key_that_types_is_refused_where_no_device_is_named(tmp_path: Path, device: str) -> None:
    assert "is a key that types text" in shop_faults(tmp_path, _with("b") + f'device = "{device}"\n')[0]
    assert shop_of(tmp_path, _with("f13") + f'device = "{device}"\n').pedal.device == device


@pytest.mark.parametrize("device", ["/dev/input/event3", "/etc/passwd", "/dev/input/by-id/../event3", "\\\\foot"])
def test_a_device_is_named_by_what_stays_the_same(tmp_path: Path, device: str) -> None:
    faults = shop_faults(tmp_path, SHOP + f"[pedal]\ndevice = '{device}'\n")
    assert len(faults) == 1 and "pedal.device: must be a path that stays the same" in faults[0]
    assert "kerfcall ready --pedal" in faults[0]


def test_no_device_is_named_by_default(tmp_path: Path) -> None:
    assert shop_of(tmp_path, SHOP).pedal.device == "auto"
