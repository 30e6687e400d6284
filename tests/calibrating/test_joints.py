"""Which joints of the history tell how a plan's joint will fit: blade, wood and clearance must be the same."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

from assistant.calibrating.history import new_blade
from assistant.calibrating.joints import (
    JointOrigin,
    JointReport,
    entry_of,
    joint_like,
    kerf_changed,
    last_joint_cut,
    reported,
    was_right,
)
from assistant.calibrating.learned import GAP, LOOSE, TIGHT
from assistant.joinery.units import Unit
from assistant.plans.model import Plan, Shop
from assistant.plans.shop_writer import history_path, record, undo
from assistant.session import facts as f
from assistant.session.apply import apply
from tests.journal.made import journal_with
from tests.plans.files import PLAN, SHOP, plan_of, shop_of
from tests.session.test_other_kerf import change_kerf, four_ends

UTC = "2026-11-25T10:00:00Z"
CHERRY = PLAN.replace("thickness = 12", 'thickness = 12\nspecies = "Black cherry"')


class Bench:
    """A shop, its history, and a plan of cherry with a clearance of 0.1."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.shop: Shop = shop_of(folder, SHOP)
        self.plan: Plan = plan_of(folder, CHERRY)

    def report(self, what: str = TIGHT, amount: str = "0", *, blade: str = "", **changes: object) -> None:
        joint = JointReport(what, F(amount), F("0.1"), None, F("3.18"), "black cherry", "Trays", "", "")
        entry_of(Path(self.shop.path), replace(joint, **changes), blade, F("0.1"), noting=True)

    @property
    def found(self) -> int:
        """The number of the joint like the plan's, 0 for none."""
        joint = joint_like(self.shop, self.plan)
        return 0 if joint is None else joint.n


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_the_latest_joint_of_blade_wood_and_clearance_counts(bench: Bench) -> None:
    assert bench.found == 0
    bench.report()
    assert bench.found == 1
    bench.report(LOOSE, "0.05")
    assert bench.found == 2
    undo(Path(bench.shop.path), "joint", UTC)
    assert bench.found == 1


@pytest.mark.parametrize(
    "other",
    [
        {"written": F("0.15")},
        {"written": None},
        {"species": "white ash"},
        {"species": "any wood"},
        {"kerf": F("3.21")},
        {"blade": "thin one"},
    ],
    ids=str,
)
def test_a_joint_of_another_kind_does_not(bench: Bench, other: dict[str, object]) -> None:
    bench.report(**other)  # type: ignore[arg-type]
    assert bench.found == 0


def test_on_another_blade_the_joints_begin_from_scratch(bench: Bench) -> None:
    bench.report()
    new_blade(Path(bench.shop.path), "thin one", UTC)
    assert bench.found == 0
    bench.report(blade="thin one")
    assert bench.found == 3


def test_a_plan_without_a_wood_has_joints_of_any_wood(bench: Bench) -> None:
    bench.plan = plan_of(bench.folder, PLAN)
    bench.report()
    assert bench.found == 0
    bench.report(species="any wood")
    assert bench.found == 2


@pytest.mark.parametrize(("u", "apart", "same"), [(0.004, "0.008", True), (0.004, "0.009", False), (0, "0", True)])
def test_a_kerf_measured_is_the_same_within_its_expanded_uncertainty(
    bench: Bench, u: float, apart: str, same: bool
) -> None:
    record(Path(bench.shop.path), "kerf", UTC, "", {"value": 3.18, "u": u}, key="blade.kerf", value="3.18")
    bench.report(kerf=F("3.18") - F(apart))
    assert bool(bench.found) is same


@pytest.mark.parametrize(("apart", "same"), [("0.02", True), ("0.021", False)])
def test_an_unmeasured_one_within_twice_the_hundredth_that_is_assumed(bench: Bench, apart: str, same: bool) -> None:
    bench.report(kerf=F("3.18") + F(apart))
    assert bool(bench.found) is same


@pytest.mark.parametrize(
    ("what", "amount", "right"),
    [
        (TIGHT, "0", True),
        (TIGHT, "0.02", True),
        (TIGHT, "0.03", False),
        (LOOSE, "0.02", True),
        (LOOSE, "0.05", False),
        (GAP, "0.1", True),
        (GAP, "0.12", True),
        (GAP, "0.07", False),
        (GAP, "-0.02", False),
    ],
)
def test_a_joint_was_right_if_it_is_off_by_no_more_than_a_hand_feels(
    bench: Bench, what: str, amount: str, right: bool
) -> None:
    bench.report(what, amount)
    joint = joint_like(bench.shop, bench.plan)
    assert joint is not None and reported(joint) == (what, F(amount))
    assert was_right(joint) is right


# The kerfs with which a joint was cut


def test_what_another_blade_cut_not_deep_enough_is_in_the_joint_too(tmp_path: Path) -> None:
    """All of its end is laid out again for the blade that follows, but its kerfs stay in the mouths of the sockets."""
    driver = four_ends()
    driver.cut(2)
    again = f.SetupReopened(1, (1, 2), 0, "", deeper=True)
    driver.records.append(f.Record(driver.state.n + 1, driver.at, UTC, again))
    driver.state = apply(driver.state, driver.records[-1])
    follows = change_kerf(driver, F(3), True).follows
    facts = [record.fact for record in driver.records]
    facts += [f.SetupStarted(follows), f.PassCut(follows, 1, "pedal"), f.Finished()]
    journal_with(tmp_path, facts)
    joint = last_joint_cut(tmp_path, "mm")
    assert joint is not None and joint.kerfs == (F("3.18"), F(3)) and joint.kerf_changed_by == F("0.18")


def test_nothing_is_written_by_looking(bench: Bench) -> None:
    assert bench.found == 0 and not history_path(Path(bench.shop.path)).exists()


@pytest.mark.parametrize(
    ("unit", "kerfs", "most", "refused"),
    [
        (Unit.MM, ("3.18", "3.3"), "0", '3.18 mm, then 3.3 mm: --most-change "0.12 mm"'),
        (Unit.MM, ("3.18", "3.3"), "0.11", '3.18 mm, then 3.3 mm: --most-change "0.12 mm"'),
        (Unit.MM, ("3.18", "3.3"), "0.12", ""),
        (Unit.MM, ("3.18", "3.185"), "0", ""),
        (Unit.INCH, ("3.175", "3.2004"), "0", '0.125 in, then 0.126 in: --most-change "0.001 in"'),
        (Unit.INCH, ("3.175", "3.1877"), "0", ""),
        (Unit.MM, ("3.18",), "0", ""),
        (Unit.MM, (), "0", ""),
    ],
)
def test_a_joint_cut_by_two_kerfs_is_refused_beyond_what_a_kerf_can_be_given_to_and_what_is_allowed(
    unit: Unit, kerfs: tuple[str, ...], most: str, refused: str
) -> None:
    joint = JointOrigin(unit, F("0.1"), F("3.18"), "Trays", "", None, "2026-11-25-1", kerfs=tuple(map(F, kerfs)))
    faults = list(kerf_changed(joint, F(most)))
    assert [f"{fault.value}: {fault.mend[fault.mend.index('--most') :]}" for fault in faults] == [refused][
        : bool(refused)
    ]
    assert all(fault.where == "session 2026-11-25-1" for fault in faults)
