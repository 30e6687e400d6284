"""Mistakes in a plan's allowances: each is refused or warned of, with what was probably meant."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import BadInput
from assistant.joinery.units import MM_PER_UNIT, parse_length
from assistant.plans import slips
from assistant.plans.job import build_job
from assistant.plans.model import JointPlan, Plan
from assistant.plans.plan_file import read_both, read_plan
from assistant.plans.shop_file import read_shop
from tests.plans.files import DEMO_PLANS, DEMO_SHOPS, PLAN, SHOP, job_faults, job_of, plan_faults, write
from tests.sampling import fractions

INCH = (
    PLAN.replace('"mm"', '"in"').replace("84", '"3 1/2"').replace("12", '"1/2"').replace("finger = 6", 'finger = "1/4"')
)
SLOTS = (
    PLAN.replace('layout = "even"\nfinger = 6', 'layout = "slots"\nCLEARANCE').replace(
        '[[boards]]\nname = "short side"\npart = "B"\n', ""
    )
    + "[spaced]\ncount = 5\nwidth = 6\ndepth = 5\n"
)
LINED = PLAN.replace("width = 84", "width = 72").replace('"even"\nfinger = 6', '"lined"\nfinger = 12\nCLEARANCE')
LINED += '[lining]\nparts = ["A"]\nthickness = 1.5\nGLUE\n'
LISTED = PLAN.replace('layout = "even"\nfinger = 6', 'layout = "listed"\nwidths = [20, 44, 20]\nCLEARANCE')
EVEN = PLAN.replace("finger = 6", "finger = 6\nCLEARANCE")
LAYOUTS = {"even": EVEN, "listed": LISTED, "slots": SLOTS, "lined": LINED}
RULE = "clearance is only the play that the glue needs, usually 0.1 mm"


def with_clearance(layout: str, clearance: str) -> str:
    return LAYOUTS[layout].replace("CLEARANCE", f"clearance = {clearance}").replace("GLUE", "")


def test_a_clearance_wider_than_the_finger_is_refused_and_what_was_meant_is_named(tmp_path: Path) -> None:
    """It was once laid out, with "an assumed kerf of -1.32 mm"."""
    assert job_faults(tmp_path, with_clearance("even", "9")) == [
        "trays.toml: joint.clearance: is at least half the width of a finger, 6 mm (got 9 mm); "
        f"{RULE}: did you mean 0.09 mm?"
    ]


@pytest.mark.parametrize(
    ("layout", "which", "half"),
    [("even", "a finger, 6 mm", 3), ("slots", "a slot, 6 mm", 3), ("lined", "a finger, 12 mm", 6)],
)
def test_half_of_what_it_plays_in_is_refused_in_every_layout(
    tmp_path: Path, layout: str, which: str, half: int
) -> None:
    (fault,) = plan_faults(tmp_path, with_clearance(layout, str(half)))
    assert f"joint.clearance: is at least half the width of {which} (got {half} mm); {RULE}: did you mean 0." in fault
    read_plan(write(tmp_path, with_clearance(layout, f"{half - 1}.99"), "less.toml"))


def test_of_listed_widths_the_narrowest_counts(tmp_path: Path) -> None:
    text = with_clearance("listed", "2.5").replace("[20, 44, 20]", "[40, 4, 40]")
    (fault,) = plan_faults(tmp_path, text)
    assert "joint.clearance: is at least half the width of the narrowest finger, 4 mm (got 2.5 mm)" in fault


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize(("clearance", "refused"), [("2.2", False), ("2.4", True), ("2.6", True)])
def test_a_clearance_of_the_kerf_is_refused(tmp_path: Path, layout: str, clearance: str, refused: bool) -> None:
    shop = SHOP.replace("3.18", "2.4")
    text = with_clearance(layout, clearance)
    if not refused:
        assert job_of(tmp_path, text, shop).assumed_kerf > 0
        return
    (fault,) = job_faults(tmp_path, text, shop)
    assert f"is at least as wide as the kerf of 2.4 mm (got {clearance} mm); {RULE}: did you mean 0.2" in fault


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_clearance_over_three_tenths_is_warned_of(tmp_path: Path, layout: str) -> None:
    found = [w for w in job_of(tmp_path, with_clearance(layout, "0.31")).warnings if "joint.clearance" in w]
    assert found == [
        "joint.clearance is 0.31 mm, but more than 0.3 mm makes a loose glue joint: did you mean 0.031 mm?"
    ]
    assert not any("joint.clearance" in w for w in job_of(tmp_path, with_clearance(layout, "0.3")).warnings)


def test_the_glue_clearance_of_a_lining_is_looked_at_as_well(tmp_path: Path) -> None:
    text = LINED.replace("CLEARANCE", "clearance = 6")
    assert [fault.split(": ")[1] for fault in plan_faults(tmp_path, text.replace("GLUE", "glue_clearance = -0.1"))] == [
        "lining.glue_clearance",
        "joint.clearance",
    ]
    (warning,) = job_of(tmp_path, LINED.replace("CLEARANCE", "").replace("GLUE", "glue_clearance = 0.6")).warnings
    assert (
        warning
        == "lining.glue_clearance is 0.6 mm, but more than 0.3 mm makes a loose glue joint: did you mean 0.06 mm?"
    )
    (fault,) = job_faults(
        tmp_path, LINED.replace("CLEARANCE", "").replace("GLUE", "glue_clearance = 2"), SHOP.replace("3.18", "1.9")
    )
    assert "lining.glue_clearance: is at least as wide as the kerf of 1.9 mm (got 2 mm)" in fault


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_negative_clearance_is_refused_with_the_reason(tmp_path: Path, layout: str) -> None:
    (fault,) = plan_faults(tmp_path, with_clearance(layout, '"-0.004 in"'))
    assert fault == (
        "trays.toml: joint.clearance: can't be below zero: each finger would be wider than its socket and would split "
        'the wood (got "-0.004 in"); give 0 or more; if the joint is still loose with 0, measure the kerf again'
    )


@pytest.mark.parametrize(
    ("written", "meant"),
    [("0.1", "0.1 mm, or 0.01 in"), ("0.02", "0.002 in"), ("0.04", "0.04 mm, or 0.004 in"), ('"0.5 mm"', "0.002 in")],
)
def test_inches_and_millimetres_mixed_up(tmp_path: Path, written: str, meant: str) -> None:
    """A clearance written in millimetres into a plan in inches: both readings that are usual are named."""
    text = INCH.replace('finger = "1/4"', f'finger = "1/4"\nclearance = {written}')
    try:
        found = " ".join(job_of(tmp_path, text).warnings)
    except BadInput as error:
        found = str(error)
    assert "joint.clearance" in found and f"did you mean {meant}?" in found


def test_the_sanding_allowance(tmp_path: Path) -> None:
    def text(sand: str) -> str:
        return PLAN.replace("finger = 6", f"finger = 6\nsand_allowance = {sand}")

    assert not any("sand" in w for w in job_of(tmp_path, text("2")).warnings)
    (warning,) = job_of(tmp_path, text("3")).warnings
    assert warning == "joint.sand_allowance is 3 mm, but more than 2 mm is a lot to sand off: did you mean 0.3 mm?"
    assert plan_faults(tmp_path, text("12")) == [
        "trays.toml: joint.sand_allowance: is not less than the thickness of the stock, 12 mm (got 12 mm); it is only "
        "what you sand off at the end, usually 0.3 mm: did you mean 0.12 mm?"
    ]
    thin = text("6").replace("thickness = 12", "thickness = 12\n[stock.B]\nthickness = 5.5")
    assert "is not less than the thickness of the stock, 5.5 mm (got 6 mm)" in plan_faults(tmp_path, thin)[0]
    (inch,) = plan_faults(tmp_path, INCH.replace('finger = "1/4"', 'finger = "1/4"\nsand_allowance = 0.5'))
    assert "(got 0.5 in); it is only what you sand off at the end, usually 1/64 in: did you mean 0.5 mm" in inch


def test_all_mistakes_are_reported_at_once_with_the_other_faults(tmp_path: Path) -> None:
    """Faults that only follow from a mistake are not reported: a finger that the clearance eats, a cut too deep."""
    text = with_clearance("even", "20").replace("finger = 6", "finger = 6\nsand_allowance = 90\nstart_with = 1")
    assert sorted(fault.split(": ")[1] for fault in plan_faults(tmp_path, text)) == [
        "joint.clearance",
        "joint.sand_allowance",
        "joint.start_with",
    ]
    shop = SHOP.replace("3.18", "2.4") + "highest = 12\n[carriage]\ntravel = [0, 50]\n"
    assert sorted(fault.split(": ")[1] for fault in job_faults(tmp_path, with_clearance("even", "2.5"), shop)) == [
        *["carriage.travel"] * 2,
        "joint.clearance",
        *["stock.thickness"] * 2,
    ]
    no_stock = text.replace("thickness = 12", "").replace("\nstart_with = 1", "")
    assert sorted(fault.split(": ")[1] for fault in plan_faults(tmp_path, no_stock)) == [
        "joint.clearance",
        "stock.thickness",
    ]


def test_where_the_clearance_is_usual_it_is_the_finger_that_is_wrong(tmp_path: Path) -> None:
    (fault,) = plan_faults(tmp_path, PLAN.replace("finger = 6", "finger = 0.2"))
    assert fault.endswith("is at least half the width of a finger, 0.2 mm (got 0.1 mm); give the finger's real width")


@pytest.mark.parametrize("left", ["0.02", "0.03", "0.034"])
def test_a_fin_left_over_at_the_far_edge(tmp_path: Path, left: str) -> None:
    """84.02 mm are 14 fingers of 6 mm and 0.02 mm: the clearance's quarter takes all of that.

    Of 0.03 it leaves 0.005, and of 0.034 not as much as the carriage's step either.
    """
    text = PLAN.replace("width = 84", f"width = 84{left[1:]}")
    if left == "0.02":
        (fault,) = plan_faults(tmp_path, text)
        assert "joint.clearance: the clearance leaves nothing of a finger 0.02 mm wide" in fault
        assert fault.endswith(
            'left over at the far edge: remainder = "stretch" or "both edges" in the plan would share it out'
        )
        return
    (warning,) = [w for w in job_of(tmp_path, text).warnings if "chance" in w]
    assert warning.startswith(
        f"part A: finger 8: only {float(left) - 0.025:.4g} mm wide, less than the carriage's smallest step"
    )
    assert warning.endswith(': remainder = "stretch" or "both edges" in the plan would share it out')


def test_wood_beside_a_slot_that_is_thinner_than_the_carriages_step(tmp_path: Path) -> None:
    text = SLOTS.replace("CLEARANCE", "clearance = 0.1").partition("[spaced]")[0]
    slots = "[[slots]]\nat = 0.055\nwidth = 6\ndepth = 5\n"
    (warning,) = [w for w in job_of(tmp_path, text + slots).warnings if "reference edge and slot" in w]
    assert warning == (
        "only 0.005 mm of wood is left between the reference edge and slot 1: less than the carriage's smallest step, "
        "0.01 mm: chance decides whether any of it stands"
    )


@pytest.mark.parametrize("shop", DEMO_SHOPS, ids=lambda path: path.stem)
@pytest.mark.parametrize("plan", DEMO_PLANS, ids=lambda path: path.stem)
def test_no_demo_plan_has_a_slip(plan: Path, shop: Path) -> None:
    """On every demo machine, the only warning is about the stepper's overrun."""
    made = read_plan(plan)
    assert not list(slips.warnings(made)) and not list(slips.faults(made, read_shop(shop).blade))
    assert all("past the" in line and "edge" in line for line in build_job(*read_both(plan, shop)).warnings)


@given(
    clearance=fractions(0, 30, max_denominator=200),
    finger=fractions(2, 20, max_denominator=20),
    unit=st.sampled_from(sorted(MM_PER_UNIT)),
)
def test_what_is_suggested_as_meant_gets_no_warning_itself(clearance: Fraction, finger: Fraction, unit: str) -> None:
    plan = Plan(
        "p",
        unit,
        Fraction(84),
        {"A": Fraction(12), "B": Fraction(12)},
        JointPlan("even", finger, clearance=clearance),
        (),
    )
    found = [*(fault.mend for fault in slips.faults(plan)), *slips.warnings(plan)]
    assert bool(found) == (clearance > slips.MOST_CLEARANCE or 2 * clearance >= finger)
    for text in found:
        meant = text.partition("did you mean ")[2].removesuffix("?")
        for length in meant.split(", or ") if meant else ():
            # Messages round at four decimals.
            assert parse_length(length, unit) <= slips.MOST_CLEARANCE + Fraction(1, 100)
