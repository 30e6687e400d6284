"""Writes pages as one SVG file, one below another, at true size. It needs only the standard library."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape, quoteattr

from assistant.drawings.letters import size_of
from assistant.drawings.picture import Item, Line, Page, Picture, Shape, Text

BETWEEN = 6.0
FONTS = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"


def write_svg(pages: Sequence[Page], title: str) -> bytes:
    """The file's bytes, UTF-8."""
    return "\n".join(_lines(pages, title)).encode("utf-8")


def _lines(pages: Sequence[Page], title: str) -> Iterator[str]:
    width = max(page.width for page in pages)
    height = sum(page.height for page in pages) + BETWEEN * (len(pages) - 1)
    yield '<?xml version="1.0" encoding="UTF-8"?>'
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_n(width)}mm" height="{_n(height)}mm" '
        f'viewBox="0 0 {_n(width)} {_n(height)}">'
    )
    yield f"<title>{_escaped(title)}</title>"
    yield (
        f'<g font-family="{FONTS}" fill="black" stroke="black" stroke-linecap="round" stroke-linejoin="round" '
        'xml:space="preserve">'
    )
    top = 0.0
    for page in pages:
        yield f"<g><title>{_escaped(page.name)}</title>"
        paper = f'x="0" y="{_n(top)}" width="{_n(page.width)}" height="{_n(page.height)}"'
        yield f'<rect {paper} fill="white" stroke="silver" stroke-width="0.1"/>'
        yield from (_item(item, top + page.height, "black") for item in page.items)
        yield "</g>"
        top += page.height + BETWEEN
    yield "</g></svg>\n"


def figure(picture: Picture, words: str) -> str:
    """A picture as an <svg> element to put into a web page: as large as its place, in the text's own colour.

    words: what it shows, for whoever doesn't see it.
    """
    start = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(picture.width)} {_n(picture.height)}" role="img" '
        f"aria-label={quoteattr(''.join(letter for letter in words if _is_xml(ord(letter))))} "
        f'font-family="{FONTS}" fill="currentColor" stroke="currentColor" stroke-linecap="round" '
        'stroke-linejoin="round">'
    )
    return "".join([start, *(_item(item, picture.height, "currentColor") for item in picture.items), "</svg>"])


def _item(item: Item, foot: float, ink: str) -> str:
    """One item as SVG. foot: y of the page's bottom, since SVG counts downwards. ink: the colour of what is filled."""
    match item:
        case Line(a, b):
            places = f'x1="{_n(a[0])}" y1="{_n(foot - a[1])}" x2="{_n(b[0])}" y2="{_n(foot - b[1])}"'
            return f"<line {places} {_stroke(item)}/>"
        case Shape(points):
            places = " ".join(f"{_n(x)},{_n(foot - y)}" for x, y in points)
            fill = ink if item.black else "none"
            return f'<polygon points="{places}" fill="{fill}" {_stroke(item)}/>'
        case Text():
            return _text(item, foot)


def _stroke(item: Line | Shape) -> str:
    dashes = ' stroke-dasharray="1.5 1.2"' if item.dashed else ""
    return f'stroke-width="{_n(item.weight)}" class={quoteattr(item.layer)}{dashes}'


def _text(item: Text, foot: float) -> str:
    """Text as SVG, stretched to the width that the layout assumed, whatever the font."""
    x, y = item.start
    turn = f' transform="rotate(-90 {_n(x)} {_n(foot - y)})"' if item.turned else ""
    bold = ' font-weight="bold"' if item.bold else ""
    length = f'textLength="{_n(item.width)}" lengthAdjust="spacingAndGlyphs"'
    size = f'font-size="{_n(size_of(item.cap))}"'
    place = f'x="{_n(x)}" y="{_n(foot - y)}" {size} {length}'
    return f'<text {place}{bold}{turn} stroke="none" class={quoteattr(item.layer)}>{_escaped(item.text)}</text>'


def _escaped(text: str) -> str:
    """The text with markup characters escaped, and without characters that XML doesn't allow."""
    return escape("".join(letter for letter in text if _is_xml(ord(letter))))


def _is_xml(code: int) -> bool:
    """Whether XML allows this character (XML 1.0, production [2] Char)."""
    return code in (9, 10, 13) or 0x20 <= code <= 0xD7FF or 0xE000 <= code <= 0xFFFD or code >= 0x10000


def _n(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")
