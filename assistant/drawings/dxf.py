"""Writes a drawing as a DXF file (R2010) with ezdxf, in the shop's unit, which the file states."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from typing import Any

from assistant.drawings.picture import Item, Line, Shape, Text
from assistant.errors import NoSuchPart
from assistant.joinery.units import MM_PER_UNIT, Unit

UNIT_CODE = {Unit.MM: 4, Unit.INCH: 1}
"""$INSUNITS (DXF reference, header section)."""
WEIGHTS = (13, 18, 25, 35, 50, 70)
"""Some of the line weights of DXF, in hundredths of a mm. DXF allows only a fixed set."""


def write_dxf(items: Sequence[Item], unit: Unit) -> bytes:
    """The file's bytes. unit: of its coordinates, as $INSUNITS says.

    Raises NoSuchPart if ezdxf isn't installed.
    """
    try:
        import ezdxf
    except ImportError as error:
        raise NoSuchPart("a DXF file needs ezdxf: pip install 'kerfcall[dxf]'") from error
    # Without `setup` a document has continuous lines only, and no DASHED.
    document = ezdxf.new("R2010", setup=["linetypes"])
    document.units = UNIT_CODE[unit]
    # Beside $INSUNITS: by this one readers choose metric or inch patterns of dashes (DXF reference).
    document.header["$MEASUREMENT"] = 1 if unit == Unit.MM else 0
    for name, font in (("letters", "arial.ttf"), ("bold letters", "arialbd.ttf")):
        document.styles.add(name, font=font)
    space = document.modelspace()
    writer = _Writer(document, space, 1 / float(MM_PER_UNIT[unit]))
    for item in items:
        writer.put(item)
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode("utf-8")


class _Writer:
    def __init__(self, document: Any, space: Any, scale: float):
        self._document, self._space, self._scale = document, space, scale

    def put(self, item: Item) -> None:
        if isinstance(item, Text):
            self._text(item)
        elif isinstance(item, Line):
            self._space.add_line(self._at(item.a), self._at(item.b), dxfattribs=self._stroke(item))
        else:
            points = [self._at(point) for point in item.points]
            self._space.add_lwpolyline(points, close=True, dxfattribs=self._stroke(item))
            if item.black:
                # Colour 7 is black on paper and white on a dark screen.
                hatch = self._space.add_hatch(color=7, dxfattribs={"layer": self._layer(item.layer)})
                hatch.paths.add_polyline_path(points, is_closed=True)

    def _at(self, point: tuple[float, float]) -> tuple[float, float]:
        return point[0] * self._scale, point[1] * self._scale

    def _layer(self, name: str) -> str:
        # Commas and the like are not allowed in a layer's name.
        named = "_".join(re.findall(r"\w+", name.upper()))
        if named not in self._document.layers:
            self._document.layers.add(named)
        return named

    def _stroke(self, item: Line | Shape) -> dict[str, Any]:
        weight = min(WEIGHTS, key=lambda each: abs(each - item.weight * 100))
        found: dict[str, Any] = {"layer": self._layer(item.layer), "lineweight": weight}
        if item.dashed:
            found |= {"linetype": "DASHED", "ltscale": 3 * self._scale}
        return found

    def _text(self, item: Text) -> None:
        """Add text fitted between two points, so that in any font it is as wide as the layout assumed."""
        from ezdxf.enums import TextEntityAlignment

        if not item.text:  # without width there are no two points for a baseline
            return
        x, y = item.start
        end = (x, y + item.width) if item.turned else (x + item.width, y)
        entity = self._space.add_text(
            _without_codes(item.text),
            height=item.cap * self._scale,
            rotation=90 if item.turned else 0,
            dxfattribs={"layer": self._layer(item.layer), "style": "bold letters" if item.bold else "letters"},
        )
        entity.set_placement(self._at((x, y)), self._at(end), align=TextEntityAlignment.FIT)


def _without_codes(text: str) -> str:
    """The text with spaces inside anything that DXF would read as a code: %%, ^, and a backslash before U+ or M+."""
    return text.replace("%%", "% %").replace("^", "^ ").replace("\\U+", "\\ U+").replace("\\M+", "\\ M+")
