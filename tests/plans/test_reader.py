"""Reading tables: a wrong value is a fault with key, value and fix, and reading goes on."""

from __future__ import annotations

from fractions import Fraction

import pytest

from assistant.plans.document import Document
from assistant.plans.reader import Table, nearest


def _table(data: dict[str, object]) -> Table:
    return Table(Document("shop.toml"), "blade", data)


def test_unknown_keys_and_tables_are_refused_with_the_nearest_known_name() -> None:
    table = _table({"kurf": 3, "tooth": "flat", "Kerf": 2, "zzz": {}})
    table.length("kerf", "mm")
    table.choice("tooth", ("flat", "alternate"))
    table.close()
    assert [str(fault) for fault in table.document.faults] == [
        "shop.toml: blade.kurf: is not a key that Kerfcall knows; did you mean kerf?",
        "shop.toml: blade.Kerf: is not a key that Kerfcall knows; did you mean kerf?",
        "shop.toml: blade.zzz: is not a table that Kerfcall knows; use one of: kerf, tooth",
    ]


def test_nearest_gives_nothing_for_a_name_like_no_other() -> None:
    assert nearest("qqqq", ["kerf"]) is None
    assert nearest(3, ["kerf"]) is None


def test_a_faulty_value_gives_the_default_and_reading_goes_on() -> None:
    table = _table({"kerf": True, "overlap": "1/8 in"})
    assert table.length("kerf", "mm", Fraction(7)) == 7
    assert table.length("overlap", "mm") == Fraction("3.175")
    assert len(table.document.faults) == 1


@pytest.mark.parametrize(("value", "fine"), [(0, False), (1, True), (5, True), (6, False)])
def test_length_bounds_are_exclusive_below_and_inclusive_above(value: int, fine: bool) -> None:
    table = _table({"kerf": value})
    table.length("kerf", "mm", above=Fraction(0), most=Fraction(5))
    assert (not table.document.faults) == fine


def test_a_length_fault_names_value_unit_bound_and_key_in_the_files_unit() -> None:
    table = _table({"kerf": 2})
    table.length("kerf", "in", most=Fraction("25.4"))
    assert str(table.document.faults[0]) == (
        "shop.toml: blade.kerf: must be 1 in or less (got 2 in); give a smaller length"
    )
