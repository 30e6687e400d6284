"""Squareness: the plan's figure, else the last figure noted beside the shop file, else none, and why."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from assistant.advice.squareness import UNREADABLE, Squareness, most_out_of_square, out_of_square, squareness
from assistant.plans.shop_writer import history_path, record
from tests.plans.files import PLAN, SHOP, plan_of, write

NOTED = datetime(2027, 3, 1, 12, tzinfo=UTC)
OWN = PLAN + "[uncertainty]\nout_of_square = 0.2\n"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    return write(tmp_path, SHOP, "shop.toml")


def note(shop: Path, data: dict[str, object], utc: str = "2027-03-01T12:00:00Z") -> None:
    record(shop, "square", utc, "", data)


def test_without_a_figure_and_a_note_it_is_not_known(tmp_path: Path, shop: Path) -> None:
    assert squareness(plan_of(tmp_path), shop) == Squareness(None)


def test_the_last_note_counts_whatever_was_noted_of_other_kinds(tmp_path: Path, shop: Path) -> None:
    note(shop, {"degrees": 0.5}, "2027-02-01T12:00:00Z")
    note(shop, {"degrees": 0.03})
    record(shop, "kerf", "2027-03-02T12:00:00Z", "", {"value": 3.2, "u": 0.01}, key="blade.kerf", value="3.2")
    assert squareness(plan_of(tmp_path), shop) == Squareness(0.03, NOTED)


def test_a_note_without_an_offset_is_utc(tmp_path: Path, shop: Path) -> None:
    note(shop, {"degrees": 0}, "2027-03-01T12:00:00")
    assert squareness(plan_of(tmp_path), shop) == Squareness(0.0, NOTED)


def test_the_plans_own_figure_takes_precedence_over_a_note(tmp_path: Path, shop: Path) -> None:
    note(shop, {"degrees": 0.03})
    assert squareness(plan_of(tmp_path, OWN), shop) == Squareness(0.2)


@pytest.mark.parametrize(
    ("data", "utc"),
    [
        ({}, "2027-03-01T12:00:00Z"),
        ({"degrees": None}, "2027-03-01T12:00:00Z"),
        ({"degrees": "upright"}, "2027-03-01T12:00:00Z"),
        ({"degrees": float("nan")}, "2027-03-01T12:00:00Z"),
        ({"degrees": -0.1}, "2027-03-01T12:00:00Z"),
        ({"degrees": 10.1}, "2027-03-01T12:00:00Z"),
        ({"degrees": 0.03}, "in March"),
    ],
)
def test_an_unreadable_note_gives_no_figure(tmp_path: Path, shop: Path, data: dict[str, object], utc: str) -> None:
    """Nor is an older note used instead: blade and carriage were set since."""
    note(shop, {"degrees": 0.01})
    note(shop, data, utc)
    assert squareness(plan_of(tmp_path), shop) == Squareness(None, trouble=UNREADABLE)


def test_a_damaged_history_is_reported(tmp_path: Path, shop: Path) -> None:
    history_path(shop).write_text('{"version": 99}\n')
    found = squareness(plan_of(tmp_path), shop)
    assert found.degrees is None and "shop.history.jsonl, line 1 is damaged" in found.trouble


def test_out_of_square_by_a_quarter_of_the_clearance_over_the_depth():
    """atan(0.025 / 12) = 0.11937 degrees."""
    most = most_out_of_square(0.1, 12)
    assert most == pytest.approx(0.11937, abs=5e-6)
    assert out_of_square(most, 12) == pytest.approx(0.025)
