"""Finds fonts on this machine to embed, for letters that the standard fonts of PDF viewers lack."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from itertools import islice
from pathlib import Path
from typing import Any

from assistant.drawings.letters import is_known

# Fonts with TrueType outlines and many scripts that systems come with.
NAMES = (
    "DejaVuSans.ttf",
    "NotoSans-Regular.ttf",
    "LiberationSans-Regular.ttf",
    "FreeSans.ttf",
    "Arial Unicode.ttf",
    "arial.ttf",
    "Arial.ttf",
    "segoeui.ttf",
    "NotoSansCJK-Regular.ttc",
    "wqy-zenhei.ttc",
    "wqy-microhei.ttc",
    "msyh.ttc",
    "msgothic.ttc",
    "malgun.ttf",
    "unifont.ttf",
)
MOST_FILES = 20_000
"""The most files to look at, so that a folder full of other things can't cause a long wait."""


def folders() -> list[Path]:
    """Where this system keeps its fonts."""
    home = Path.home()
    if sys.platform == "win32":
        return [Path(os.environ.get("WINDIR", r"C:\Windows")) / "Fonts"]
    if sys.platform == "darwin":
        return [Path("/System/Library/Fonts"), Path("/Library/Fonts"), home / "Library/Fonts"]
    return [Path("/usr/share/fonts"), Path("/usr/local/share/fonts"), home / ".local/share/fonts"]


def found_fonts() -> list[Path]:
    """The font files to try, in the order of NAMES."""
    files = ((here, name) for folder in folders() for here, _, names in os.walk(folder) for name in names)
    by_name: dict[str, Path] = {}
    for here, name in islice(files, MOST_FILES):
        if name in NAMES:
            by_name.setdefault(name, Path(here) / name)
    return [by_name[name] for name in NAMES if name in by_name]


class Fallback:
    """Chooses the embedded font for each letter. letters: all that are needed. `lacking`: those that no font has."""

    def __init__(self, letters: Iterable[str]):
        from reportlab.pdfbase import pdfmetrics

        self.lacking = {letter for letter in letters if not is_known(letter)}
        self._font_of: dict[str, str] = {}
        # Looking through all folders of fonts takes a while, and most plans need none.
        for n, path in enumerate(found_fonts() if self.lacking else ()):
            font = _opened(path, f"fallback{n}")
            has = {letter for letter in self.lacking if font is not None and ord(letter) in font.face.charToGlyph}
            if has:
                pdfmetrics.registerFont(font)
                self._font_of.update(dict.fromkeys(has, font.fontName))
                self.lacking -= has
            if not self.lacking:
                break

    def runs(self, text: str, own: str) -> list[tuple[str, str]]:
        """(font, text) for each piece. own: the font of ordinary letters. A letter that no font has becomes "?"."""
        found: list[tuple[str, str]] = []
        for letter in text:
            font = own if is_known(letter) else self._font_of.get(letter, own)
            shown = letter if is_known(letter) or letter in self._font_of else "?"
            if found and found[-1][0] == font:
                found[-1] = (font, found[-1][1] + shown)
            else:
                found.append((font, shown))
        return found


def _opened(path: Path, name: str) -> Any:
    """The font, or None if it has no TrueType outlines or can't be read."""
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    try:
        return TTFont(name, str(path))
    except (TTFError, OSError, ValueError, KeyError, IndexError):
        return None
