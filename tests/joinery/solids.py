"""Boards and passes as solids in manifold3d, which knows nothing of layouts, linings or stages.

A board lies with x across its width from the reference edge, y along its length from the end that
is cut (y = 0), z through its thickness.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction as F

from manifold3d import Manifold, OpType

from assistant.joinery.model import Blade, Segment
from assistant.joinery.passes import cuts

BEYOND = 5.0  # how far a pass runs out of the wood, mm
THIN = 1e-3  # the probes' thickness, mm


def block(x: Sequence[F | float], y: Sequence[F | float], z: Sequence[F | float]) -> Manifold:
    """A box from (from, to) along each axis, mm."""
    spans = [(float(a), float(b)) for a, b in (x, y, z)]
    size = [b - a for a, b in spans]
    return Manifold.cube(size).translate([a for a, _ in spans])


def together(solids: Iterable[Manifold]) -> Manifold:
    return Manifold.batch_boolean(list(solids), OpType.Add)


def swept(segments: Sequence[Segment], width: F, depth: F, thick: F, blade: Blade) -> Manifold:
    """Everything that the blade sweeps for these sockets, with the joinery's own passes."""
    through = (-BEYOND, thick + F(BEYOND))
    return together(
        block((one.kerf_from, one.kerf_to), (-BEYOND, depth), through) for one in cuts(segments, width, blade)
    )


def end_over_end(solid: Manifold, thick: F) -> Manifold:
    """Turned about the axis across the board: its end looks the other way and its faces change places."""
    return solid.transform([[1, 0, 0, 0], [0, -1, 0, 0], [0, 0, -1, float(thick)]])


def spun(solid: Manifold, width: F) -> Manifold:
    """Turned on its face: its end looks the other way and its edges change places."""
    return solid.transform([[-1, 0, 0, float(width)], [0, -1, 0, 0], [0, 0, 1, 0]])


def runs(solid: Manifold, probe: Manifold, axis: int) -> list[tuple[float, float]]:
    """(from, to) of each separate piece of the solid along an axis, met within a thin probe; ascending."""
    met = solid ^ probe
    if met.is_empty():
        return []
    boxes = [piece.bounding_box() for piece in met.decompose()]
    return sorted((box[axis], box[axis + 3]) for box in boxes)


def along_x(solid: Manifold, y: float, z: float, width: F) -> list[tuple[float, float]]:
    """The runs of wood met on a line across the board."""
    probe = block((-BEYOND, float(width) + BEYOND), (y - THIN, y + THIN), (z - THIN, z + THIN))
    return runs(solid, probe, 0)


def along_y(solid: Manifold, x: float, z: float, length: float) -> list[tuple[float, float]]:
    """The runs of wood met on a line along the board."""
    probe = block((x - THIN, x + THIN), (-length, length), (z - THIN, z + THIN))
    return runs(solid, probe, 1)


def jointed(
    segments: Sequence[Segment], size: Sequence[F], depth: F, blade: Blade, *, wrongly: bool = False
) -> Manifold:
    """A board (width, length, thickness) cut at both ends with the same settings from the stop.

    Between the two it is turned end over end; wrongly: spun on its face.
    """
    width, length, thick = size
    sockets = swept(segments, width, depth, thick, blade)
    first = block((0, width), (0, length), (0, thick)) - sockets
    turned = spun(first, width) if wrongly else end_over_end(first, thick)
    return turned.translate([0, float(length), 0]) - sockets


def box_of(long: Manifold, short: Manifold, thick: tuple[F, F], outside: tuple[F, F], sand: F) -> list[Manifold]:
    """Two boards of each part, placed as in a box by rotations alone, reference edges on the bench (x up).

    thick, outside: of the long and the short ones. Every board is sand proud at both ends.
    """
    thick_b, (along, across), proud = float(thick[1]), map(float, outside), float(sand)
    return [
        long.transform([[1, 0, 0, 0], [0, 1, 0, -proud], [0, 0, 1, 0]]),
        long.transform([[1, 0, 0, 0], [0, -1, 0, along + proud], [0, 0, -1, across]]),
        short.transform([[1, 0, 0, 0], [0, 0, -1, thick_b], [0, 1, 0, -proud]]),
        short.transform([[1, 0, 0, 0], [0, 0, 1, along - thick_b], [0, -1, 0, across + proud]]),
    ]
