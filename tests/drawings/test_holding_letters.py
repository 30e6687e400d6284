"""The figure in letters, at every size that a terminal gives it."""

from __future__ import annotations

import re
from functools import cache

import pytest

from assistant.drawings.holding import Holding, holding_of
from assistant.drawings.holding_letters import LEAST_COLUMNS, LEAST_ROWS, ROOM_FOR_TURN, TURN_COLUMNS, in_letters
from assistant.joinery.model import Carriage
from tests.drawings.demos import HEIGHT, NAMES, REACH, demo, other_side
from tests.drawings.drawn import job_of, plan_of

# Code page 437's signs beside letters and figures, by its first half's pictures and its second half.
SIGNS = set("◄►▲▼░▒▓█▄▀│┤╡╢╖╕╣║╗╝╜╛┐└┴┬├─┼╞╟╚╔╩╦╠═╬╧╨╤╥╙╘╒╓╫╪┘┌")
SIZES = [(columns, rows) for columns in (24, 25, 29, 35, 36, 40, 60) for rows in (6, 7, 8, 9, 10, 12, 14, 20)]


@cache
def every() -> list[Holding]:
    """One of each kind among the demo plans' setups."""
    found = {}
    for plan, shop in NAMES:
        _, job = demo(plan, shop)
        for setup in job.setups:
            holding = holding_of(job, setup)
            found[(holding.stop_side, holding.bar, holding.face, holding.copies, holding.reach)] = holding
    return list(found.values())


@pytest.mark.parametrize(("columns", "rows"), SIZES)
def test_it_fills_its_place_and_no_figure_is_cut_short(columns: int, rows: int) -> None:
    for holding in every():
        lines = in_letters(holding, columns, rows)
        assert [len(line) for line in lines] == [columns] * rows
        text = "\n".join(lines)
        assert {letter for letter in text if not letter.isascii()} <= SIGNS
        # Every figure is one of the setup's own, whole; and what matters most is at every size.
        left = text.replace(holding.reach, "").replace(f"up to {holding.height}", "")
        left = re.sub(r"END [12]|(\d+) BOARDS|[█┌][12][┐█]|[█└][12][┘█]", "", left)
        assert not re.search(r"\d|\bmm\b|\bin\b", left), text
        for words in ("NO CLAMP", "EDGE", "STOP", "BACKING", f"END {holding.end}" if holding.end else "SLOTS"):
            assert words in text
        assert "/" in re.sub(r"\d+/\d+", "", text), "hatching is left"
        if holding.face:
            assert f"{holding.face.upper()} FACE" in text
        if holding.turned:
            assert re.search("TURN END OVER END|TURN END .*\nOVER END ", text)
        assert re.search(REACH, text) or re.search(HEIGHT, text) or rows <= 7


def test_in_ascii_it_is_ascii_and_says_the_same() -> None:
    for holding in every():
        for columns, rows in SIZES:
            lines = in_letters(holding, columns, rows, ascii_only=True)
            assert all(line.isascii() and len(line) == columns for line in lines)
            words = [re.findall(r"[A-Z]{2,}|\d+", line) for line in in_letters(holding, columns, rows)]
            assert [re.findall(r"[A-Z]{2,}|\d+", line) for line in lines] == words


def test_where_there_is_no_room_there_is_nothing() -> None:
    """A figure with a part missing is worse than none."""
    assert in_letters(every()[0], LEAST_COLUMNS - 1, 10) == [" " * (LEAST_COLUMNS - 1)] * 10
    assert in_letters(every()[0], 40, LEAST_ROWS - 1) == [" " * 40] * (LEAST_ROWS - 1)


def columns_of(line: str, start: int = 0) -> dict[str, tuple[int, int]]:
    """Where each word and the thick edge are."""
    return {match[0]: match.span() for match in re.finditer(r"\w+(?:[ /]\w+)*|█+", line) if match.start() >= start}


@pytest.mark.parametrize(("columns", "rows"), [(24, 6), (24, 9), (40, 9), (40, 14)])
def test_a_mirrored_setup_is_mirrored_word_by_word(columns: int, rows: int) -> None:
    """Words keep their letters' order and change sides; a word in the middle may sit half a column off."""
    for plan, shop in NAMES:
        _, job = demo(plan, shop)
        mirrored = other_side(job)
        for one, other in zip(job.setups, mirrored.setups, strict=True):
            holding = holding_of(job, one)
            left = TURN_COLUMNS if holding.turned and columns >= ROOM_FOR_TURN else 0
            both = [in_letters(each, columns, rows) for each in (holding, holding_of(mirrored, other))]
            for here, there in zip(*both, strict=True):
                places = columns_of(here, left), columns_of(there, left)
                assert places[0].keys() == places[1].keys()
                for word, (_, end) in places[0].items():
                    exact = any(each in word for each in ("EDGE", "STOP", "█")) or word.startswith("END")
                    moved = abs(places[1][word][0] - (left + columns - end))
                    assert moved <= (0 if exact else 1), (here, there)


def test_by_hand() -> None:
    job = job_of(plan_of(), Carriage(stop_side="right"))
    second = next(setup for setup in job.setups if setup.end == 2)
    assert in_letters(holding_of(job, second), 40, 9) == [
        "TURN END   │▀▀▀▀ MARKED FACE ▀▀▀▀█│    │",
        "OVER END   │                     █│STOP│",
        "           │     OTHER FACE      █│    │",
        "┌2█   ┌1█  ▒▒▒▒▒▒▒ BACKING ▒▒▒▒▒▒▒      ",
        "│ █ ► │ █  │▼END 2          EDGE►█│    │",
        "└1█   └2█  │///// NO CLAMP ///// █│STOP│",
        "           │//// 5 to 84 mm //// █│    │",
        "NEVER SPIN │//// up to 26 mm /// █│    │",
        "           ═════════════ BLADE ▲════════",
    ]
