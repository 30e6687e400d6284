"""What is said of the two halves of a board that is wider than the travel."""

from __future__ import annotations

import pytest

from assistant.joinery.halves import Half
from assistant.session.slip import Meets
from assistant.wording.halves import CLAMPED, HALVES, edge_at_stop, marked_to_backing, piece_asked, which_half
from tests.session.jobs import job


def test_every_half_has_its_words_and_a_whole_end_has_none() -> None:
    assert HALVES.keys() == CLAMPED.keys() == set(Half) - {Half.NONE}
    for half, name in HALVES.items():
        assert CLAMPED[half].startswith(name) and name == ("second half" if half.is_second else "first half")
    assert which_half(job().setups[0]) == ""


def test_with_the_other_edge_at_the_stop_and_the_same_end_down_the_faces_change_places() -> None:
    turned = {(end, half): marked_to_backing(end, half) for end in (1, 2) for half in Half}
    assert [place for place, marked in turned.items() if marked] == [
        *((1, half) for half in Half if half != Half.OTHER_EDGE),
        (2, Half.OTHER_EDGE),
    ]
    assert [half for half in Half if edge_at_stop(half) != "reference edge"] == [Half.OTHER_EDGE]


def test_the_piece_is_asked_for_with_its_length_and_its_absence_without() -> None:
    within = piece_asked(Half.PIECE_IN, "150.02 mm")
    assert within["short_piece"] == "piece of 150.02 mm at the stop, its ends clean, zero set with it in"
    without = piece_asked(Half.PIECE_OUT, "150.02 mm")
    assert without["short_piece"] == "piece out, edge to the stop itself"
    assert all("150.02" in text for text in within.values()) and not any("150.02" in t for t in without.values())


@pytest.mark.parametrize("where", [where for where in Meets if where])
def test_whatever_is_tried_is_tried_with_the_saw_unplugged_and_at_its_setting(where: Meets) -> None:
    asked = piece_asked(Half.PIECE_OUT, "150.02 mm", "134.98", where)
    assert "saw off and unplugged, the carriage brought up to 134.98, the still blade just " in asked["piece"]
    assert "plug out, carriage up to 134.98, still blade just " in asked["short_piece"]
