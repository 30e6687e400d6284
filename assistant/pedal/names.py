"""Names of the keys that a pedal may send, as the shop file writes them.

A name is one of `SAFE_KEYS`, or `<number>`: the key's code on this system if it has no name (on X11 the keysym). Keys
that type or edit text are refused, because the letter would also go to the window that has the focus. Modifiers and
locks are refused too, because they change what other keys do.
"""

from __future__ import annotations

import difflib
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from assistant.errors import BadInput, Fault
from assistant.plans.model import PedalSettings
from assistant.plans.pedal_keys import KEYS, READ_ALONE

FUNCTION_KEYS = tuple(f"f{n}" for n in range(1, 25))
SAFE_KEYS = KEYS
TEXT_KEYS = frozenset(("space", "enter", "tab", "backspace", "delete"))
MODIFIERS = frozenset(
    ("alt", "alt_l", "alt_r", "alt_gr", "cmd", "cmd_l", "cmd_r", "ctrl", "ctrl_l", "ctrl_r")
    + ("shift", "shift_l", "shift_r", "caps_lock", "num_lock")
)
SPELLINGS = {"pgdn": "page_down", "pgup": "page_up", "next": "page_down", "prior": "page_up", "escape": "esc"}
MEND = "use the pedal maker's tool to make it send page_down or f13 to f24, and write that name here"
TYPES_TEXT = "this key types or edits text, which would go to the window that has the focus"
CHANGES_OTHERS = "this key changes what other keys do"

# X11 keysyms (keysymdef.h, XF86keysym.h). The usual layout gives the codes of F13 to F23 these media symbols, and the
# listening library's own names for media keys have no code on X11.
X11_CODES: dict[str, tuple[int, ...]] = {
    **{f"f{n}": (0xFFBE + n - 1,) for n in range(1, 25)},
    "f13": (0xFFCA, 0x1008FF81),
    "f14": (0xFFCB, 0x1008FF45),
    "f15": (0xFFCC, 0x1008FF46),
    "f16": (0xFFCD, 0x1008FF47),
    "f17": (0xFFCE, 0x1008FF48),
    "f18": (0xFFCF, 0x1008FF49),
    "f20": (0xFFD1, 0x1008FFB2),
    "f21": (0xFFD2, 0x1008FFA9),
    "f22": (0xFFD3, 0x1008FFB0),
    "f23": (0xFFD4, 0x1008FFB1),
    "media_volume_down": (0x1008FF11,),
    "media_volume_mute": (0x1008FF12,),
    "media_volume_up": (0x1008FF13,),
    "media_play_pause": (0x1008FF14,),
    "media_stop": (0x1008FF15,),
    "media_previous": (0x1008FF16,),
    "media_next": (0x1008FF17,),
}
_X11_NAMES = {code: name for name, codes in X11_CODES.items() for code in codes}


@dataclass(frozen=True, slots=True)
class PedalKey:
    """The key to listen for. name: as written in the shop file. code: its number where it has no name."""

    name: str
    code: int | None = None


def key_from_name(written: str, where: str = "shop file: pedal.key", alone: bool = False) -> PedalKey:
    """The key of this name, in any case and with spaces, hyphens or underscores.

    alone: the pedal's own device is read, so nothing is typed anywhere. Text keys are then allowed, and a number is the
    kernel's.

    Raises BadInput: an unknown name, a key that types or edits text, a modifier or lock.
    """
    name = _as_known(written)
    if name in SAFE_KEYS or (alone and name in READ_ALONE):
        return PedalKey(name)
    if match := re.fullmatch(r"<(\d{1,10})>", written.strip()):
        code = int(match[1])
        if not alone and (reason := _why_not_code(code)):
            raise BadInput([Fault(reason, written, where, MEND)])
        return PedalKey(f"<{code}>", code)
    if name in TEXT_KEYS or (len(written) == 1 and written.isprintable()):
        raise BadInput([Fault(TYPES_TEXT, written, where, MEND)])
    if name in MODIFIERS:
        raise BadInput([Fault(CHANGES_OTHERS, written, where, MEND)])
    # A single letter resembles f1 and the like, but means the letter.
    near = difflib.get_close_matches(name, sorted(SAFE_KEYS), n=1) if len(name) > 1 else []
    mend = f"did you mean {near[0]}? `kerfcall ready --pedal` names the key a pedal sends" if near else MEND
    raise BadInput([Fault("no key has this name", repr(written), where, mend)])


def stand_in_key(settings: PedalSettings) -> str:
    """The key that also means a tap in the terminal while no pedal is heard; "" if it has another meaning there."""
    return "" if settings.key in READ_ALONE else settings.key


def _as_known(written: str) -> str:
    """The key's usual name, however it is spelt; an unknown name in lower case."""
    name = re.sub(r"[\s\-_]+", "_", written.strip().lower())
    joined = name.replace("_", "")
    by_joined = {known.replace("_", ""): known for known in SAFE_KEYS | TEXT_KEYS | MODIFIERS}
    return SPELLINGS.get(joined, by_joined.get(joined, name))


def _why_not_code(code: int) -> str:
    if code_types_text(code, sys.platform):
        return TYPES_TEXT
    if code_is_modifier(code, sys.platform):
        return CHANGES_OTHERS
    if code == 0:
        return "0 is the code of every key that has none on this system, so it names no key"
    return ""


def code_types_text(code: int, platform: str) -> bool:
    """Whether this key code types or edits text on `platform` (a value of sys.platform)."""
    if platform == "win32":  # virtual-key codes
        # Backspace, Tab, Enter, Space, Delete, the extra key of some layouts, characters sent as packets. The ranges:
        # figures and letters, the keypad, and two blocks of signs.
        edits = {0x08, 0x09, 0x0D, 0x20, 0x2E, 0xE2, 0xE7}
        return code in edits or any(a <= code <= b for a, b in ((0x30, 0x5A), (0x60, 0x6F), (0xBA, 0xC0), (0xDB, 0xDF)))
    if platform == "darwin":  # ANSI virtual key codes of the system's event header
        return code <= 0x34 or code in {0x41, 0x43, 0x45, 0x4B, 0x4C, 0x4E, 0x75} or 0x51 <= code <= 0x5F
    edits = {0xFF08, 0xFF09, 0xFF0A, 0xFF0D, 0xFF80, 0xFF89, 0xFF8D, 0xFFBD, 0xFFFF}
    # keysymdef.h: below 0xFD00 a keysym is a character of some script, and 0x01000000 + n is Unicode's character n.
    keypad = 0xFFAA <= code <= 0xFFB9
    dead = 0xFE50 <= code <= 0xFE93
    return code in edits or keypad or dead or 0 < code < 0xFD00 or 0x01000000 <= code <= 0x0110FFFF


def code_is_modifier(code: int, platform: str) -> bool:
    """Whether this key code is a modifier or a lock on `platform` (a value of sys.platform)."""
    if platform == "win32":
        return code in {0x10, 0x11, 0x12, 0x14, 0x5B, 0x5C, 0x90} or 0xA0 <= code <= 0xA5
    if platform == "darwin":
        return 0x36 <= code <= 0x3F
    return 0xFFE1 <= code <= 0xFFEE or 0xFE01 <= code <= 0xFE13 or code in {0xFF7E, 0xFF7F}


def matcher(key: PedalKey) -> Callable[[Any], bool]:
    """A test for the listening library's key objects. Call it only where that library can be imported."""
    from pynput.keyboard import Key

    codes = {key.code} if key.code is not None else set(_codes_here(key.name))
    named = getattr(Key, key.name, None)
    member = named if named is not None and named.value.vk else None

    def matches(pressed: Any) -> bool:
        return (member is not None and pressed is member) or _code(pressed) in codes

    return matches


def key_symbols(key: PedalKey) -> frozenset[int]:
    """The key's numbers on this system, on X11 its keysyms. Call only where the listening library can be imported."""
    from pynput.keyboard import Key

    if key.code is not None:
        return frozenset((key.code,))
    return frozenset((*_codes_here(key.name), *filter(None, (_code(getattr(Key, key.name, None)),))))


def _codes_here(name: str) -> tuple[int, ...]:
    if sys.platform == "win32":
        return (0x70 + int(name[1:]) - 1,) if name in FUNCTION_KEYS else ()
    return () if sys.platform == "darwin" else X11_CODES.get(name, ())


def _code(pressed: Any) -> int | None:
    """The key's number, or None. Members of the library's enumeration wrap the code."""
    code = getattr(getattr(pressed, "value", pressed), "vk", None)
    return int(code) if code else None


@dataclass(frozen=True, slots=True)
class Named:
    """A pressed key. written: its name for the shop file. types_text, modifier: why it can't be a pedal key.

    device: what to write about the device it came from, where that is known; a text key is allowed then.
    """

    written: str
    types_text: bool = False
    modifier: bool = False
    device: str = ""


def name_of(pressed: Any) -> Named:
    """The name to write for a key object of the listening library; `<0>` where the system gives it no code."""
    code = _code(pressed)
    if code in _X11_NAMES and sys.platform not in ("win32", "darwin"):
        return Named(_X11_NAMES[code])
    name = getattr(pressed, "name", None)
    if name and code:
        return Named(name, name in TEXT_KEYS, name in MODIFIERS)
    char = getattr(pressed, "char", None)
    if char:
        return Named(str(char), types_text=True)
    number = code or 0
    return Named(
        f"<{number}>", bool(code) and code_types_text(number, sys.platform), code_is_modifier(number, sys.platform)
    )
