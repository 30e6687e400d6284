"""The SVG, read back as XML."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.drawings.picture import Item, Line, Page, Picture, Shape, Text
from assistant.drawings.sheets import sheets
from assistant.drawings.svg import BETWEEN, figure, write_svg
from tests.drawings.drawn import job_of, plan_of

SVG = "{http://www.w3.org/2000/svg}"


def _page(*items: Item) -> Page:
    return Page("one", 100.0, 50.0, items)


@settings(max_examples=200)
@given(st.text(max_size=60))
def test_any_title_leaves_the_file_well_formed(title: str) -> None:
    root = ElementTree.fromstring(write_svg([_page(Text((0, 0), title))], title))
    # XML can't hold control characters, lone halves of a pair and the two last of the plane.
    held = "".join(
        c for c in title if c in "\t\n\r" or " " <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c > "\uffff"
    )
    (text,) = root.iter(f"{SVG}text")
    assert (text.text or "") == held.replace("\r\n", "\n").replace("\r", "\n")


def test_pages_lie_one_under_another_at_true_size() -> None:
    root = ElementTree.fromstring(write_svg([_page(Line((10, 10), (60, 10))), _page(Line((10, 10), (60, 10)))], "two"))
    assert root.get("width") == "100mm"
    assert root.get("height") == f"{100 + BETWEEN:g}mm"
    assert root.get("viewBox") == f"0 0 100 {100 + BETWEEN:g}"
    first, second = root.iter(f"{SVG}line")
    assert (first.get("x1"), first.get("x2"), first.get("y1")) == ("10", "60", "40")
    assert second.get("y1") == f"{40 + 50 + BETWEEN:g}"


def test_text_is_held_to_the_width_that_the_layout_reckoned_with() -> None:
    text = Text((50, 20), "12.3 mm", anchor="middle")
    root = ElementTree.fromstring(write_svg([_page(text)], "x"))
    (drawn,) = root.iter(f"{SVG}text")
    assert float(drawn.get("textLength", "")) == pytest.approx(text.width, abs=1e-3)
    assert float(drawn.get("x", "")) == pytest.approx(50 - text.width / 2, abs=1e-3)


def test_a_whole_job_is_black_on_white_and_holds_every_item() -> None:
    plan = plan_of(title='<b>"Trays" & more</b>')
    pages = sheets(plan, job_of(plan), "a4")
    root = ElementTree.fromstring(write_svg(pages, plan.title))
    drawn = sum(1 for each in root.iter() if each.tag in {f"{SVG}line", f"{SVG}polygon", f"{SVG}text"})
    assert drawn == sum(len(page.items) for page in pages)
    colours = {each.get(key) for each in root.iter() for key in ("fill", "stroke")} - {None}
    # Only the paper's own rim isn't black.
    assert colours == {"black", "white", "none", "silver"}


def test_a_filled_shape_is_filled() -> None:
    root = ElementTree.fromstring(write_svg([_page(Shape(((0, 0), (5, 0), (5, 5)), black=True))], "x"))
    (shape,) = root.iter(f"{SVG}polygon")
    assert shape.get("fill") == "black"


@settings(max_examples=100)
@given(st.text(max_size=60))
def test_a_figure_for_a_web_page_takes_its_colour_and_its_size(words: str) -> None:
    """It has no colour of its own, so that it is light on dark where the page is, and tells in words what it shows."""
    items = (Line((1, 2), (3, 4)), Shape(((0, 0), (1, 0), (1, 1)), black=True), Shape(((0, 0), (1, 0), (1, 1))))
    root = ElementTree.fromstring(figure(Picture((*items, Text((0, 0), words)), 18, 10), words))
    assert (root.get("viewBox"), root.get("width"), root.get("height")) == ("0 0 18 10", None, None)
    assert (root.get("fill"), root.get("stroke"), root.get("role")) == ("currentColor", "currentColor", "img")
    assert [each.get("fill") for each in root.iter(f"{SVG}polygon")] == ["currentColor", "none"]
    (line,) = root.iter(f"{SVG}line")
    assert (line.get("y1"), line.get("y2")) == ("8", "6"), "y counts downwards"
    held = "".join(c for c in words if " " <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c > "\uffff")
    assert "".join((root.get("aria-label") or "").split()) == "".join(held.split())
