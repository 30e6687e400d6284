"""The README's pictures are what the program draws."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from typing import Any

import pytest

from tests.readme_pictures import BOARD, CHROMIUM, PAGE, board, page
from tests.test_readme import README

SVG = "{http://www.w3.org/2000/svg}"
SHAPES = {f"{SVG}rect": ("x", "y", "width", "height"), f"{SVG}path": ("d",)}


def words_of(picture: bytes) -> list[str]:
    """Every word that can be read, wherever lines are broken."""
    return [word for text in ET.fromstring(picture).iter(f"{SVG}text") for word in (text.text or "").split()]


def board_on(picture: bytes) -> Iterator[Any]:
    """What the page draws of the board, in units of its own, which no font moves."""
    drawing = ET.fromstring(picture).find(f".//{SVG}svg")
    assert drawing is not None
    for part in drawing:
        yield part.tag, [part.get(name) for name in SHAPES.get(part.tag, ())]


@pytest.mark.parametrize("path", [BOARD, PAGE])
def test_the_readme_shows_it(path: Any) -> None:
    assert re.search(rf"!\[[^]]+\]\(demo_plans/{path.name}\)", README)


def test_the_board_is_what_draw_draws() -> None:
    assert BOARD.read_bytes() == board()


def test_the_page_is_what_a_browser_shows() -> None:
    pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    if not CHROMIUM:
        pytest.skip("Chromium is not installed")
    made, kept = page(), PAGE.read_bytes()
    assert words_of(kept) == words_of(made)
    assert list(board_on(kept)) == list(board_on(made))
