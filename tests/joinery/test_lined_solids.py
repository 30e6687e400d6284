"""Lined joints as solids: board, blank, glue-up, recut and the mating part, by an independent geometry library.

manifold3d knows nothing of layouts: it is given boxes of wood and the trips of a blade, and what is
left is measured. x across the board from the reference edge, y from the board's end, z through it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction as F
from functools import reduce

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from assistant.errors import BadInput
from assistant.joinery.layout import even, listed, mate
from assistant.joinery.lined import Lining, Stages, stages
from assistant.joinery.model import Blade, Segment
from assistant.joinery.passes import cuts
from assistant.joinery.walls import open_walls

manifold3d = pytest.importorskip("manifold3d", reason="the test extra brings manifold3d")
Solid = manifold3d.Manifold

BLADE = Blade(F(318, 100))
LENGTH, BLANK_LENGTH, BEAM = 120.0, 200.0, 0.05


@dataclass(frozen=True)
class Lined:
    width: F
    clearance: F
    thickness: dict[str, F]
    sand: F
    lining: Lining
    final: dict[str, tuple[Segment, ...]]

    @property
    def depths(self) -> dict[str, F]:
        return {"A": self.thickness["B"] + self.sand, "B": self.thickness["A"] + self.sand}

    def stages(self) -> dict[str, Stages]:
        return {one.part: one for one in stages(self.final, self.depths, self.lining, BLADE.kerf)}


@st.composite
def lined_joints(draw: st.DrawFn) -> Lined:
    hundredths = st.integers(900, 2200).map(lambda n: F(n, 100))
    if draw(st.booleans()):
        finger = draw(hundredths)
        width = finger * draw(st.integers(2, 7)) + draw(st.sampled_from([F(0), F(5)]))
        nominal = even(width, finger, draw(st.sampled_from(["finger", "socket"])), "both edges")
    else:
        widths = draw(st.lists(hundredths, min_size=2, max_size=5))
        nominal = listed(sum(widths, F(0)), widths, starts_with=draw(st.sampled_from(["finger", "socket"])))
    clearance = draw(st.sampled_from([F(0), F(1, 10), F(127, 500)]))
    parts = draw(st.sampled_from([("A",), ("B",), ("A", "B")]))
    lining = Lining(
        draw(st.integers(50, 200).map(lambda n: F(n, 100))), parts, draw(st.sampled_from([F(0), F(6, 100)]))
    )
    final = {"A": open_walls(nominal, clearance), "B": open_walls(mate(nominal), clearance)}
    thickness = {"A": F(12), "B": draw(st.sampled_from([F(9), F(12)]))}
    joint = Lined(nominal[-1].end, clearance, thickness, F(3, 10), lining, final)
    try:
        joint.stages()
    except BadInput:
        assume(False)
    return joint


def block(x0: float, x1: float, y0: float, y1: float, z0: float, z1: float) -> Solid:
    return Solid.cube([x1 - x0, y1 - y0, z1 - z0]).translate([x0, y0, z0])


def sawn(wood: Solid, segments: tuple[Segment, ...], width: F, depth: F, thickness: F) -> Solid:
    """The wood after every trip of the blade that these segments need."""
    for cut in cuts(segments, width, BLADE):
        wood -= block(float(cut.kerf_from), float(cut.kerf_to), -1, float(depth), -1, float(thickness) + 1)
    return wood


@dataclass
class Cut:
    """One part after all stages. board and lining: apart. glued: the lining before stage 2."""

    board: Solid
    lining: Solid
    board_1: Solid
    glued: Solid

    @property
    def whole(self) -> Solid:
        return self.board + self.lining


def made(joint: Lined, part: str) -> Cut:
    """The part as the shop would make it."""
    width, thick = joint.width, joint.thickness[part]
    board = block(0, float(width), 0, LENGTH, 0, float(thick))
    of = joint.stages().get(part)
    if of is None:
        board = sawn(board, joint.final[part], width, joint.depths[part], thick)
        return Cut(board, Solid(), board, Solid())
    opened = sawn(board, of.opened, width, of.opened_depth, thick)
    blank = sawn(block(0, float(width), 0, BLANK_LENGTH, 0, float(thick)), of.blank, width, of.blank_depth, thick)
    # Turned end over end (half a turn about x), its tips seat on the bottoms of the opened sockets.
    turned = blank.transform([[1, 0, 0, 0], [0, -1, 0, float(of.opened_depth)], [0, 0, -1, float(thick)]])
    assert (opened ^ turned).volume() < 1e-6, "the blank goes into the opened sockets"
    glued = turned - block(-1, float(width) + 1, -BLANK_LENGTH, 0, -1, float(thick) + 1)
    final = [sawn(wood, of.final, width, of.final_depth, thick) for wood in (opened, glued)]
    return Cut(final[0], final[1], opened, glued)


def inner_walls(segments: tuple[Segment, ...]) -> list[tuple[float, int]]:
    """(x, direction into this part's finger) of each inner wall."""
    found = []
    for left, right in zip(segments, segments[1:], strict=False):
        found.append((float(left.end), -1 if left.is_finger else 1))
        assert left.end == right.start
    return found


def along(wood: Solid, x: tuple[float, float], y: tuple[float, float], z: float) -> float:
    """How much of a thin beam through this box is wood, as a length: one of the spans is BEAM wide."""
    beam = block(min(x), max(x), min(y), max(y), z, z + BEAM)
    return (wood ^ beam).volume() / BEAM**2


@given(lined_joints())
@settings(max_examples=25, deadline=None)
def test_volumes_add_up_and_nothing_intersects(joint: Lined) -> None:
    for part, of in joint.stages().items():
        cut, thick = made(joint, part), float(joint.thickness[part])
        end = block(0, float(joint.width), 0, float(of.opened_depth), 0, thick)
        walls = len(of.final) - 1
        glue = walls * float(joint.lining.glue_clearance) / 2 * float(of.opened_depth) * thick
        empty = (end - (cut.board_1 + cut.glued)).volume()
        assert empty == pytest.approx(glue, abs=1e-5), "only the glue gaps are left open at the glue-up"
        sockets = sum((s.width for s in of.final if not s.is_finger), F(0))
        removed = float(sockets * of.final_depth) * thick
        left = (cut.board ^ end).volume() + cut.lining.volume()
        assert left + removed + glue == pytest.approx(end.volume(), rel=1e-6)
        assert (cut.board ^ cut.lining).volume() < 1e-6


@given(lined_joints())
@settings(max_examples=25, deadline=None)
def test_the_parts_go_together(joint: Lined) -> None:
    """Part B stands across part A's end: through it runs A's end, sand allowance proud; B's tips likewise."""
    a, b = made(joint, "A").whole, made(joint, "B").whole
    depth_a, sand = float(joint.depths["A"]), float(joint.sand)
    across = b.transform([[1, 0, 0, 0], [0, 0, -1, depth_a], [0, 1, 0, -sand]])
    corner = block(-1, float(joint.width) + 1, -1, depth_a + 1, -1, float(joint.thickness["A"]) + 1)
    assert (a ^ across).volume() < 1e-5
    # Moved by more than a glue gap they meet, whichever wall is in the way: the gaps are no wider than they should be.
    step = float(joint.clearance) / 2 + 0.05
    met = [(a ^ across.translate([way * step, 0, 0]) ^ corner).volume() for way in (1, -1)]
    assert max(met) > 1e-3


@given(lined_joints())
@settings(max_examples=25, deadline=None)
def test_the_lining_measured_on_the_solids(joint: Lined) -> None:
    """t at every wall (t/2 where both parts are lined, so that two make a line of t) and t at every bottom."""
    t = float(joint.lining.thickness)
    at_wall = t / 2 if len(joint.lining.parts) == 2 else t
    for part, of in joint.stages().items():
        cut, middle = made(joint, part), float(joint.thickness[part]) / 2
        depth, reach = float(of.final_depth), at_wall + 0.3
        for x, into in inner_walls(of.final):
            for y in (1.0, depth / 2, depth - 1):
                measured = along(cut.lining, (x, x + into * reach), (y, y + BEAM), middle)
                assert measured == pytest.approx(at_wall, abs=1e-4)
        for socket in (s for s in of.final if not s.is_finger):
            x = float(socket.start + socket.end) / 2
            measured = along(cut.lining, (x, x + BEAM), (depth - 1, depth + t + 1), middle)
            assert measured == pytest.approx(t, abs=1e-4)


@given(lined_joints())
@settings(max_examples=25, deadline=None)
def test_the_boards_edges_are_bare(joint: Lined) -> None:
    for part, of in joint.stages().items():
        cut, thick, width = made(joint, part), float(joint.thickness[part]), float(joint.width)
        for finger, x in ((of.final[0], 0.0), (of.final[-1], width - BEAM)):
            if not finger.is_finger:
                continue
            edge = block(x, x + BEAM, 0, float(of.opened_depth), 0, thick)
            assert (cut.lining ^ edge).volume() < 1e-9
            assert (cut.board ^ edge).volume() == pytest.approx(edge.volume(), rel=1e-9)


def test_where_both_are_lined_a_line_in_the_finished_joint_is_one_lining_thick() -> None:
    """Read across the assembled joint at a wall: B's half lining, the glue gap, A's half lining."""
    nominal = even(F(72), F(12), "finger", "far edge")
    final = {"A": open_walls(nominal, F(1, 10)), "B": open_walls(mate(nominal), F(1, 10))}
    lining = Lining(F(3, 2), ("A", "B"))
    joint = Lined(F(72), F(1, 10), {"A": F(12), "B": F(12)}, F(3, 10), lining, final)
    a, b = made(joint, "A"), made(joint, "B")
    across = b.lining.transform([[1, 0, 0, 0], [0, 0, -1, float(joint.depths["A"])], [0, 1, 0, -0.3]])
    line = reduce(lambda left, right: left + right, (a.lining, across))
    for wall in range(12, 72, 12):
        measured = along(line, (wall - 2, wall + 2), (6, 6 + BEAM), 6)
        assert measured == pytest.approx(1.5, abs=1e-4)
