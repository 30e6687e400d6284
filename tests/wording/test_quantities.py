"""Where a line may end: never in a number, nor before its unit."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.wording.quantities import bound, pieces, whole_until


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("Clear, 5 to 84 mm off the edge?", ["5 to 84 mm"]),
        ("CLEAR OF IT 3/16 TO 1 5/16 IN?", ["3/16 TO 1 5/16 IN?"]),
        ("height set to 3 3/16 in?", ["3 3/16 in?"]),
        ("set -12.35 mm   pass 3 of 14", ["-12.35 mm", "pass 3 of 14"]),
        ("up 1 turn + 22 marks to 9 turns + 21", ["1 turn + 22 marks", "9 turns + 21"]),
        ("25 marks below zero, mark 75", ["25 marks", "mark 75"]),
        ("up one turn and twenty-two marks, to mark two one.", ["one turn", "twenty-two marks,", "mark two one."]),
        ("Minus zero point five zero; then", ["Minus zero point five zero;"]),
        ("one and three eighths inches, plus four thousandths", ["one and three eighths inches,", "four thousandths"]),
        ("three quarters of an inch wide", ["three quarters of an inch"]),
        ("one hundred and five millimetres off", ["one hundred and five millimetres"]),
        ("about 1 h 05 min", ["1 h", "05 min"]),
    ],
)
def test_a_quantity_is_one_piece(text: str, kept: list[str]) -> None:
    assert [piece for piece in pieces(text) if " " in piece] == kept


@given(st.text(st.sampled_from("12/ .aminturs+-,"), max_size=60))
def test_nothing_is_lost_or_added(text: str) -> None:
    assert " ".join(pieces(text)) == " ".join(text.split())
    assert bound(text).replace("\u00a0", " ") == text


def test_what_is_cut_off_is_cut_before_a_quantity() -> None:
    text = "set to 3 3/16 in now"
    ends = [text[: whole_until(text, end)] for end in range(len(text))]
    assert set(ends[8:16]) == {"set to "} and ends[16] == "set to 3 3/16 in"
