"""Pages filled from the top: nothing over the foot, nothing lost, columns read downwards."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.drawings.flow import FOOT, HEAD, MARGIN, Flow, Sheet, cells, column_widths, framed, text_row
from assistant.drawings.picture import Picture
from tests.drawings.drawn import box_of, overlaps, texts

A4 = Sheet.of("a4")


@settings(max_examples=50, deadline=None)
@given(st.lists(st.integers(1, 120), min_size=1, max_size=6), st.booleans())
def test_no_row_is_lost_or_laid_over_another(counts: list[int], heads: bool) -> None:
    flow = Flow("rows", A4)
    wanted = []
    for group, count in enumerate(counts):
        names = [f"{group}/{n}" for n in range(count)]
        wanted += names
        flow.paragraph(f"group {group} of many", bold=True)
        flow.grid([text_row(name) for name in names], text_row("head", bold=True) if heads else None)
    found = []
    for page in flow.pages:
        assert overlaps(page.items) == []
        for text in texts(page.items):
            box = box_of(text)
            assert box.bottom >= MARGIN + FOOT - 0.01 and box.top <= page.height - MARGIN - HEAD + 0.01
        found += [text.text for text in texts(page.items) if "/" in text.text]
    assert found == wanted


def test_columns_are_read_downwards() -> None:
    flow = Flow("rows", A4)
    flow.grid([text_row(f"row {n}") for n in range(12)])
    (page,) = flow.pages
    ordered = sorted(texts(page.items), key=lambda text: (text.at[0], -text.at[1]))
    assert [text.text for text in ordered] == [f"row {n}" for n in range(12)]


def test_what_is_too_high_for_the_rest_goes_onto_the_next_page() -> None:
    flow = Flow("pictures", A4)
    tall = Picture((), 10, A4.room * 0.6)
    flow.add(tall)
    flow.add(tall)
    assert len(flow.pages) == 2


def test_columns_of_cells_are_as_wide_as_their_widest() -> None:
    rows = [("a", "long words"), ("much longer words", "b")]
    widths = column_widths(rows)
    pictures = [cells(row, widths, right=(1,), bold=True) for row in rows]
    ends = {round(box_of(texts(picture.items)[1]).right, 6) for picture in pictures}
    assert len(ends) == 1
    assert all(overlaps(picture.items) == [] for picture in pictures)


def test_pages_are_numbered_through() -> None:
    flow = Flow("x", A4)
    for _ in range(3):
        flow.new_page()
    pages = framed(flow.pages, "title")
    assert [f"x, page {n} of 3" in [t.text for t in texts(page.items)] for n, page in enumerate(pages, 1)] == [True] * 3
