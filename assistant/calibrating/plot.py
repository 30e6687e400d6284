"""Draws the residuals of a calibration. The picture is laid out once; a PNG needs matplotlib, an SVG nothing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

from assistant.calibrating.values import Value
from assistant.errors import BadInput, Fault, NoSuchPart
from assistant.joinery.units import MM_PER_UNIT, Unit
from assistant.plans.document import cleaned

WIDTH, HEIGHT, MARGIN = 640, 360, 60
SIZE, TITLE_SIZE = 12, 15
DOT, BAND_COLOUR, RULE_COLOUR, DOT_COLOUR = 4, "#dde6ee", "#667", "#234"
PIXELS_PER_INCH, POINTS_PER_INCH = 100, 72
MISSING = "a PNG needs matplotlib: pip install 'kerfcall[plots]'; an .svg needs nothing"


@dataclass(frozen=True, slots=True)
class Shade:
    """The shaded band, as wide as the lines, from `top` down to `bottom`. Pixels, y down, as everywhere here."""

    top: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Rule:
    """A level line from margin to margin."""

    y: float


@dataclass(frozen=True, slots=True)
class Dot:
    """A reading."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Label:
    """Text on one line. y: of its baseline. anchor: start | middle | end, the part of the text that is at x."""

    text: str
    x: float
    y: float
    anchor: str = "start"
    size: int = SIZE


PlotMark = Shade | Rule | Dot | Label


def drawn(value: Value, unit: Unit) -> Iterator[PlotMark]:
    """Everything in the picture, from back to front. unit: of what it says."""
    size = float(MM_PER_UNIT[unit])
    spots = [(p.reading.label, float(p.reading.x) / size, p.residual / size) for p in value.points]
    scatter = 2 * math.sqrt(math.fsum(y * y for _, _, y in spots) / max(1, len(spots) - 1))
    low, high = (end(x for _, x, _ in spots) for end in (min, max))
    room = 0.06 * (high - low) or 1.0
    # Never 0, so that there is a scale to draw to even if all residuals are 0.
    reach = 1.2 * max(scatter, *(abs(y) for _, _, y in spots), 1e-6)

    def across(x: float) -> float:
        return MARGIN + (x - low + room) / (high - low + 2 * room) * (WIDTH - 2 * MARGIN)

    def up(y: float) -> float:
        return HEIGHT / 2 - y / reach * (HEIGHT / 2 - MARGIN)

    yield Label(f"Calibration of {value.kind}: residuals", WIDTH / 2, 24, "middle", TITLE_SIZE)
    yield Shade(up(scatter), up(-scatter))
    for y in (scatter, 0.0, -scatter):
        yield Rule(up(y))
        yield Label(f"{y:.4f}", MARGIN - 6, up(y) + 4, "end")
    # Readings on exactly the same spot share one dot, labelled with all of them.
    labels_at: dict[tuple[float, float], list[str]] = {}
    for label, x, y in spots:
        labels_at.setdefault((x, round(y, 6)), []).append(label)
    for (x, y), labels in labels_at.items():
        yield Dot(across(x), up(y))
        yield Label(" ".join(labels), across(x) + 6, up(y) - 6)
    for x in (low, high):
        yield Label(f"{x:.4g}", across(x), HEIGHT - MARGIN + 24, "middle")
    out = ", ".join(each.reading.label for each in value.left_out)
    left_out = f"left out: {out}" if out else "no reading left out"
    foot = f"across: set, {unit}; up: off, {unit}; shaded: twice the standard deviation; {left_out}"
    yield Label(foot, WIDTH / 2, HEIGHT - 12, "middle")


def plot(value: Value, path: Path, unit: Unit) -> None:
    """Write the picture as SVG or PNG, by the path's suffix.

    Raises BadInput for another suffix or if it can't be written, NoSuchPart without matplotlib.
    """
    write = {".svg": _write_svg, ".png": _write_png}.get(path.suffix.lower())
    given = cleaned(str(path))
    if write is None:
        mend = "give a name that ends in .svg or .png"
        raise BadInput([Fault("a picture must be .svg or .png", given, "--plot", mend)])
    try:
        write(drawn(value, unit), path)
    except OSError as error:
        mend = "check the folder, and that you may write there"
        raise BadInput([Fault(f"can't be written: {error.strerror}", given, "--plot", mend)]) from error


def _write_svg(items: Iterable[PlotMark], path: Path) -> None:
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif">',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
    ]
    for item in items:
        match item:
            case Shade(top, bottom):
                place = f'x="{MARGIN}" y="{top:.2f}" width="{WIDTH - 2 * MARGIN}" height="{bottom - top:.2f}"'
                lines.append(f'<rect class="band" {place} fill="{BAND_COLOUR}"/>')
            case Rule(y):
                ends = f'x1="{MARGIN}" x2="{WIDTH - MARGIN}" y1="{y:.2f}" y2="{y:.2f}"'
                lines.append(f'<line {ends} stroke="{RULE_COLOUR}"/>')
            case Dot(x, y):
                lines.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{DOT}" fill="{DOT_COLOUR}"/>')
            case Label(text, x, y, anchor, size):
                place = f'x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}" font-size="{size}"'
                lines.append(f"<text {place}>{escape(text)}</text>")
    path.write_text("\n".join([*lines, "</svg>"]) + "\n", encoding="utf-8")


def _write_png(items: Iterable[PlotMark], path: Path) -> None:
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
        from matplotlib.patches import Circle, Rectangle
    except ImportError as error:
        raise NoSuchPart(MISSING) from error
    figure = Figure(figsize=(WIDTH / PIXELS_PER_INCH, HEIGHT / PIXELS_PER_INCH), dpi=PIXELS_PER_INCH)
    FigureCanvasAgg(figure)
    # The axes are as large as the picture and y points down, so that their coordinates are its pixels.
    axes = figure.add_axes((0, 0, 1, 1), xlim=(0, WIDTH), ylim=(HEIGHT, 0))
    axes.set_axis_off()
    for item in items:
        match item:
            case Shade(top, bottom):
                axes.add_patch(Rectangle((MARGIN, top), WIDTH - 2 * MARGIN, bottom - top, color=BAND_COLOUR, lw=0))
            case Rule(y):
                axes.plot((MARGIN, WIDTH - MARGIN), (y, y), color=RULE_COLOUR, lw=POINTS_PER_INCH / PIXELS_PER_INCH)
            case Dot(x, y):
                axes.add_patch(Circle((x, y), DOT, color=DOT_COLOUR, lw=0, zorder=3))
            case Label(text, x, y, anchor, size):
                side = {"start": "left", "middle": "center", "end": "right"}[anchor]
                points = size * POINTS_PER_INCH / PIXELS_PER_INCH
                # Without parse_math=False a $ in a label would begin a formula.
                axes.text(x, y, text, ha=side, va="baseline", fontsize=points, parse_math=False)
    figure.savefig(path)
