"""A QR picture in characters, for a terminal; an optional part."""

from __future__ import annotations

import io


def picture(text: str) -> str:
    """Two rows of dots a line, with its quiet border; "" where the library is missing (`pip install segno`)."""
    try:
        import segno
    except ImportError:
        return ""
    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out, border=1, compact=True)
    return "\n".join(f"   {line}" for line in out.getvalue().rstrip("\n").split("\n"))
