"""From a plan and a shop to the joints whose fit is predicted, their errors and their wood."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import pytest

from assistant.advice.fit import LEFT, SLOT, Errors, room
from assistant.advice.movement import emc
from assistant.advice.prediction import (
    FitOutcome,
    Prediction,
    errors_of,
    missing_parts,
    moisture,
    movements,
    outcomes,
    predictions,
)
from assistant.plans.climate import celsius
from assistant.plans.model import Air
from assistant.plans.plan_file import read_plan
from assistant.plans.shop_file import read_shop
from tests.plans.files import DEMO, PLAN, SHOP, plan_of, shop_of
from tests.sampling import every

EXACT = SHOP + '[carriage]\nkind = "readout"\nresolution = 0.000001\n'
CLIMATE = "[climate.cutting]\nhumidity = 40\n[climate.cutting.B]\nhumidity = 60\n[climate.glue_up]\nhumidity = 50\n"


def predicted(folder: Path, plan: str = PLAN, shop: str = EXACT) -> tuple[Prediction, ...]:
    return predictions(plan_of(folder, plan), shop_of(folder, shop))


def test_a_joint_has_every_inner_wall_and_half_the_clearance_in_each_gap(tmp_path: Path) -> None:
    (found,) = predicted(tmp_path)
    assert found.name == "parts A and B"
    assert [g.at for g in found.joint.gaps] == [6.0 * n for n in range(1, 14)]
    assert [found.joint.gap(g) for g in found.joint.gaps] == pytest.approx([0.05] * 13, abs=1e-5)
    assert found.depth == pytest.approx(12.3)
    assert found.joint.fingers == 14


def test_a_joint_cut_in_two_halves_is_predicted_as_a_whole(tmp_path: Path) -> None:
    """On an exact carriage it is the joint of one clamping; rounded, each half has its own error."""
    halves = "travel = [0, 60]\ndistance_piece = 30.0123\n"
    whole, in_two = predicted(tmp_path), predicted(tmp_path, shop=EXACT + halves)
    assert [each.joint.gaps for each in in_two] == [each.joint.gaps for each in whole]
    rough = SHOP + "[carriage]\nresolution = 0.05\n"
    (one,), (two,) = predicted(tmp_path, shop=rough), predicted(tmp_path, shop=rough + halves)
    assert one.joint.passes == two.joint.passes
    near = [(a.offset, b.offset) for a, b in zip(one.joint.gaps, two.joint.gaps, strict=True) if a.at < 54]
    assert all(a == b for a, b in near) and one.joint.gaps != two.joint.gaps, "only what lies beyond the travel differs"


def test_slots_in_two_halves_are_each_predicted_once(tmp_path: Path) -> None:
    slots = PLAN[: PLAN.index("[joint]")] + '[joint]\nlayout = "slots"\n[spaced]\ncount = 5\nwidth = 6\ndepth = 4\n'
    slots += '[[boards]]\nname = "a"\npart = "A"\n'
    halves = "travel = [0, 45]\ndistance_piece = 42\n"
    (one,), (two,) = predicted(tmp_path, slots), predicted(tmp_path, slots, EXACT + halves)
    assert [gap.at for gap in two.joint.gaps] == [gap.at for gap in one.joint.gaps] and len(two.joint.gaps) == 5


def test_a_part_without_boards_counts_as_cut_in_the_same_way(tmp_path: Path) -> None:
    alone = PLAN[: PLAN.rindex("[[boards]]")]
    assert missing_parts(plan_of(tmp_path, alone)) == ("B",)
    assert predicted(tmp_path, alone)[0].joint == predicted(tmp_path)[0].joint


def test_a_box_of_two_and_two_boards_has_four_corners() -> None:
    shop = read_shop(DEMO / "shop-readout.toml")
    for name, copies in (("tea-trays", [4]), ("trinket-case-lined", [4, 4]), ("tray-dividers", [2])):
        assert [each.copies for each in predictions(read_plan(DEMO / f"{name}.toml"), shop)] == copies


def test_boards_of_one_part_count_their_own_ends(tmp_path: Path) -> None:
    alone = PLAN[: PLAN.rindex("[[boards]]")] + "count = 3\nends = 2\n"
    (found,) = predicted(tmp_path, alone)
    assert found.copies == 6


def test_the_part_with_fewer_ends_says_how_many_joints_there_are(tmp_path: Path) -> None:
    several, one = PLAN.replace('part = "A"\n', 'part = "A"\ncount = 3\nends = 2\n'), "count = 1\nends = 2\n"
    (found,) = predicted(tmp_path, several + one)
    assert found.copies == 2


def test_a_lined_joint_is_put_together_twice() -> None:
    found = predictions(read_plan(DEMO / "trinket-case-lined.toml"), read_shop(DEMO / "shop-stepper.toml"))
    assert [(each.name, each.key) for each in found] == [
        ("the blank in part A", "lining.glue_clearance"),
        ("parts A and B", "joint.clearance"),
    ]
    blank, final = found
    assert [blank.joint.gap(g) for g in blank.joint.gaps] == pytest.approx([0.03] * 5, abs=0.004)
    assert [final.joint.gap(g) for g in final.joint.gaps] == pytest.approx([0.05] * 5, abs=0.004)
    assert blank.depth > final.depth


def test_slots_are_predicted_for_each_depth_and_edge_slots_left_out(tmp_path: Path) -> None:
    slots = "".join(
        f"[[slots]]\nat = {at}\nwidth = 6\ndepth = {depth}\n" for at, depth in ((0, 4), (20, 4), (40, 5), (60, 5))
    )
    plan = PLAN[: PLAN.rindex("[[boards]]")].replace('"even"\nfinger = 6', '"slots"') + slots
    found = predicted(tmp_path, plan)
    assert [each.name for each in found] == ["slots 4 mm deep", "slots 5 mm deep"]
    assert [[g.at for g in each.joint.gaps] for each in found] == [[23.0], [43.0, 63.0]]
    assert {g.side for each in found for g in each.joint.gaps} == {SLOT}


def test_the_plans_uncertainties_take_precedence_over_assumed_values(tmp_path: Path) -> None:
    assert errors_of(plan_of(tmp_path)) == (Errors(0.01, 0.01, 0.03), ("setting", "kerf", "reference"))
    given = PLAN + "[uncertainty]\nkerf = 0\nreference = 0.05\n"
    assert errors_of(plan_of(tmp_path, given)) == (Errors(0.01, 0.0, 0.05), ("setting",))


def test_moisture_is_the_meters_or_that_of_the_air() -> None:
    assert moisture(Air(moisture=8.5)) == 8.5
    assert moisture(Air(celsius(70), 50)) == emc(celsius(70), 50)


def test_each_part_moves_from_where_it_was_cut(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, PLAN.replace("thickness = 12", 'thickness = 12\nspecies = "cherry"') + CLIMATE)
    a, b = movements(plan)
    assert (a.wood, a.grain) == (b.wood, b.grain) == ("Cherry, black", "flat")
    assert a.strain == pytest.approx(0.00248 * (emc(20, 50) - emc(20, 40)))
    assert b.strain == pytest.approx(0.00248 * (emc(20, 50) - emc(20, 60)))
    assert a.strain > 0 > b.strain


def test_the_joint_takes_the_difference_into_account(tmp_path: Path) -> None:
    """Part A widens and B narrows: A's walls lie further out, so a gap on the left of A's finger opens."""
    plan = PLAN.replace("thickness = 12", 'thickness = 12\nspecies = "cherry"') + CLIMATE
    a, b = movements(plan_of(tmp_path, plan))
    assert a.strain is not None
    assert b.strain is not None
    (found,) = predicted(tmp_path, plan)
    for gap in found.joint.gaps:
        way = 1 if gap.side == LEFT else -1
        assert gap.offset == pytest.approx(way * gap.at * (a.strain - b.strain), abs=1e-5)


def test_wood_that_is_not_known_moves_nothing_and_says_so(tmp_path: Path) -> None:
    said = {"ash": "Ash, black; Ash, white", "bubinga": "one of the 37 known woods", "": "no species is given"}
    for species, note in said.items():
        line = f'\nspecies = "{species}"' if species else ""
        plan = plan_of(tmp_path, PLAN.replace("thickness = 12", "thickness = 12" + line) + CLIMATE)
        assert all(each.strain is None and note in each.note for each in movements(plan))
    assert predicted(tmp_path, PLAN + CLIMATE) == predicted(tmp_path)


def test_wood_stands_still_without_a_climate(tmp_path: Path) -> None:
    assert movements(plan_of(tmp_path)) == ()


def test_the_best_clearance_is_laid_out_and_rounded_as_it_would_be_cut(tmp_path: Path) -> None:
    """On a carriage of 0.05 mm steps the remaining clearance jumps. The chosen one does at least as well as now."""
    coarse = SHOP + '[carriage]\nkind = "readout"\nresolution = 0.05\n'
    plan, shop = plan_of(tmp_path, PLAN), shop_of(tmp_path, coarse)
    (found,) = outcomes(plan, shop, 0.15, 4000)
    assert found.best is not None
    assert found.with_best is not None
    assert found.with_best.serves >= found.chances.serves - 0.005
    text = PLAN.replace("finger = 6", f"finger = 6\nclearance = {float(found.best)}")
    (again,) = outcomes(plan_of(tmp_path, text), shop, 0.15, 4000)
    assert again.chances == found.with_best


@pytest.mark.parametrize("kerf", every(2, ["3.13", "3.15", "3.18", "3.2"]))
def test_on_a_coarse_carriage_the_best_clearance_is_no_edge_of_a_cliff(kerf: str, tmp_path: Path) -> None:
    """The best clearance jumps where a setting's rounding does. A hundredth off it serves about as many joints."""
    coarse = SHOP.replace("3.18", kerf) + '[carriage]\nkind = "readout"\nresolution = 0.02\n'

    def laid_out(clearance: F) -> FitOutcome:
        text = PLAN.replace("finger = 6", f"finger = 6\nclearance = {float(clearance)}")
        (found,) = outcomes(plan_of(tmp_path, text), shop_of(tmp_path, coarse), 0.15, 2000)
        return found

    found = laid_out(F(1, 10))
    assert found.best is not None and found.with_best is not None and found.best_a_step_off is not None
    around = [laid_out(found.best + F(off, 100)).chances.serves for off in (-1, 0, 1)]
    assert min(around) == found.best_a_step_off >= found.with_best.serves - 0.05
    assert laid_out(found.best).a_step_off == found.best_a_step_off


def test_fifteen_fingers_are_not_advised_to_be_tighter_than_glue_allows(tmp_path: Path) -> None:
    exact = PLAN + "[uncertainty]\nsetting = 0.001\nkerf = 0.001\nreference = 0.001\n"
    fifteen = exact.replace("finger = 6", "finger = 5.6")
    (one,) = outcomes(plan_of(tmp_path, exact), shop_of(tmp_path, EXACT), 0.15, 1000)
    (other,) = outcomes(plan_of(tmp_path, fifteen), shop_of(tmp_path, EXACT), 0.15, 1000)
    assert (one.prediction.joint.fingers, other.prediction.joint.fingers) == (14, 15)
    assert one.best is not None
    assert one.best < F(8, 100)
    assert other.best == F(8, 100)


def test_inches_try_halves_of_a_thousandth() -> None:
    found = outcomes(
        read_plan(DEMO / "spice-drawer-inch.toml"), read_shop(DEMO / "shop-handwheel-inch.toml"), 0.15, 500
    )
    for each in found:
        assert each.best is not None
        assert (each.best / F(127, 10_000)).denominator == 1


@pytest.mark.parametrize(
    "path", sorted(DEMO.glob("[!s]*.toml")) + sorted(DEMO.glob("spice*.toml")), ids=lambda p: p.stem
)
def test_every_demo_plan_has_something_to_put_together(path: Path) -> None:
    for shop in sorted(DEMO.glob("shop-*.toml")):
        for each in predictions(read_plan(path), read_shop(shop)):
            band = room(each.joint, Errors(0, 0, 0))
            assert band is not None
            assert band.middle > 0
