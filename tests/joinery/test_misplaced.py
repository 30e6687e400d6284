"""What a kerf in the wrong place may have taken, by hand: segments of 6 mm, the clearance 0.1 mm, the kerf 3.18 mm."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from assistant.joinery.misplaced import reached, thinned
from tests.session.jobs import job, plan

A, B = sorted(job(plan(30, 6)).patterns, key=lambda each: each.part)
STEP = F(1, 10)


@pytest.mark.parametrize(("off_by", "fingers"), [(F(1, 2), [2]), (F(-1, 2), []), (F(-4), [1]), (F(4), [2])])
def test_a_kerf_thins_the_finger_that_it_lies_in(off_by: F, fingers: list[int]) -> None:
    """Pass 2 should lie at 8.845 to 12.025 mm, up to the second finger."""
    lost = thinned(A, A.passes[1], off_by)
    assert [one.finger for one in lost] == fingers
    assert all(one.lost + one.left == A.fingers[one.finger - 1].width for one in lost)


def test_a_kerf_of_which_it_is_known_where_it_lies_reaches_a_step_farther() -> None:
    assert reached(A, A.passes[1], F(1, 2), STEP) == (F("9.245"), F("12.625"))
    assert reached(A, A.passes[1], F(-1, 2), STEP) == (F("8.245"), F("11.625"))


def test_any_other_reaches_the_walls_of_its_socket_but_not_the_next_ones() -> None:
    """Sockets of part A lie between fingers; part B begins and ends with a socket."""
    for one in (*A.passes, *B.passes):
        low, high = reached(B if one in B.passes else A, one, None, STEP)
        of = B if one in B.passes else A
        socket = of.sockets[one.socket - 1]
        assert low < socket.start or socket.start <= 0
        assert high > socket.end or socket.end >= of.width
        assert [each for each in of.sockets if each.end > low and each.start < high] == [socket]
