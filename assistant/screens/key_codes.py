"""Bytes from a terminal -> names of keys. Pure: an escape sequence never turns into letters.

A key is one printable character, or a name of two or more letters: "page_down", "f5", "enter", "space", "ctrl_c",
"esc". Sequences without a meaning here, keys with modifiers, replies of the terminal and pasted text give nothing.
"""

from __future__ import annotations

import re

ESC = 0x1B
CSI_8_BIT = 0x9B  # ESC and "[" in one byte (ECMA-48)
MOST_PENDING = 65_536  # bytes of a sequence that never ends
BURST = 8  # more characters than this in one read must be pasted, not typed

_CSI = re.compile(rb"(?:\x1b\x1b?\[|\x9b)(\[?)([0-?]*)[ -/]*([@-Z\\-~])")  # "[" ends none: it opens the console's
_CSI_BEGUN = re.compile(rb"(?:\x1b\x1b?\[|\x9b)\[?[0-?]*[ -/]*")
_SS3 = re.compile(rb"\x1b\x1b?O([0-9;]*)([@-~])")
_SS3_BEGUN = re.compile(rb"\x1b\x1b?O[0-9;]*")
_STRING = re.compile(rb"\x1b[\]PX^_].*?(?:\x07|\x1b\\)", re.DOTALL)
_PASTE_END = b"\x1b[201~"

# Function-key numbers of `CSI number ~` (the DEC VT220's, with home and end of later terminals).
_NUMBERED = {1: "home", 2: "insert", 3: "delete", 4: "end", 5: "page_up", 6: "page_down", 7: "home", 8: "end"}
_NUMBERED |= {n: f"f{n - 10}" for n in range(11, 16)} | {n: f"f{n - 11}" for n in range(17, 22)}
_NUMBERED |= {23: "f11", 24: "f12", 25: "f13", 26: "f14", 28: "f15", 29: "f16"}
_NUMBERED |= {31: "f17", 32: "f18", 33: "f19", 34: "f20"}
_LETTERED = {"A": "up", "B": "down", "C": "right", "D": "left", "H": "home", "F": "end"}
_LETTERED |= {"P": "f1", "Q": "f2", "R": "f3", "S": "f4"}
_CONSOLE = {"A": "f1", "B": "f2", "C": "f3", "D": "f4", "E": "f5"}  # the Linux console's CSI [ letter
_CONTROLS = {"\n": "enter", "\r": "enter", "\t": "tab", " ": "space", "\x7f": "backspace", "\b": "backspace"}
_CONTROLS |= {"\x03": "ctrl_c"}


class KeyDecoder:
    """Feed it what was read, in order. It keeps incomplete sequences."""

    def __init__(self) -> None:
        self._held = b""
        self._pasting = False

    @property
    def pending(self) -> bool:
        """Whether it waits for the rest of a sequence; if the rest doesn't come, call `expire`."""
        return bool(self._held) or self._pasting

    def feed(self, data: bytes) -> list[str]:
        """The keys in these bytes. A burst of more than BURST characters counts as pasted and gives nothing."""
        self._held += data
        keys: list[str] = []
        while self._held:
            # Each returns how many bytes the next key takes (0: not complete yet) and its name ("" for nothing).
            if self._pasting:
                taken, key = self._skip_paste()
            elif self._held[0] in (ESC, CSI_8_BIT):
                taken, key = self._sequence()
            else:
                taken, key = self._character()
            if not taken:
                break
            self._held = self._held[taken:]
            if key:
                keys.append(key)
        if len(self._held) > MOST_PENDING:
            self._held = b""
        typed = [key for key in keys if len(key) == 1 or key in ("space", "enter")]
        return [key for key in keys if key == "ctrl_c"] if len(typed) > BURST else keys

    def expire(self) -> list[str]:
        """The rest did not come: a lone escape was the Escape key, and anything else is dropped."""
        lone = self._held == b"\x1b" and not self._pasting
        self._held, self._pasting = b"", False
        return ["esc"] if lone else []

    def _skip_paste(self) -> tuple[int, str]:
        end = self._held.find(_PASTE_END)
        if end >= 0:
            self._pasting = False
            return end + len(_PASTE_END), ""
        return max(0, len(self._held) - len(_PASTE_END) + 1), ""  # what is left may be the end's beginning

    def _character(self) -> tuple[int, str]:
        # A UTF-8 character's first byte says how many bytes it takes.
        first = self._held[0]
        size = 4 if 0xF0 <= first <= 0xF4 else 3 if 0xE0 <= first < 0xF0 else 2 if 0xC2 <= first < 0xE0 else 1
        # Bytes that can't continue a character are dropped at once.
        if len(self._held) < size and all(0x80 <= byte < 0xC0 for byte in self._held[1:]):
            return 0, ""
        try:
            char = self._held[:size].decode()
        except UnicodeDecodeError:
            return 1, ""
        return size, _CONTROLS.get(char, char if char.isprintable() else "")

    def _sequence(self) -> tuple[int, str]:
        held = self._held
        if match := _CSI.match(held):
            return self._control_sequence(match)
        if match := _SS3.match(held):
            return match.end(), "" if match[1] else _LETTERED.get(match[2].decode(), "")
        if match := _STRING.match(held):
            return match.end(), ""
        if held[1:2] in (b"]", b"P", b"X", b"^", b"_"):
            return 0, ""
        for begun in (_CSI_BEGUN, _SS3_BEGUN):
            if match := begun.match(held):  # broken off by a byte that can't be part of it
                return (0 if match.end() == len(held) else match.end()), ""
        if len(held) == 1 or held == b"\x1b\x1b":
            return 0, ""
        return (1, "") if held[1] == ESC else (2, "")  # Alt and a letter is no letter

    def _control_sequence(self, match: re.Match[bytes]) -> tuple[int, str]:
        double, figures, final = match[1], match[2].decode(), match[3].decode()
        if final == "M" and not figures and not double:  # a mouse report: three bytes follow
            return (match.end() + 3 if len(self._held) >= match.end() + 3 else 0), ""
        if final == "~" and figures == "200":
            self._pasting = True
        if double:
            return match.end(), _CONSOLE.get(final, "")
        return match.end(), _name_of(figures, final)


def _name_of(figures: str, final: str) -> str:
    parts = figures.split(";")
    if not all(part.isdigit() for part in parts if part):
        return ""
    numbers = [int(part) if part else 1 for part in parts]
    # Modifiers are 1 and a bit each: 1 is none, 2 is Shift.
    shifted = numbers[1:] == [2]
    # Terminals that report keys in full give F13 to F24 these numbers, of Unicode's private use area.
    if final == "u" and 57376 <= numbers[0] <= 57387 and numbers[1:] in ([], [1]):
        return f"f{numbers[0] - 57376 + 13}"
    name = _NUMBERED.get(numbers[0], "") if final == "~" else _LETTERED.get(final, "")
    if len(numbers) == 1 or numbers[1:] == [1]:
        return name
    if shifted and re.fullmatch(r"f([1-9]|1[0-2])", name):  # terminals report F13 to F24 as shifted F1 to F12
        return f"f{int(name[1:]) + 12}"
    return ""
