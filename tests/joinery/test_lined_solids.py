"""Lined joints made as solids, stage by stage with the passes themselves, then measured."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction as F

import pytest
from hypothesis import given, seed, settings
from manifold3d import Manifold

from assistant.joinery.lined import BLANK_LENGTH_MM, Stages
from tests.joinery.lined_plans import LinedJoint, lined_joints
from tests.joinery.solids import along_x, along_y, block, end_over_end, swept

LENGTH = F(60)  # of the board's end looked at, mm
RELATIVE = 1e-6
MM = 1e-6

made = settings(max_examples=12, deadline=None)


@dataclass(frozen=True)
class End:
    """One part's finished end: its own wood, and the lining where it is lined; glue is what is between them."""

    part: str
    thick: F
    board: Manifold
    lining: Manifold | None

    @property
    def wood(self) -> Manifold:
        return self.board if self.lining is None else self.board + self.lining


def thickness(joint: LinedJoint, part: str) -> F:
    return joint.thick_a if part == "A" else joint.thick_b


def glued(joint: LinedJoint, one: Stages, thick: F) -> tuple[Manifold, Manifold]:
    """Stage 1: the board with its openings, and the blank in line with it, tips on the openings' bottoms."""
    board = block((0, joint.width), (0, LENGTH), (0, thick))
    board -= swept(one.opened, joint.width, one.opened_depth, thick, joint.blade)
    blank = block((0, joint.width), (0, BLANK_LENGTH_MM), (0, thick))
    blank -= swept(one.blank, joint.width, one.blank_depth, thick, joint.blade)
    return board, end_over_end(blank, thick).translate([0, float(one.opened_depth), 0])


def end_of(joint: LinedJoint, part: str) -> End:
    """Both stages of one part."""
    thick, stages = thickness(joint, part), {one.part: one for one in joint.stages}
    final = swept(joint.final[part], joint.width, joint.depths[part], thick, joint.blade)
    if part not in stages:
        return End(part, thick, block((0, joint.width), (0, LENGTH), (0, thick)) - final, None)
    board, blank = glued(joint, stages[part], thick)
    lining = blank.trim_by_plane([0, 1, 0], 0)  # cut off at the board's own end
    return End(part, thick, board - final, lining - final)


def inner_walls(joint: LinedJoint) -> int:
    return len(joint.nominal) - 1


@seed(1)
@made
@given(lined_joints())
def test_the_blank_goes_into_the_openings_and_seats_on_their_bottoms(joint):
    """No wood inside wood; a glue gap of c1/2 at each wall; the board's own fingers stop half a millimetre short."""
    for one in joint.stages:
        thick = thickness(joint, one.part)
        board, blank = glued(joint, one, thick)
        assert (board ^ blank).volume() == pytest.approx(0, abs=RELATIVE * board.volume())
        assert blank.bounding_box()[4] == pytest.approx(float(one.opened_depth), abs=MM)
        middle = float(thick) / 2
        for finger in (s for s in one.opened if s.is_finger):
            free = along_y(blank, float(finger.start + finger.end) / 2, middle, 300)
            assert [to for _, to in free] == pytest.approx([-0.5], abs=MM)
        wood = along_x(board, 1, middle, joint.width) + along_x(blank, 1, middle, joint.width)
        gaps = between(sorted(wood))
        assert gaps == pytest.approx([float(joint.lining.glue_clearance) / 2] * inner_walls(joint), abs=MM)


def between(found: list[tuple[float, float]]) -> list[float]:
    return [after[0] - before[1] for before, after in zip(found, found[1:], strict=False)]


@seed(2)
@made
@given(lined_joints())
def test_volumes_by_material_add_up_to_the_board(joint):
    """Board + lining + glue gaps + removed = the board before; stage 2 takes nothing of the board's own wood."""
    for one in joint.stages:
        end = end_of(joint, one.part)
        thick, whole = float(end.thick), float(joint.width * LENGTH * end.thick)
        glue = float(inner_walls(joint) * joint.lining.glue_clearance / 2 * one.opened_depth) * thick
        open_now = float(sum(s.width for s in joint.final[one.part] if not s.is_finger)) * thick
        removed = open_now * float(joint.depths[one.part])
        total = end.board.volume() + end.lining.volume() + glue + removed
        assert total == pytest.approx(whole, rel=RELATIVE)
        before, _ = glued(joint, one, end.thick)
        assert end.board.volume() == pytest.approx(before.volume(), rel=RELATIVE)


@seed(3)
@made
@given(lined_joints())
def test_the_lining_is_t_at_every_wall_over_its_whole_height(joint):
    """On each wall t, t/2 where both parts are lined; measured near the end, half way, and near the bottom."""
    for one in joint.stages:
        end, depth = end_of(joint, one.part), float(joint.depths[one.part])
        for y in (0.01, depth / 2, depth - 0.01):
            for z in (0.01, float(end.thick) / 2, float(end.thick) - 0.01):
                found = along_x(end.lining, y, z, joint.width)
                thick = [to - start for start, to in found]
                assert thick == pytest.approx([float(joint.per_wall)] * inner_walls(joint), abs=MM)


@seed(4)
@made
@given(lined_joints())
def test_the_lining_is_t_under_every_socket_and_nowhere_else(joint):
    """At the socket's middle and beside its walls; under the fingers' middles there is none."""
    for one in joint.stages:
        end, depth, t = end_of(joint, one.part), float(joint.depths[one.part]), float(joint.lining.thickness)
        for segment in one.final:
            start, to = float(segment.start), float(segment.end)
            middle = [(start + to) / 2]
            for x in middle if segment.is_finger else [start + 0.01, *middle, to - 0.01]:
                found = along_y(end.lining, x, float(end.thick) / 2, float(LENGTH))
                expected = [] if segment.is_finger else [(depth, depth + t)]
                assert found == [pytest.approx(run, abs=MM) for run in expected]


@seed(5)
@made
@given(lined_joints())
def test_one_liner_in_each_socket_flush_with_the_end_and_both_faces(joint):
    for one in joint.stages:
        end = end_of(joint, one.part)
        liners = end.lining.decompose()
        assert len(liners) == sum(1 for s in one.final if not s.is_finger)
        for liner in liners:
            box = liner.bounding_box()
            assert (box[1], box[2], box[5]) == pytest.approx((0, 0, float(end.thick)), abs=MM)


@seed(6)
@made
@given(lined_joints())
def test_the_boards_edges_are_bare(joint):
    """An edge finger keeps 3 mm of its own wood at the edge; an edge socket has lining at its bottom alone."""
    for one in joint.stages:
        end, depth, t = end_of(joint, one.part), float(joint.depths[one.part]), float(joint.lining.thickness)
        middle, width = float(end.thick) / 2, float(joint.width)
        for segment, at in ((one.final[0], 0.01), (one.final[-1], width - 0.01)):
            found = along_y(end.lining, at, middle, float(LENGTH))
            assert found == ([] if segment.is_finger else [pytest.approx((depth, depth + t), abs=MM)])
        own = along_x(end.board, depth / 2, middle, joint.width)
        if one.final[0].is_finger:
            assert own[0][0] == pytest.approx(0, abs=MM)
            assert own[0][1] >= 3 - MM
        if one.final[-1].is_finger:
            assert own[-1][1] == pytest.approx(width, abs=MM)
            assert own[-1][1] - own[-1][0] >= 3 - MM


def assembled(joint: LinedJoint, end: End) -> End:
    """B brought square to A: its end towards A's outer face, proud of it by the sand allowance."""
    if end.part == "A":
        return end
    sand = float(joint.sand)
    turn = [[1, 0, 0, 0], [0, 0, 1, sand], [0, -1, 0, float(joint.thick_a) + sand]]
    lining = None if end.lining is None else end.lining.transform(turn)
    return End("B", end.thick, end.board.transform(turn), lining)


@seed(7)
@made
@given(lined_joints())
def test_the_finished_parts_go_together(joint):
    """A and B don't intersect, and where they cross only the glue gaps are empty: c/2 and, in the lining, c1/2."""
    a, b = (assembled(joint, end_of(joint, part)) for part in "AB")
    crossing = float(joint.width * joint.thick_a * joint.thick_b)
    assert (a.wood ^ b.wood).volume() == pytest.approx(0, abs=RELATIVE * crossing)
    sand = float(joint.sand)
    space = block((0, joint.width), (sand, sand + float(joint.thick_b)), (0, joint.thick_a))
    filled = ((a.wood + b.wood) ^ space).volume()
    gaps = joint.clearance / 2 + joint.lining.glue_clearance / 2 * len(joint.stages)
    empty = float(inner_walls(joint) * gaps * joint.thick_a * joint.thick_b)
    assert crossing - filled == pytest.approx(empty, abs=RELATIVE * crossing)


@seed(8)
@made
@given(lined_joints())
def test_every_line_in_the_finished_joint_is_t_wide(joint):
    """Lining met at each wall on a line through the assembled joint: t in all, from one part or t/2 from each."""
    ends = [assembled(joint, end_of(joint, part)) for part in joint.lining.parts]
    y = float(joint.sand) + float(joint.thick_b) / 2
    met = [along_x(end.lining, y, float(joint.thick_a) / 2, joint.width) for end in ends]
    for at_wall in zip(*met, strict=True):
        assert sum(to - start for start, to in at_wall) == pytest.approx(float(joint.lining.thickness), abs=MM)
        if joint.both:
            left, right = sorted(at_wall)
            assert right[0] - left[1] == pytest.approx(float(joint.clearance) / 2, abs=MM)
    assert all(len(lines) == inner_walls(joint) for lines in met)
