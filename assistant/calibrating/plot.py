"""The residuals of a calibration as a picture: SVG by itself, PNG with matplotlib."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

from assistant.calibrating.values import Value
from assistant.errors import BadInput, Fault, NoSuchPart
from assistant.joinery.units import MM_PER_UNIT
from assistant.plans.document import cleaned

WIDTH, HEIGHT, MARGIN = 640, 360, 60
MISSING = "a PNG needs matplotlib: pip install 'kerfcall[plots]'; an .svg needs nothing"


@dataclass(frozen=True, slots=True)
class Marks:
    """What is drawn, in the shop's unit. points: (label, set, residual). band: twice the residuals' scatter."""

    title: str
    unit: str
    points: tuple[tuple[str, float, float], ...]
    band: float
    foot: str

    @property
    def reach(self) -> float:
        """How far up and down the picture goes."""
        return 1.2 * max(self.band, *(abs(y) for _, _, y in self.points), 1e-6)

    @property
    def ends(self) -> tuple[float, float]:
        """The least and the greatest setting, with room beside them."""
        low, high = (f(x for _, x, _ in self.points) for f in (min, max))
        room = 0.06 * (high - low) or 1.0
        return low - room, high + room


def marks_of(value: Value, unit: str) -> Marks:
    """The picture of a value. unit: "mm" or "in"."""
    size = float(MM_PER_UNIT[unit])
    points = tuple((p.reading.label, float(p.reading.x) / size, p.residual / size) for p in value.points)
    sd = math.sqrt(math.fsum(y * y for _, _, y in points) / max(1, len(points) - 1))
    out = ", ".join(each.reading.label for each in value.left_out)
    foot = f"left out: {out}" if out else "no reading left out"
    points = tuple(_without_overlap(points))
    return Marks(f"Calibration of {value.kind}: what is left over", unit, points, 2 * sd, foot)


def _without_overlap(points: Iterable[tuple[str, float, float]]) -> Iterator[tuple[str, float, float]]:
    """Marks on the very same spot share one, which names them all."""
    spots: dict[tuple[float, float], list[str]] = {}
    for label, x, y in points:
        spots.setdefault((x, round(y, 6)), []).append(label)
    for (x, y), labels in spots.items():
        yield " ".join(labels), x, y


def plot(value: Value, path: Path, unit: str) -> None:
    """Write the picture; the suffix chooses.

    Raises BadInput for another suffix or where it can't be written, NoSuchPart without matplotlib.
    """
    marks = marks_of(value, unit)
    writers = {".svg": _write_svg, ".png": _write_png}
    writer = writers.get(path.suffix.lower())
    given = cleaned(str(path))
    if writer is None:
        raise BadInput([Fault("a picture is .svg or .png", given, "--plot", "name it so")])
    try:
        writer(marks, path)
    except OSError as error:
        mend = "check the folder and your right to write there"
        raise BadInput([Fault(f"cannot be written: {error.strerror}", given, "--plot", mend)]) from error


def _write_svg(marks: Marks, path: Path) -> None:
    path.write_text("\n".join(svg(marks)) + "\n", encoding="utf-8")


def svg(marks: Marks) -> Iterator[str]:
    """The picture as SVG, line by line."""
    low, high = marks.ends

    def across(x: float) -> float:
        return MARGIN + (x - low) / (high - low) * (WIDTH - 2 * MARGIN)

    def up(y: float) -> float:
        return HEIGHT / 2 - y / marks.reach * (HEIGHT / 2 - MARGIN)

    yield f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif">'
    yield f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>'
    yield f'<text x="{WIDTH / 2}" y="24" text-anchor="middle" font-size="15">{escape(marks.title)}</text>'
    top, bottom = up(marks.band), up(-marks.band)
    yield (
        f'<rect class="band" x="{MARGIN}" y="{top:.2f}" width="{WIDTH - 2 * MARGIN}" height="{bottom - top:.2f}" '
        f'fill="#dde6ee"/>'
    )
    for y in (marks.band, 0.0, -marks.band):
        yield f'<line x1="{MARGIN}" x2="{WIDTH - MARGIN}" y1="{up(y):.2f}" y2="{up(y):.2f}" stroke="#667"/>'
        yield f'<text x="{MARGIN - 6}" y="{up(y) + 4:.2f}" text-anchor="end">{y:.4f}</text>'
    for label, x, y in marks.points:
        yield f'<circle cx="{across(x):.2f}" cy="{up(y):.2f}" r="4" fill="#234"/>'
        yield f'<text x="{across(x) + 6:.2f}" y="{up(y) - 6:.2f}">{escape(label)}</text>'
    for x in (min(p[1] for p in marks.points), max(p[1] for p in marks.points)):
        yield f'<text x="{across(x):.2f}" y="{HEIGHT - MARGIN + 24}" text-anchor="middle">{x:.4g}</text>'
    foot = f"set, {marks.unit}; off, {marks.unit}; shaded: twice the scatter; {marks.foot}"
    yield f'<text x="{WIDTH / 2}" y="{HEIGHT - 12}" text-anchor="middle">{escape(foot)}</text>'
    yield "</svg>"


def _write_png(marks: Marks, path: Path) -> None:
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError as error:
        raise NoSuchPart(MISSING) from error
    figure = Figure(figsize=(WIDTH / 100, HEIGHT / 100), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.axhspan(-marks.band, marks.band, color="#dde6ee")
    axes.axhline(0, color="#667", linewidth=1)
    axes.plot([x for _, x, _ in marks.points], [y for _, _, y in marks.points], "o", color="#234")
    for label, x, y in marks.points:
        axes.annotate(label, (x, y), textcoords="offset points", xytext=(6, 6))
    axes.set_ylim(-marks.reach, marks.reach)
    axes.set(title=marks.title, ylabel=f"off, {marks.unit}", xlabel=f"set, {marks.unit}; {marks.foot}")
    figure.savefig(path, dpi=100)
