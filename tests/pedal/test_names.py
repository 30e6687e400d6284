"""Which keys can be a pedal's, and how they are written."""

from __future__ import annotations

import pytest

from assistant.errors import BadInput
from assistant.pedal.names import (
    SAFE_KEYS,
    X11_CODES,
    PedalKey,
    code_is_modifier,
    code_types_text,
    key_from_name,
    stand_in_key,
)
from assistant.plans.model import PedalSettings
from tests.pedal.xserver import XServer, needs_x


def test_every_safe_name_is_its_own_key() -> None:
    assert {name: key_from_name(name) for name in SAFE_KEYS} == {name: PedalKey(name) for name in SAFE_KEYS}


@pytest.mark.parametrize("written", ["page_down", "Page Down", "PAGE-DOWN", "pagedown", " PgDn ", "Next"])
def test_case_spaces_and_hyphens_do_not_matter(written: str) -> None:
    assert key_from_name(written) == PedalKey("page_down")


def test_function_keys_reach_to_f24() -> None:
    assert [key_from_name(f"F{n}").name for n in range(13, 25)] == [f"f{n}" for n in range(13, 25)]
    with pytest.raises(BadInput, match="no key has this name"):
        key_from_name("f25")


def test_a_key_without_a_name_is_written_as_its_number(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.platform", "linux")
    assert key_from_name("<65437>") == PedalKey("<65437>", 65437)  # keysymdef.h: XK_KP_Begin 0xff9d


@pytest.mark.parametrize("written", ["b", "a", "7", "space", "enter", "tab", "backspace", "Delete", "<98>", "<65457>"])
def test_a_key_that_types_text_is_refused_with_the_fix(written: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.platform", "linux")
    with pytest.raises(BadInput, match="types or edits text.*use the pedal maker's tool"):
        key_from_name(written)


@pytest.mark.parametrize("written", ["shift", "ctrl_l", "Caps Lock", "num_lock", "<65505>"])
def test_modifiers_and_locks_are_refused(written: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.platform", "linux")
    with pytest.raises(BadInput, match="changes what other keys do"):
        key_from_name(written)


def test_the_number_that_every_nameless_key_shares_is_refused() -> None:
    with pytest.raises(BadInput):
        key_from_name("<0>")


def test_a_misspelt_name_gets_the_nearest_name() -> None:
    with pytest.raises(BadInput, match="did you mean page_down") as refused:
        key_from_name("page_dwn", where="shop.toml: pedal.key")
    assert refused.value.faults[0].where == "shop.toml: pedal.key"


def test_code_tables_of_each_system() -> None:
    """X11: keysymdef.h. Windows: the virtual-key codes of winuser.h. macOS: kVK_ codes of Events.h."""
    for code in (0x62, 0xFFB1, 0xFF0D, 0x01000439, 0xFE51):  # b, KP_1, Return, Cyrillic as Unicode, dead acute
        assert code_types_text(code, "linux")
    for code in (0xFF56, 0xFFCA, 0x1008FF14, 0xFF13):  # Page_Down, F13, AudioPlay, Pause
        assert not code_types_text(code, "linux")
    assert code_types_text(0x42, "win32") and code_types_text(0x61, "win32")  # B, numpad 1
    assert not code_types_text(0x22, "win32") and not code_types_text(0x7C, "win32")  # VK_NEXT, VK_F13
    assert code_types_text(0x0B, "darwin") and code_types_text(0x31, "darwin")  # kVK_ANSI_B, kVK_Space
    assert not code_types_text(0x79, "darwin") and not code_types_text(0x69, "darwin")  # PageDown, F13
    assert code_is_modifier(0xFFE1, "linux") and code_is_modifier(0x10, "win32") and code_is_modifier(0x38, "darwin")


@needs_x
def test_x11_codes_agree_with_the_symbol_tables_of_the_x_library(xserver: XServer) -> None:
    """Against python-xlib's copy of the X11 keysym headers."""
    from Xlib import XK

    XK.load_keysym_group("xf86")
    for n in range(1, 25):
        assert X11_CODES[f"f{n}"][0] == XK.string_to_keysym(f"F{n}")
    audio = {"media_play_pause": "AudioPlay", "media_stop": "AudioStop", "media_next": "AudioNext"}
    audio |= {"media_previous": "AudioPrev", "media_volume_mute": "AudioMute"}
    audio |= {"media_volume_down": "AudioLowerVolume", "media_volume_up": "AudioRaiseVolume"}
    for name, symbol in audio.items():
        assert X11_CODES[name] == (XK.string_to_keysym(f"XF86_{symbol}"),), name


def test_a_text_key_and_a_kernels_number_are_fine_if_only_the_device_is_read() -> None:
    for written, name in (("b", "b"), ("B", "b"), ("Space", "space"), ("<30>", "<30>")):
        assert key_from_name(written, alone=True).name == name
        with pytest.raises(BadInput):
            key_from_name(written)
    with pytest.raises(BadInput, match="changes what other keys do"):
        key_from_name("shift", alone=True)


def test_a_letter_is_no_tap_in_the_terminal_while_no_pedal_is_heard() -> None:
    assert stand_in_key(PedalSettings(key="b", device="3553:b001")) == ""
    assert stand_in_key(PedalSettings(key="f13")) == "f13"
