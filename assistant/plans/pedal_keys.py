"""Which keys a pedal may send: only those that type nothing into the window that has the focus."""

from __future__ import annotations

import re

from assistant.plans.reader import Table, nearest

# Names as the keyboard listener gives them.
KEYS = frozenset(
    {f"f{n}" for n in range(1, 25)}
    | {"page_down", "page_up", "home", "end", "insert", "up", "down", "left", "right"}
    | {"esc", "pause", "scroll_lock", "print_screen", "menu"}
    | {"media_play_pause", "media_next", "media_previous", "media_stop"}
    | {"media_volume_up", "media_volume_down", "media_volume_mute"}
)
# A key without a name is given by its number, as `ready --pedal` shows it.
_NUMBERED = re.compile(r"<\d{1,10}>")
_TYPING = frozenset(
    {"space", "enter", "return", "tab", "backspace", "delete"}
    | {"add", "subtract", "multiply", "divide", "decimal", "separator", "comma", "period", "minus", "plus"}
)
_KEYPAD = re.compile(r"(?:kp|numpad|num|keypad)_?.{1,9}")
_MODIFIERS = re.compile(r"(?:ctrl|control|shift|alt|cmd|win|super|meta|caps_lock|num_lock)(?:_l|_r|_gr)?")

# Keys that a pedal may also send if its own device is read alone, since they are then typed into no window.
READ_ALONE = frozenset("abcdefghijklmnopqrstuvwxyz0123456789") | {"space", "enter", "tab", "backspace", "delete"}
AUTO, DISPLAY = "auto", "display"
_LINK = re.compile(r"/dev/input/by-(?:id|path)/[^/]+")
_DEVICE_MEND = "give the device as `kerfcall ready --pedal` shows it: a path in /dev/input/by-id, or vendor:product"

_MEND = "set the pedal to page_down, f13 or another key that types nothing"


def read_device(table: Table) -> str:
    """Read `[pedal] device`, default "auto": "display", or the pedal's own device by path, vendor:product or name."""
    raw = table.text("device", AUTO, most=200) or AUTO
    device = raw.strip()
    if device in (AUTO, DISPLAY) or not ("/" in device[:1] or "\\" in device):
        return device or AUTO
    if not _LINK.fullmatch(device) or ".." in device:
        what = "must be a path that stays the same: event numbers change each time the machine starts"
        table.fault("device", what, _DEVICE_MEND, raw)
        return AUTO
    return device


def read_key(table: Table, device: str = AUTO) -> str:
    """Read `[pedal] key`, default "page_down". A key that types text is refused unless its device is read alone."""
    raw = table.text("key", "page_down", most=40) or "page_down"
    key = _as_listed(raw)
    if key in KEYS or _NUMBERED.fullmatch(key):
        return key
    if device not in (AUTO, DISPLAY) and key.lower() in READ_ALONE:
        return key.lower()
    if len(key) == 1 or key in _TYPING or _KEYPAD.fullmatch(key):
        table.fault("key", "is a key that types text into the window that has the focus", _MEND, raw)
    elif _MODIFIERS.fullmatch(key):
        table.fault("key", "is a key that changes what other keys do", _MEND, raw)
    else:
        near = nearest(key, KEYS)
        table.fault("key", "is not a known key", f'did you mean "{near}"?' if near else _MEND, raw)
    return "page_down"


def _as_listed(written: str) -> str:
    """The key as `KEYS` spells it. It may be written in any case, with spaces, hyphens or nothing between words."""
    if len(written) == 1:
        return written
    joined = re.sub(r"[\s_-]", "", written.lower())
    return next((known for known in KEYS if known.replace("_", "") == joined), written.lower().replace(" ", "_"))
