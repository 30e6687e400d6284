"""The PDF, rendered by an independent library and measured in pixels."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction as F
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2 as pdfium
import pytest

from assistant.drawings import fonts, strips
from assistant.drawings.flow import MARGIN
from assistant.drawings.pdf import write_pdf
from assistant.drawings.picture import Line, Page, Shape, Text
from assistant.drawings.sheets import sheets
from assistant.errors import NoSuchPart
from assistant.joinery.model import Carriage
from tests.drawings.drawn import box_of, job_of, lined_plan, plan_of, texts

DPI = 600
PER_MM = DPI / 25.4


@contextmanager
def opened(data: bytes) -> Iterator[Any]:
    document = pdfium.PdfDocument(data)
    try:
        yield document
    finally:
        document.close()


def pages_of(width: float = 84, finger: F = F(6), side: str = "left", paper: str = "a4") -> tuple[Page, ...]:
    plan = plan_of(F(width), finger)
    return sheets(plan, job_of(plan, Carriage(stop_side=side), F(5, 2)), paper)


def rendered(data: bytes, number: int) -> np.ndarray:
    """Black is True; row 0 at the top."""
    with opened(data) as document:
        bitmap = document[number].render(scale=DPI / 72, grayscale=True)
        picture = np.array(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width)
        bitmap.close()
    return picture < 128


def middles(row: np.ndarray) -> list[float]:
    """Middles of the black runs of a row of pixels, mm from its left."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(int), [0]))))
    return [float(a + b) / 2 / PER_MM for a, b in zip(edges[::2], edges[1::2], strict=True)]


def row_at(picture: np.ndarray, page: Page, y: float) -> np.ndarray:
    return picture[round((page.height - y) * PER_MM)]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_both_scales_are_true_within_a_fifth_of_a_percent(paper: str) -> None:
    """From end mark to end mark, by pixels at 600 dpi: 100 mm and 4 in."""
    pages = pages_of(paper=paper)
    number = next(n for n, page in enumerate(pages) if page.scaled)
    page = pages[number]
    picture = rendered(write_pdf(pages, "scale")[0], number)
    for name, long, parts in strips.BARS:
        level = next(
            item
            for item in page.items
            if isinstance(item, Line) and item.layer == "scale" and item.b[0] - item.a[0] == pytest.approx(long)
        )
        # Between the short marks' tops and the long marks' only the two ends are black.
        ends = [x for x in middles(row_at(picture, page, level.a[1] + 4.5)) if x < MARGIN + 4 + long + 2]
        assert len(ends) == 2, name
        assert ends[1] - ends[0] == pytest.approx(long, rel=0.002)
        marks = [x for x in middles(row_at(picture, page, level.a[1] + 1.5)) if x < MARGIN + 4 + long + 1]
        assert len(marks) == parts + 1
        assert np.diff(marks) == pytest.approx(long / parts, abs=0.06)


@pytest.mark.parametrize(("width", "finger"), [(40, F(40, 3)), (84, F(6)), (195, F(13, 4))])
@pytest.mark.parametrize("side", ["left", "right"])
def test_sockets_on_the_strips_are_where_they_are_cut(width: int, finger: F, side: str) -> None:
    """Edges of the sockets on the paper, by pixels, against the layout's walls: true within 0.2 %, or half a pixel."""
    plan = plan_of(F(width), finger)
    job = job_of(plan, Carriage(stop_side=side), F(5, 2))
    pages = sheets(plan, job, "a4")
    number = next(n for n, page in enumerate(pages) if page.scaled)
    page = pages[number]
    wood = [item for item in page.items if isinstance(item, Shape) and item.layer == "wood"][0]
    low, left = wood.points[0][1], wood.points[0][0]
    # The board's outline alone, without hatches, is on its lower edge row; walls are seen beside the hatches' ends.
    bare = Page(page.name, page.width, page.height, tuple(i for i in page.items if not _is_hatch(i)), True)
    picture = rendered(write_pdf([bare], "strip")[0], 0)
    found = [x - left for x in middles(row_at(picture, page, low + 8))]
    pattern = job.patterns[0]
    walls = [float(x) for s in pattern.sockets for x in (s.start, s.end)]
    ends = sorted({0.0, float(width), *walls} if side == "left" else {0.0, float(width), *(width - x for x in walls)})
    assert len(found) == len(ends)
    for x, wanted in zip(found, ends, strict=True):
        assert x == pytest.approx(wanted, rel=0.002, abs=0.5 / PER_MM + 0.01)


def _is_hatch(item: object) -> bool:
    return isinstance(item, Line) and item.layer == "socket"


def test_the_viewer_is_asked_not_to_scale_the_print() -> None:
    assert b"/PrintScaling /None" in write_pdf(pages_of(), "x")[0]


def test_every_text_can_be_searched_and_lies_in_its_box() -> None:
    """By pdfium's own positions of the letters."""
    plan = lined_plan()
    pages = sheets(plan, job_of(plan), "a4")
    data, lacking = write_pdf(pages, "lined")
    assert lacking == []
    with opened(data) as document:
        assert len(document) == len(pages)
        for number, page in enumerate(pages):
            on_page = document[number]
            text_page = on_page.get_textpage()
            for text in texts(page.items)[:40]:
                box = [side * 72 / 25.4 for side in box_of(text)]
                inside = text_page.get_text_bounded(box[0] - 1, box[1] - 1, box[2] + 1, box[3] + 1)
                assert "".join(text.text.split()) == "".join(inside.split())
            text_page.close()
            on_page.close()


def test_the_same_plan_gives_the_same_file() -> None:
    pages = pages_of()
    assert write_pdf(pages, "same")[0] == write_pdf(pages, "same")[0]


def _page(title: str) -> Page:
    return Page("one", 210.0, 297.0, (Text((20, 200), title), Text((20, 180), title, bold=True, turned=True)))


def test_letters_of_other_scripts_are_drawn_with_a_font_that_has_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A font made here, with one Greek letter; embedded, so that the text is found again."""
    monkeypatch.setattr(fonts, "found_fonts", lambda: [greek_font(tmp_path)])
    data, lacking = write_pdf([_page("tray α x")], "Greek")
    assert lacking == []
    with opened(data) as document:
        text_page = document[0].get_textpage()
        assert "tray α x" in text_page.get_text_range()
        text_page.close()


def test_without_any_font_they_become_question_marks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fonts, "found_fonts", list)
    data, lacking = write_pdf([_page("盆 tray 😀")], "盆 tray")
    assert lacking == ["盆", "😀"]
    with opened(data) as document:
        text_page = document[0].get_textpage()
        assert "? tray ?" in text_page.get_text_range()
        text_page.close()


def test_a_broken_font_is_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    broken = tmp_path / "broken.ttf"
    broken.write_bytes(b"\x00\x01\x00\x00" + b"nothing of use" * 10)
    monkeypatch.setattr(fonts, "found_fonts", lambda: [broken, tmp_path / "missing.ttf", greek_font(tmp_path)])
    assert write_pdf([_page("α")], "x")[1] == []


def test_a_missing_library_is_named_with_the_fix(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "reportlab.pdfgen.canvas", None)
    with pytest.raises(NoSuchPart, match="pip install reportlab"):
        write_pdf([_page("x")], "x")


def greek_font(folder: Path) -> Path:
    """A TrueType font of two letters."""
    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.ttGlyphPen import TTGlyphPen

    pen = TTGlyphPen(None)
    pen.moveTo((0, 0))
    pen.lineTo((500, 0))
    pen.lineTo((250, 700))
    pen.closePath()
    glyph = pen.glyph()
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder([".notdef", "alpha"])
    builder.setupCharacterMap({0x3B1: "alpha"})
    builder.setupGlyf({".notdef": glyph, "alpha": glyph})
    builder.setupHorizontalMetrics({".notdef": (1200, 0), "alpha": (1200, 0)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Made here", "styleName": "Regular", "psName": "MadeHere"})
    builder.setupOS2()
    builder.setupPost()
    path = folder / "made.ttf"
    builder.save(path)
    return path
