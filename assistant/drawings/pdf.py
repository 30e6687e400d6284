"""Writes pages as a PDF file with reportlab, at true size and with searchable text."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from assistant.drawings.fonts import Fallback
from assistant.drawings.letters import size_of
from assistant.drawings.picture import Line, Page, Text
from assistant.errors import NoSuchPart

MM = 72 / 25.4
FONTS = {False: "Helvetica", True: "Helvetica-Bold"}


def write_pdf(pages: Sequence[Page], title: str) -> tuple[bytes, list[str]]:
    """(the file's bytes, the letters that no font here has and that are shown as "?").

    Raises NoSuchPart if reportlab isn't installed.
    """
    try:
        from reportlab.pdfgen.canvas import Canvas
    except ImportError as error:
        raise NoSuchPart("a PDF needs reportlab: pip install reportlab") from error
    letters = Fallback(
        {letter for page in pages for item in page.items if isinstance(item, Text) for letter in item.text}
    )
    into = io.BytesIO()
    # No date and no trace of the machine goes in, so that the same plan gives the same file.
    canvas = Canvas(into, pageCompression=1, invariant=1)
    canvas.setTitle(title)
    canvas.setCreator("Kerfcall")
    # Asks the viewer to print at true size instead of fitting the page to the paper, which would spoil the strips.
    canvas.setViewerPreference("PrintScaling", "None")
    for page in pages:
        canvas.setPageSize((page.width * MM, page.height * MM))
        _draw(canvas, page, letters)
        canvas.showPage()
    canvas.save()
    return into.getvalue(), sorted(letters.lacking)


def _draw(canvas: Any, page: Page, letters: Fallback) -> None:
    # The library resets its settings on every page, so round ends and corners are set each time.
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    for item in page.items:
        if isinstance(item, Text):
            _text(canvas, item, letters)
            continue
        canvas.setLineWidth(item.weight * MM)
        canvas.setDash((1.5 * MM, 1.2 * MM) if item.dashed else ())
        if isinstance(item, Line):
            canvas.line(item.a[0] * MM, item.a[1] * MM, item.b[0] * MM, item.b[1] * MM)
            continue
        path = canvas.beginPath()
        (x, y), *rest = item.points
        path.moveTo(x * MM, y * MM)
        for x, y in rest:
            path.lineTo(x * MM, y * MM)
        path.close()
        canvas.drawPath(path, stroke=1, fill=1 if item.black else 0)


def _text(canvas: Any, item: Text, letters: Fallback) -> None:
    """Draw text. Letters of a fallback font are squeezed if they would be wider than the layout assumed."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    size = size_of(item.cap) * MM
    runs = letters.runs(item.text, FONTS[item.bold])
    wide = sum(stringWidth(text, font, size) for font, text in runs)
    squeezed = min(1.0, item.width * MM / wide) if wide else 1.0
    x, y = item.start
    text = canvas.beginText()
    if item.turned:
        # Cosine 0 and sine 1: a quarter turn anticlockwise.
        text.setTextTransform(0, 1, -1, 0, x * MM, y * MM)
    else:
        text.setTextOrigin(x * MM, y * MM)
    text.setHorizScale(100 * squeezed)
    for font, piece in runs:
        text.setFont(font, size)
        text.textOut(piece)
    canvas.drawText(text)
