"""`kerfcall fit`: the JSON's form, what a woodworker reads, warnings, and exit 2 with every fault."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from assistant.__main__ import main
from assistant.plans.shop_writer import record
from tests.drawings.demos import IN_TURN
from tests.plans.files import DEMO, PLAN, SHOP, write

READOUT = DEMO / "shop-readout.toml"
CLIMATE = "[climate.cutting]\nhumidity = 35\n[climate.cutting.B]\nhumidity = 60\n[climate.glue_up]\nhumidity = 50\n"
CHERRY = PLAN.replace("thickness = 12", 'thickness = 12\nspecies = "black cherry"')


@pytest.fixture
def printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    """Runs `fit` on a plan and gives its text on one line, since lines are wrapped."""

    def run(plan: str = PLAN, *more: str, shop: str = SHOP) -> str:
        files = [str(write(tmp_path, plan, "trays.toml")), "--shop", str(write(tmp_path, shop, "shop.toml"))]
        assert main(["fit", *files, "--joints", "2000", *more]) == 0
        return " ".join(capsys.readouterr().out.split())

    return run


@pytest.fixture
def figures(printed: Any) -> Any:
    return lambda plan=PLAN, *more, shop=SHOP: json.loads(printed(plan, "--json", *more, shop=shop))


def faults(capsys: pytest.CaptureFixture[str], *words: str) -> list[str]:
    assert main(["fit", *words]) == 2
    return capsys.readouterr().err.splitlines()


@pytest.mark.parametrize(("plan", "shop"), IN_TURN)
def test_every_demo_plan_fits_into_a_terminal(plan: str, shop: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fit", str(DEMO / f"{plan}.toml"), "--shop", str(DEMO / f"{shop}.toml"), "--joints", "500"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 100
    assert lines[0].endswith("will it go together?")


def test_the_json_holds_every_gap_and_every_chance(figures: Any) -> None:
    data = figures()
    assert set(data) == {
        *("title", "kerf", "clearance", "limit", "joints", "seed", "uncertainty", "fits", "square", "wood"),
        *("not_covered", "warnings"),
    }
    (fit,) = data["fits"]
    assert [gap["at"] for gap in fit["gaps"]] == [6.0 * n for n in range(1, 14)]
    assert [gap["beside"] for gap in fit["gaps"]] == ["right", "left"] * 6 + ["right"]
    for band in (*fit["gaps"], fit["room"]):
        low, high = band["worst_case"]
        inner_low, inner_high = band["root_sum_square"]
        assert low < inner_low < band["middle"] < inner_high < high
    for chances in (fit["chances"], fit["best"]["chances"]):
        assert set(chances) == {"goes", "flush", "no_gap_over", "serves", "step", "great_step", "doubt"}
    assert fit["best"]["chances"]["serves"] >= fit["chances"]["serves"] - 0.01
    assert data["uncertainty"] == {
        "setting": 0.01,
        "kerf": 0.01,
        "reference": 0.03,
        "coverage": 3,
        "assumed": ["setting", "kerf", "reference"],
    }


def test_text_and_json_say_the_same(printed: Any, figures: Any) -> None:
    text, (fit,) = printed(), figures()["fits"]
    goes = f"{100 * fit['chances']['goes']:.1f}".removesuffix(".0")
    assert f"{goes} % go together by hand" in text
    assert f"Room to slide at the tightest place: {fit['room']['middle']:.3f} mm" in text


def test_all_corners_of_the_box_are_reckoned_with(printed: Any, figures: Any) -> None:
    """A plan of four corners; 0.9 to the fourth is 0.66."""
    plan = PLAN.replace('part = "A"', 'part = "A"\ncount = 2\nends = 2').replace('part = "B"', 'part = "B"\ncount = 4')
    (fit,) = figures(plan)["fits"]
    assert fit["copies"] == 4
    assert fit["all_go"] == pytest.approx(fit["chances"]["goes"] ** 4)
    assert "The chance that all 4 in the plan do is" in printed(plan)
    assert "that the plan makes" not in printed()


def test_what_the_tables_limits_are_is_said_beside_it(printed: Any) -> None:
    assert "every error at its limit, three standard uncertainties (k = 3)" in printed()


def test_a_clearance_at_an_edge_is_said_to_be(printed: Any, figures: Any) -> None:
    """On a carriage of 0.02 mm with this kerf 0.07 and 0.08 lie on either side of a jump in the rounding."""
    coarse = SHOP.replace("3.18", "3.15") + '[carriage]\nkind = "readout"\nresolution = 0.02\n'
    edge, safe = (PLAN.replace("finger = 6", f"finger = 6\nclearance = {c}") for c in ("0.08", "0.09"))
    text = printed(edge, shop=coarse)
    assert "This clearance leaves no margin: with 0.01 mm more or less, only 8" in text
    assert 'Safer: joint.clearance = "0.09 mm", with which 99' in text and "good, and at least 99" in text
    (fit,) = figures(edge, shop=coarse)["fits"]
    assert fit["serves_a_step_off"] < 0.9 < 0.98 < fit["chances"]["serves"]
    assert fit["best"]["clearance"] == 0.09 and fit["best"]["serves_a_step_off"] > 0.98
    assert "at an edge" not in printed(safe, shop=coarse)
    wide = printed(PLAN.replace("finger = 6", "finger = 6\nclearance = 0.2"), shop=coarse)
    assert re.search(r'Best clearance: joint\.clearance = "0\.\d+ mm", with', wide)
    assert "% with 0.01 mm more or less." in wide


def test_the_same_plan_has_the_same_chances_every_time(figures: Any) -> None:
    assert figures()["fits"] == figures()["fits"]


def test_own_uncertainties_are_used_and_not_called_assumed(printed: Any) -> None:
    text = printed(PLAN + "[uncertainty]\nsetting = 0.02\nkerf = 0\nreference = 0.04\n")
    assert "setting 0.020 mm, kerf 0.000 mm, reference 0.040 mm." in text
    assert "assumed" not in text


def test_one_that_is_not_given_is_called_assumed(printed: Any) -> None:
    text = printed(PLAN + "[uncertainty]\nsetting = 0.02\nkerf = 0.01\n")
    assert "Reference is assumed: give your own" in text


def test_a_wider_limit_lets_more_joints_pass(figures: Any) -> None:
    loose = PLAN.replace("finger = 6", "finger = 6\nclearance = 0.25")
    strict, lax = (figures(loose, "--limit", limit)["fits"][0]["chances"] for limit in ("0.14", "0.25 mm"))
    assert strict["no_gap_over"] < lax["no_gap_over"]
    assert strict["goes"] == lax["goes"]


def test_the_limit_is_in_the_plans_unit(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["fit", str(DEMO / "spice-drawer-inch.toml"), "--shop", str(READOUT), "--joints", "100", "--json"]
    assert main([*words, "--limit", "0.01"]) == 0
    assert json.loads(capsys.readouterr().out)["limit"] == pytest.approx(0.254)


def test_a_joint_of_many_fingers_with_little_clearance_is_warned_of_swelling(printed: Any) -> None:
    tight = PLAN.replace("finger = 6", "finger = 5\nclearance = 0.06").replace("width = 84", "width = 85")
    assert "with 17 fingers and a clearance of 0.060 mm, water-based glue swells the fingers" in printed(tight)
    assert "water-based glue" not in printed(tight.replace("0.06", "0.08"))


def test_how_square_the_cut_must_be_and_a_warning_when_it_is_not(printed: Any) -> None:
    """atan(0.025 / 12.3) = 0.1165 degrees."""
    text = printed()
    assert "over the depth of 12.300 mm, a wall may lean by at most 0.025 mm." in text
    assert "Blade tilt and carriage error together may be at most 0.12 degrees" in text
    assert "Warning: blade and carriage are 0.2 degrees out of square" in printed(
        PLAN + "[uncertainty]\nout_of_square = 0.2\n"
    )
    assert "Warning" not in printed(PLAN + "[uncertainty]\nout_of_square = 0.116\n")


def test_without_a_figure_in_the_plan_the_noted_squareness_counts(printed: Any, figures: Any, tmp_path: Path) -> None:
    """As `ready --square` notes it; it decides the warning just as the plan's figure would."""
    assert "How far yours are out is not known" in printed()
    square = figures()["square"]
    assert set(square) == {"most_degrees", "depth", "clearance", "degrees", "noted_utc"}
    assert square["degrees"] is None and square["noted_utc"] is None
    shop = tmp_path / "shop.toml"
    record(shop, "square", "2027-03-01T12:00:00Z", "", {"degrees": 0.2})
    text = printed()
    assert "0.12 degrees. Recorded beside the shop file on 2027-03-01: 0.2." in text
    assert "Warning: blade and carriage are 0.2 degrees out of square" in text
    noted = figures()["square"]
    assert (noted["degrees"], noted["noted_utc"]) == (0.2, "2027-03-01T12:00:00+00:00")
    own = PLAN + "[uncertainty]\nout_of_square = 0.05\n"
    assert "0.12 degrees. The plan gives 0.05." in printed(own) and "Warning" not in printed(own)


def test_what_ready_notes_is_what_fit_uses(printed: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shop = write(tmp_path, SHOP, "shop.toml")
    assert main(["ready", "--square", "0.01", "--shop", str(shop)]) == 0
    capsys.readouterr()
    text = printed()
    assert "Recorded beside the shop file on " in text and ": 0.01." in text and "Warning" not in text


def test_a_note_that_can_not_be_read_is_warned_of_and_the_rest_is_reported(printed: Any, tmp_path: Path) -> None:
    write(tmp_path, '{"version": 99}\n', "shop.history.jsonl")
    text = printed()
    assert "Warning: squareness is not known: shop.history.jsonl, line 1 is damaged" in text
    assert "go together by hand" in text


def test_parts_cut_in_different_air_are_said_to_jam(printed: Any, figures: Any) -> None:
    plan = CHERRY + CLIMATE
    text = printed(plan)
    assert "0 % go together by hand" in text
    assert "black cherry, flat-sawn: 7.0 % moisture when cut, 9.3 % at glue-up" in text
    assert "Warning: by glue-up the parts' walls are" in text
    a, b = figures(plan)["wood"]
    assert (a["wood"], a["wider"] > 0, b["wider"] < 0) == ("Cherry, black", True, True)


def test_parts_that_move_alike_still_fit(printed: Any, figures: Any) -> None:
    alike = CHERRY + CLIMATE.replace("[climate.cutting.B]\nhumidity = 60\n", "")
    assert "apart at the far edge" not in printed(alike)
    assert figures(alike)["fits"] == figures(CHERRY)["fits"]


def test_wood_that_is_not_known_is_left_out_aloud(printed: Any) -> None:
    text = printed(PLAN.replace("thickness = 12", 'thickness = 12\nspecies = "ash"') + CLIMATE)
    assert '"ash" could be any of: Ash, black; Ash, white' in text
    assert "the wood of part A and B is not known" in text


def test_moisture_past_the_tables_range_is_warned_of(printed: Any) -> None:
    text = printed(CHERRY + "[climate.cutting]\nmoisture = 16\n[climate.glue_up]\nmoisture = 8\n")
    assert "movement is known only from 6 to 14 % moisture" in text


def test_slots_tell_their_play_and_what_is_not_covered(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fit", str(DEMO / "tray-dividers.toml"), "--shop", str(READOUT), "--joints", "200"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "Slots 5 mm deep, clearance 0.150 mm" in text
    assert "take every piece by hand" in text
    assert "reference edges level" not in text
    assert "Not covered: how much the pieces' real thickness differs from the slots' width" in text


def test_a_lined_joint_is_reported_in_both_stages(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fit", str(DEMO / "trinket-case-lined.toml"), "--shop", str(READOUT), "--joints", "200"]) == 0
    text = capsys.readouterr().out
    assert text.index("The blank in part A, clearance 0.060 mm") < text.index("Parts A and B, clearance 0.100 mm")


def test_all_faults_come_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = write(tmp_path, PLAN.replace("finger = 6", "fingers = 6"), "trays.toml")
    found = faults(capsys, str(plan), "--shop", str(tmp_path / "none.toml"), "--joints", "0")
    for part in ("--joints: from 1 to 1,000,000", "trays.toml: joint.finger: is missing", "none.toml:"):
        assert any(part in line for line in found), (part, found)


@pytest.mark.parametrize(
    ("limit", "fault"),
    [
        ("0", "--limit: the length must be over zero"),
        ("-1", "--limit: a length can't be below zero here"),
        ("wide", "--limit: this is not a length"),
        ("6", "--limit: the widest gap may be 5 mm at most (got 6 mm)"),
    ],
)
def test_a_limit_is_a_small_length(limit: str, fault: str, capsys: pytest.CaptureFixture[str]) -> None:
    found = faults(capsys, str(DEMO / "tea-trays.toml"), "--shop", str(READOUT), f"--limit={limit}")
    assert len(found) == 1
    assert fault in found[0]


def test_a_slot_at_the_edge_alone_has_no_fit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    slots = "[[slots]]\nat = 0\nwidth = 6\ndepth = 4\n"
    text = PLAN[: PLAN.rindex("[[boards]]")].replace('"even"\nfinger = 6', '"slots"') + slots
    found = faults(capsys, str(write(tmp_path, text, "trays.toml")), "--shop", str(READOUT))
    assert len(found) == 1
    assert "trays.toml: slots: every slot is at the board's edge" in found[0]


def test_help_needs_no_heavy_library() -> None:
    script = (
        "import sys\nsys.modules['numpy'] = None\nfrom assistant.__main__ import main\n"
        "try: main(['fit', '--help'])\nexcept SystemExit as done: sys.exit(done.code)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
