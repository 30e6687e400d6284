"""Bytes of a terminal -> keys; an escape sequence never leaks a letter."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.screens.key_codes import BURST, KeyDecoder

# Control sequences of xterm (xterm's ctlseqs) and the Linux console (console_codes(4)).
SEQUENCES = {
    b"\x1b[5~": "page_up",
    b"\x1b[6~": "page_down",
    b"\x1b[1~": "home",
    b"\x1b[H": "home",
    b"\x1bOH": "home",
    b"\x1b[4~": "end",
    b"\x1b[F": "end",
    b"\x1b[2~": "insert",
    b"\x1b[A": "up",
    b"\x1bOB": "down",
    b"\x1bOP": "f1",
    b"\x1b[15~": "f5",
    b"\x1b[17~": "f6",
    b"\x1b[21~": "f10",
    b"\x1b[23~": "f11",
    b"\x1b[24~": "f12",
    b"\x1b[25~": "f13",
    b"\x1b[34~": "f20",
    b"\x1b[1;2P": "f13",
    b"\x1b[24;2~": "f24",
    b"\x1b[57387u": "f24",
    b"\x1b[[A": "f1",
    b"\x1b[[E": "f5",
}
NOTHING = [
    b"\x1b[6;5~",  # control and page down
    b"\x1b[1;3A",
    b"\x1bd",  # alt and d
    b"\x1bh",
    b"\x1b[Z",
    b"\x1b[?62;22c",  # the terminal reports what it is
    b"\x1b[12;40R",  # or where its cursor stands
    b"\x1b]11;rgb:0000/0000/0000\x1b\\",
    b"\x1b]0;yes\x07",
    b"\x1bP1$r0m\x1b\\",
    b"\x1b[Mdhy",  # a mouse report
    b"\x1b[<0;10;10M",
    b"\x1b[27;5;104~",
    b"\x9b6;5~",
    b"\x1b[I",
    b"\x00\x01\x02",
    b"\xff\xfe",
    b"\x1b[200~yes\ry h h q\x1b[201~",
]


@pytest.mark.parametrize("sequence", SEQUENCES)
def test_sequences_of_keys_get_the_keys_name(sequence: bytes) -> None:
    assert KeyDecoder().feed(sequence) == [SEQUENCES[sequence]]


@pytest.mark.parametrize("sequence", NOTHING)
def test_sequences_of_nothing_give_nothing_and_leave_nothing_behind(sequence: bytes) -> None:
    decoder = KeyDecoder()
    assert decoder.feed(sequence) == []
    assert not decoder.pending
    assert decoder.feed(b"h") == ["h"]


@pytest.mark.parametrize("sequence", [*SEQUENCES, *NOTHING])
def test_a_sequence_that_comes_byte_by_byte_is_the_same(sequence: bytes) -> None:
    decoder = KeyDecoder()
    keys = [key for byte in sequence for key in decoder.feed(bytes([byte]))]
    assert keys == [SEQUENCES[sequence]] if sequence in SEQUENCES else keys == []


def test_letters_controls_and_other_alphabets() -> None:
    assert KeyDecoder().feed(b"h \r\n\x7f\x03") == ["h", "space", "enter", "enter", "backspace", "ctrl_c"]
    assert KeyDecoder().feed("ж?".encode()) == ["ж", "?"]


def test_a_lone_escape_is_the_escape_key_once_nothing_follows() -> None:
    decoder = KeyDecoder()
    assert decoder.feed(b"\x1b") == [] and decoder.pending
    assert decoder.expire() == ["esc"]
    assert not decoder.pending and decoder.feed(b"h") == ["h"]


def test_a_broken_off_sequence_is_dropped() -> None:
    decoder = KeyDecoder()
    assert decoder.feed(b"\x1b[1;") == [] and decoder.pending
    assert decoder.expire() == []
    assert decoder.feed(b"y") == ["y"]


def test_a_paste_that_lost_its_end_is_over_when_nothing_more_comes() -> None:
    decoder = KeyDecoder()
    assert decoder.feed(b"\x1b[200~hhh") == [] and decoder.pending
    assert decoder.expire() == []
    assert decoder.feed(b"y") == ["y"]


def test_a_burst_is_a_paste_in_a_terminal_that_does_not_mark_pastes() -> None:
    assert KeyDecoder().feed(b"y" * BURST) == ["y"] * BURST
    assert KeyDecoder().feed(b"y" * (BURST + 1)) == []
    assert KeyDecoder().feed(b"all clamps are secure\x03") == ["ctrl_c"]


@settings(max_examples=300, deadline=None)
@given(st.lists(st.sampled_from([*SEQUENCES, *NOTHING]), max_size=8), st.lists(st.integers(1, 9), max_size=40))
def test_no_mixture_of_sequences_however_cut_leaks_a_letter(sequences: list[bytes], cuts: list[int]) -> None:
    decoder, data, keys = KeyDecoder(), b"".join(sequences), []
    for cut in cuts:
        keys += decoder.feed(data[:cut])
        data = data[cut:]
    keys += decoder.feed(data)
    assert keys == [SEQUENCES[one] for one in sequences if one in SEQUENCES]


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_are_read_to_the_end(data: bytes) -> None:
    decoder = KeyDecoder()
    decoder.feed(data)
    decoder.expire()
    assert decoder.feed(b"h") == ["h"]
