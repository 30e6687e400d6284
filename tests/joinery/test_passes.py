"""How many passes clear a socket, and where each one lies."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from assistant.errors import BadInput
from assistant.joinery.layout import even, listed
from assistant.joinery.model import Blade, Segment
from assistant.joinery.passes import cuts, outside, passes_for

KERF = F(3)


def one_socket(at: F, width: F, board: F) -> tuple[Segment, ...]:
    return (Segment(F(0), at, True), Segment(at, at + width, False), Segment(at + width, board, True))


def spans(found):
    return [(c.kerf_from, c.kerf_to) for c in found]


@pytest.mark.parametrize(
    ("width", "passes"),
    [
        (F(3), 1),
        (F(3) + F(1, 10**9), 2),
        (F(58, 10), 2),  # kerf + (kerf - overlap): the widest that two passes clear
        (F(58, 10) + F(1, 10**9), 3),
        (F(86, 10), 3),
        (F(86, 10) + F(1, 10**9), 4),
    ],
)
def test_the_count_of_passes_at_and_above_each_limit(width, passes):
    found = cuts(one_socket(F(10), width, F(50)), F(50), Blade(KERF))
    assert len(found) == passes
    assert passes_for(Segment(F(10), 10 + width, False), F(50), Blade(KERF)) == passes
    assert found[0].kerf_from == 10
    assert found[-1].kerf_to == 10 + width


def test_no_pass_clears_a_socket_narrower_than_the_kerf_but_one_overhangs_an_edge():
    assert passes_for(Segment(F(10), F(129, 10), False), F(50), Blade(KERF)) == 0
    assert passes_for(Segment(F(0), F(29, 10), False), F(50), Blade(KERF)) == 1


def test_passes_are_evenly_spread_wall_to_wall():
    found = cuts(one_socket(F(10), F(8), F(50)), F(50), Blade(KERF))
    assert spans(found) == [(10, 13), (F(25, 2), F(31, 2)), (15, 18)]


def test_a_socket_just_under_the_kerf_is_refused_with_what_would_fit():
    with pytest.raises(BadInput) as caught:
        cuts(one_socket(F(10), F(29, 10), F(50)), F(50), Blade(KERF), where="joint.finger")
    [fault] = caught.value.faults
    assert str(fault) == (
        "joint.finger: socket 1 would be narrower than the kerf of 3 mm (got 2.9 mm wide with its clearance); "
        "a blade with a kerf of 2.9 mm or less would fit, or widen the socket by 0.1 mm or more"
    )


def test_all_narrow_sockets_are_named_at_once():
    sizes = [F(n) for n in (5, 2, 5, 1, 5, 2, 5)]
    with pytest.raises(BadInput) as caught:
        cuts(listed(sum(sizes), sizes), sum(sizes), Blade(KERF, overlap=KERF), where="joint.widths")
    assert [fault.where for fault in caught.value.faults] == ["blade.overlap", "joint.widths", "joint.widths"]
    assert "sockets 1, 3 would be" in caught.value.faults[1].what
    assert "socket 2 would be" in caught.value.faults[2].what


@pytest.mark.parametrize(("overlap", "fits"), [(F(299, 100), True), (F(3), False), (F(301, 100), False)])
def test_an_overlap_of_the_kerf_or_more_is_refused(overlap, fits):
    segments = one_socket(F(10), F(4), F(50))
    if fits:
        assert len(cuts(segments, F(50), Blade(KERF, overlap))) == 101
    else:
        with pytest.raises(BadInput, match=r"blade\.overlap: passes must overlap by less than the kerf of 3 mm"):
            cuts(segments, F(50), Blade(KERF, overlap))


@pytest.mark.parametrize(
    ("edge", "overrun", "expected"),
    [
        (F(2), F(0), [(-1, 2)]),
        (F(3), F(0), [(0, 3)]),
        (F(2), F(1), [(-1, 2)]),
        (F(2), F(1, 2), [(-1, 2)]),
        (F(5), F(0), [(0, 3), (2, 5)]),
        (F(5), F(1, 2), [(F(-1, 2), F(5, 2)), (2, 5)]),
        (F(2), F(2), [(-2, 1), (-1, 2)]),
    ],
)
def test_a_socket_at_an_edge_keeps_its_inner_wall_and_overhangs(edge, overrun, expected):
    """Both edges alike, mirrored."""
    blade, board = Blade(KERF, overrun=overrun), F(40)
    near = cuts((Segment(F(0), edge, False), Segment(edge, board, True)), board, blade)
    assert spans(near) == expected
    far = cuts((Segment(F(0), board - edge, True), Segment(board - edge, board, False)), board, blade)
    assert spans(far) == [(board - right, board - left) for left, right in reversed(expected)]


def test_an_edge_socket_thinner_than_the_kerf_is_no_fault():
    assert len(cuts(even(F(31), F(10), "socket"), F(31), Blade(F(635, 100)))) == 2 + 2
    assert spans(cuts(even(F(31), F(10)), F(31), Blade(F(635, 100))))[-1] == (30, F(3635, 100))


def test_a_pass_says_how_far_it_cuts_outside_the_board():
    found = cuts(even(F(31), F(10)), F(31), Blade(F(635, 100)))
    assert [outside(c, F(31)) for c in found] == [0, 0, F(535, 100)]
    near = cuts(even(F(32), F(2), "socket"), F(32), Blade(F(2), overrun=F(3)))
    assert outside(near[0], F(32)) == 3
    assert outside(near[2], F(32)) == 0


def fine(kerf_less_overlap: F) -> tuple[tuple[Segment, ...], F, Blade]:
    """A socket of 5 mm in a board of 25 mm, and a blade that overlaps by all but this much."""
    return one_socket(F(10), F(5), F(25)), F(25), Blade(KERF, KERF - kerf_less_overlap)


@pytest.mark.parametrize(("passes", "taken"), [(19_999, True), (20_000, True), (20_001, False)])
def test_twenty_thousand_passes_are_the_limit(passes, taken):
    segments, width, blade = fine(F(2, passes - 1))
    if taken:
        assert len(cuts(segments, width, blade)) == passes
    else:
        with pytest.raises(BadInput, match=r"at most 20,000 passes \(got 20,001\)"):
            cuts(segments, width, blade)


def test_passes_are_counted_before_they_are_made():
    segments, width, blade = fine(F(1, 10**12))
    with pytest.raises(BadInput, match="at most 20,000 passes"):
        cuts(segments, width, blade)
