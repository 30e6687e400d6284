"""Why a board is turned end over end and never spun: shown by rotating solids, which proves the instructions.

x across the board from the reference edge, y along it, z through it. The board hangs in the carriage
with the end to be cut at y = 0, the reference edge at the stop (x = 0) and the backing at z = 0.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from assistant.joinery.layout import listed, mate
from assistant.joinery.lined import Lining, stages
from assistant.joinery.model import Blade, Segment
from assistant.joinery.passes import cuts
from assistant.joinery.walls import open_walls
from assistant.plans.checks import figures_of
from assistant.session.calling import clamp_prompt
from assistant.session.effects import prompt
from assistant.wording.prompts import Words
from tests.joinery import solids
from tests.session.jobs import at_setup, job

manifold3d = pytest.importorskip("manifold3d", reason="the test extra brings manifold3d")

WIDTH, LENGTH, THICK, DEPTH = 50.0, 100.0, 12.0, 12.3
# No symmetry, so that a mirrored pattern shows.
SEGMENTS = listed(F(50), [F(6), F(14), F(9), F(21)])


def board() -> object:
    """A board whose marked face bears a shallow mark near the reference edge, at z = 0 (to the backing)."""
    wood = manifold3d.Manifold.cube([WIDTH, LENGTH, THICK])
    return wood - manifold3d.Manifold.cube([5, 5, 0.5]).translate([1, 60, 0])


def cut_end(wood):  # type: ignore[no-untyped-def]
    """What the carriage does to the end that hangs down: the same settings, from the stop at x = 0."""
    for cut in cuts(SEGMENTS, F(50), Blade(F(318, 100))):
        width = float(cut.kerf_to - cut.kerf_from)
        wood -= manifold3d.Manifold.cube([width, DEPTH + 1, THICK + 2]).translate([float(cut.kerf_from), -1, -1])
    return wood


def end_over_end(wood):  # type: ignore[no-untyped-def]
    """Half a turn about the axis across the width, put back into the carriage."""
    return wood.rotate([180, 0, 0]).translate([0, LENGTH, THICK])


def spun_on_its_face(wood):  # type: ignore[no-untyped-def]
    """Half a turn about the axis through the faces, put back into the carriage."""
    return wood.rotate([0, 0, 180]).translate([WIDTH, LENGTH, 0])


def sockets_at(wood, y: float) -> list[tuple[float, float]]:  # type: ignore[no-untyped-def]
    """(from, to) along x of the openings at this height, measured on the solid at mid-thickness."""
    slab = manifold3d.Manifold.cube([WIDTH, 0.01, 0.01]).translate([0, y, THICK / 2])
    parts = sorted(part.bounding_box() for part in (slab - wood).decompose())
    return [(round(box[0], 6), round(box[3], 6)) for box in parts]


WANTED = [(float(s.start), float(s.end)) for s in SEGMENTS if not s.is_finger]


def test_end_over_end_keeps_the_pattern_from_the_reference_edge_at_both_ends() -> None:
    both = cut_end(end_over_end(cut_end(board())))
    assert sockets_at(both, 5) == WANTED
    assert sockets_at(both, LENGTH - 5) == WANTED


def test_it_keeps_the_edge_to_the_stop_and_brings_the_other_face_to_the_backing() -> None:
    """The mark near the reference edge stays near it, and has gone from the backing (z = 0) to the open side."""
    before, after = board(), end_over_end(board())
    for wood, marked_z in ((before, 0.25), (after, THICK - 0.25)):
        probe = manifold3d.Manifold.cube([10, LENGTH, 0.1]).translate([0, 0, marked_z])
        assert (probe - wood).volume() > 0, "the mark is on this face, within 10 mm of the reference edge"
        other = manifold3d.Manifold.cube([WIDTH, LENGTH, 0.1]).translate([0, 0, THICK - marked_z - 0.1])
        assert (other - wood).volume() == pytest.approx(0, abs=1e-9)


def test_spinning_on_its_face_mirrors_the_second_end() -> None:
    both = cut_end(spun_on_its_face(cut_end(board())))
    mirrored = sorted((WIDTH - end, WIDTH - start) for start, end in WANTED)
    assert sockets_at(both, 5) == WANTED, "the end cut last is right as it hangs"
    assert sockets_at(both, LENGTH - 5) == [(round(a, 6), round(b, 6)) for a, b in mirrored] != WANTED


def test_the_words_for_the_second_end_agree_with_geometry() -> None:
    """With the board and the question about its edge and face; and where no check asks, with the board alone."""
    a_job = job()
    (asks,) = (check for check in a_job.checks if check.name == "edge and face")
    figures = figures_of(a_job, a_job.patterns[0])
    first, second = (
        Words(a_job).say((
            clamp_prompt(at_setup(a_job, number), whole=True),
            prompt("check", name=asks.name, say=asks.say, whole=True, end=a_job.setups[number - 1].end, **figures),
        ))
        for number in (1, 2)
    )  # fmt: skip
    assert "Reference edge against the left stop, marked face against the backing?" in first and "Turn" not in first
    assert "Turn it end over end. Never spin it on its face." in second
    assert "Reference edge against the left stop, other face against the backing?" in second
    unasked = replace(a_job, checks=tuple(check for check in a_job.checks if check != asks))
    first, second = (Words(unasked).one(clamp_prompt(at_setup(unasked, number), whole=True)) for number in (1, 2))
    assert "marked face to the backing" in first
    assert "Turn it end over end: same edge to the left stop, other face to the backing." in second
    assert "Never spin it on its face" in second


def test_a_symmetric_pattern_would_hide_the_mistake() -> None:
    """The reason for testing this with a pattern that has no symmetry."""
    even: list[Segment] = [Segment(F(10 * n), F(10 * n + 10), n % 2 == 0) for n in range(5)]
    assert [(s.start, s.end) for s in even] == [(50 - s.end, 50 - s.start) for s in reversed(even)]


def opened_board_and_blank():  # type: ignore[no-untyped-def]
    """Stage 1 of a lined part whose pattern has no symmetry; the blank's own reference edge was at the stop."""
    blade, thick = Blade(F(318, 100)), F(12)
    final = {"A": open_walls(LINED, F(1, 10)), "B": open_walls(mate(LINED), F(1, 10))}
    (one,) = stages(final, {"A": F(12), "B": F(12)}, Lining(F(2)), blade.kerf)
    wood = solids.block((0, 70), (0, 100), (0, thick)) - solids.swept(one.opened, F(70), one.opened_depth, thick, blade)
    blank = solids.block((0, 70), (0, 200), (0, thick)) - solids.swept(one.blank, F(70), one.blank_depth, thick, blade)
    return wood, blank, [0, float(one.opened_depth), 0]


LINED = listed(F(70), [F(12), F(9), F(16), F(18), F(15)])


def test_a_blank_in_line_meets_the_openings_reference_edge_to_reference_edge() -> None:
    """Turned end over end, so that its end faces the board's, with edges and faces level."""
    wood, blank, seat = opened_board_and_blank()
    placed = solids.end_over_end(blank, F(12)).translate(seat)
    assert (wood ^ placed).volume() == pytest.approx(0, abs=1e-6)
    of_both = (wood + placed).bounding_box()
    assert (of_both[0], of_both[2], of_both[3], of_both[5]) == pytest.approx((0, 0, 70, 12))


def test_a_blank_with_its_reference_edge_at_the_far_edge_does_not_go_in() -> None:
    wood, blank, seat = opened_board_and_blank()
    assert (wood ^ solids.spun(blank, F(70)).translate(seat)).volume() > 100


def four_boards(*, wrongly: bool):  # type: ignore[no-untyped-def]
    """A box of 200 by 150 of boards 12 and 9 thick; wrongly: each long board was spun between its ends."""
    blade, sand, width = Blade(F(318, 100)), F(3, 10), F(50)
    a, b = (open_walls(segments, F(1, 10)) for segments in (SEGMENTS, mate(SEGMENTS)))
    long = solids.jointed(a, (width, F(200) + 2 * sand, F(12)), F(9) + sand, blade, wrongly=wrongly)
    short = solids.jointed(b, (width, F(150) + 2 * sand, F(9)), F(12) + sand, blade)
    return solids.box_of(long, short, (F(12), F(9)), (F(200), F(150)), sand)


def collisions(boards) -> list[float]:  # type: ignore[no-untyped-def]
    return [(boards[i] ^ boards[j]).volume() for i in (0, 1) for j in (2, 3)]


def test_a_box_of_boards_turned_end_over_end_closes_at_every_corner() -> None:
    boards = four_boards(wrongly=False)
    assert collisions(boards) == pytest.approx([0] * 4, abs=1e-6)
    assert all(board.bounding_box()[0] == pytest.approx(0) for board in boards), "reference edges on the bench"


def test_a_box_of_boards_spun_on_their_faces_does_not_close() -> None:
    """Each long board fits at one end and collides at the other."""
    found = collisions(four_boards(wrongly=True))
    assert sum(volume > 100 for volume in found) == 2
    assert sum(volume < 1e-6 for volume in found) == 2
