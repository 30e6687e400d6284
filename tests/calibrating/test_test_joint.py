"""When a test joint is worth cutting, and what is taken for a report of one."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

from assistant.calibrating.joints import JointOrigin, JointReport, entry_of
from assistant.calibrating.learned import GAP, LOOSE, TIGHT
from assistant.calibrating.test_joint import parse_report, untested
from assistant.errors import CouldNotRun
from assistant.plans.shop_writer import history_path
from tests.plans.files import PLAN, plan_of, shop_of

OF_THE_PLAN = JointReport(TIGHT, F(0), F("0.1"), None, F("3.18"), "any wood", "Trays", "", "")


def test_it_is_worth_cutting_until_one_like_it_came_out_right(tmp_path: Path) -> None:
    plan, shop = plan_of(tmp_path), shop_of(tmp_path)
    found = untested(plan, shop)
    assert found is not None and found.joint is None
    entry_of(Path(shop.path), replace(OF_THE_PLAN, amount=F("0.05")), "", F("0.1"), noting=True)
    found = untested(plan, shop)
    assert found is not None and found.joint is not None and found.joint.n == 1
    entry_of(Path(shop.path), OF_THE_PLAN, "", F("0.1"), noting=True)
    assert untested(plan, shop) is None


def test_a_plan_without_a_part_b_has_none_to_test(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, PLAN.partition('[[boards]]\nname = "short')[0])
    shop = shop_of(tmp_path)
    assert untested(plan, shop) is None
    history_path(Path(shop.path)).mkdir()
    assert untested(plan, shop) is None, "and its history isn't looked at"
    with pytest.raises(CouldNotRun):
        untested(plan_of(tmp_path), shop)


@pytest.mark.parametrize(
    ("typed", "report"),
    [
        ("right", (TIGHT, "0 mm")),
        (" Tight  0.05 ", (TIGHT, "0.05 mm")),
        ("loose 1/64 in", (LOOSE, "1/64 in")),
        ("gap -0.02", (GAP, "-0.02 mm")),
        ("tight ½", (TIGHT, "½ mm")),
        ("tight", None),
        ("right 0.05", None),
        ("later", None),
        ("", None),
    ],
)
def test_what_is_typed_of_how_it_fits(typed: str, report: tuple[str, str] | None) -> None:
    assert parse_report(typed, "mm") == report


@pytest.mark.parametrize(
    ("unit", "given", "of_its_session"),
    [("mm", "3.185", False), ("mm", "3.186", True), ("in", "3.1927", False), ("in", "3.1928", True)],
)
def test_a_kerf_counts_as_another_where_a_session_could_have_been_given_a_nearer_one(
    unit: str, given: str, of_its_session: bool
) -> None:
    """A hundredth of a millimetre and a thousandth of an inch, which is 0.0254 mm: half of it is the limit."""
    joint = JointOrigin(unit, F("0.1"), F(given), "Trays", "", None, "", began_with=F("3.18"))
    assert joint.kerf_of_its_session == (F(given) if of_its_session else None)
    assert replace(joint, began_with=None).kerf_of_its_session is None
