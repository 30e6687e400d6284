"""Widths of text, compared with the PDF library's own metrics."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.pdfbase.pdfmetrics import stringWidth

from assistant.drawings.letters import is_known, shortened, size_of, width_of, wrapped

LATIN = st.characters(min_codepoint=32, max_codepoint=255, exclude_categories=["Cc"])


@pytest.mark.parametrize(("bold", "font"), [(False, "Helvetica"), (True, "Helvetica-Bold")])
@given(text=st.text(LATIN, max_size=30))
def test_latin_letters_are_as_wide_as_in_the_adobe_metrics(bold: bool, font: str, text: str) -> None:
    """Source: the Adobe font metrics, of which reportlab has a copy."""
    assert width_of(text, 3.0, bold) == pytest.approx(stringWidth(text, font, size_of(3.0)), abs=1e-9)


def test_letters_of_other_scripts_count_as_a_whole_size() -> None:
    assert width_of("日本", 3.0) == pytest.approx(2 * size_of(3.0))
    assert not is_known("日") and is_known("é")


@given(st.text(max_size=200), st.floats(15, 200), st.booleans())
def test_wrapped_lines_fit_and_lose_nothing(text: str, most: float, bold: bool) -> None:
    lines = wrapped(text, 3.0, most, bold)
    assert all(width_of(line, 3.0, bold) <= most for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@given(st.text(max_size=80), st.floats(10, 100))
def test_a_shortened_text_fits_and_says_that_it_is_cut(text: str, most: float) -> None:
    cut = shortened(text, 4.0, most)
    assert width_of(cut, 4.0) <= most
    assert cut == text or not cut or cut.endswith("...")
