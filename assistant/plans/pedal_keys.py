"""Which keys a pedal may send: those that type nothing into whatever window has the focus."""

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
# A key without a name: its number, as `ready --pedal` shows it.
_NUMBERED = re.compile(r"<\d{1,10}>")
_TYPING = frozenset(
    {"space", "enter", "return", "tab", "backspace", "delete"}
    | {"add", "subtract", "multiply", "divide", "decimal", "separator", "comma", "period", "minus", "plus"}
)
_MODIFIERS = re.compile(r"(?:ctrl|control|shift|alt|cmd|win|super|meta|caps_lock|num_lock)(?:_l|_r|_gr)?")

_MEND = "set the pedal to page_down, f13 or another key that types nothing"


def read_key(table: Table) -> str:
    """`[pedal] key`, default "page_down"; a key that types text is refused."""
    raw = table.text("key", "page_down", most=40) or "page_down"
    key = _plain(raw)
    if key in KEYS or _NUMBERED.fullmatch(key):
        return key
    if _types_text(key):
        table.fault("key", "is a key that types text, into whatever window has the focus", _MEND, raw)
    elif _MODIFIERS.fullmatch(key):
        table.fault("key", "is a key that changes what other keys do", _MEND, raw)
    else:
        near = nearest(key, KEYS)
        table.fault("key", "is no key we know", f'did you mean "{near}"?' if near else _MEND, raw)
    return "page_down"


def _plain(written: str) -> str:
    """As `KEYS` spells it, whatever the case, and with blanks, hyphens or nothing between its words."""
    if len(written) == 1:
        return written
    joined = re.sub(r"[\s_-]", "", written.lower())
    return next((known for known in KEYS if known.replace("_", "") == joined), written.lower().replace(" ", "_"))


def _types_text(key: str) -> bool:
    return len(key) == 1 or key in _TYPING or bool(re.fullmatch(r"(?:kp|numpad|num|keypad)_?.{1,9}", key))
