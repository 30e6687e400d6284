"""Fonts of this machine for letters that a viewer's own font lacks."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.drawings import fonts
from assistant.drawings.fonts import Fallback, found_fonts
from tests.drawings.test_pdf import greek_font


def test_known_names_are_found_in_the_agreed_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "b").mkdir()
    for name in ("FreeSans.ttf", "b/DejaVuSans.ttf", "Unheard-Of.ttf"):
        (tmp_path / name).write_bytes(b"")
    monkeypatch.setattr(fonts, "folders", lambda: [tmp_path, tmp_path / "missing"])
    assert [path.name for path in found_fonts()] == ["DejaVuSans.ttf", "FreeSans.ttf"]


@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
def test_every_system_has_folders(platform: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fonts.sys, "platform", platform)
    assert fonts.folders()


def test_fonts_are_looked_for_only_where_letters_need_them(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse() -> list[Path]:
        raise AssertionError("nothing to look for")

    monkeypatch.setattr(fonts, "found_fonts", refuse)
    assert Fallback("Käse 12.5").runs("Käse", "Helvetica") == [("Helvetica", "Käse")]


def test_text_is_taken_apart_by_font(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fonts, "found_fonts", lambda: [greek_font(tmp_path)])
    fallback = Fallback("aα盆")
    assert fallback.lacking == {"盆"}
    runs = fallback.runs("aααa盆", "Helvetica")
    assert [text for _, text in runs] == ["a", "αα", "a?"]
    assert runs[0][0] == "Helvetica" != runs[1][0]
