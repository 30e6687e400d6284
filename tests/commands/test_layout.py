"""`kerfcall layout`: the JSON's form, the table a woodworker reads, and exit 2 with every fault."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from assistant import CAUTION
from assistant.__main__ import main
from assistant.plans.job import build_job
from assistant.plans.plan_file import read_both
from tests.plans.files import DEMO, DEMO_PLANS, DEMO_SHOPS, PLAN, SHOP, write

NUMBER = (int, float)
SPAN = {"from": NUMBER, "to": NUMBER}
PASS = {
    "number": int,
    "socket": int,
    "kerf_from": NUMBER,
    "kerf_to": NUMBER,
    "setting": NUMBER,
    "approach": (int, float, type(None)),
    "reading": str,
    "spoken": str,
}
SETUP = {
    "board": str,
    "part": str,
    "end": int,
    "half": str,
    "edge": str,
    "copies": int,
    "depth": NUMBER,
    "fingers": [SPAN],
    "sockets": [SPAN],
    "passes": [PASS],
    "held": str,
    "keep_clear": {"from": NUMBER, "to": NUMBER, "below": NUMBER},
}
LENGTH = (int, float, type(None))
ROW = {"kind": str, "name": str, "part": str, "count": int, "length": LENGTH, "width": NUMBER, "thickness": NUMBER}
LAYOUT = {
    "title": str,
    "kerf": NUMBER,
    "clearance": NUMBER,
    "assumed_kerf": NUMBER,
    "warnings": [str],
    "checks": [{"name": str, "answer": str, "when": str}],
    "stages": [{"name": str, "setups": [SETUP]}],
    "totals": {"setups": int, "passes": int},
    "rounding": {"greatest_error": NUMBER, "worst_clearance": NUMBER},
    "boards": [ROW],
}


def _fits(data: Any, form: Any) -> bool:
    if isinstance(form, dict):
        return list(data) == list(form) and all(_fits(data[key], form[key]) for key in form)
    if isinstance(form, list):
        return isinstance(data, list) and all(_fits(item, form[0]) for item in data)
    return isinstance(data, form) and not isinstance(data, bool)


def _json(capsys: pytest.CaptureFixture[str], plan: Path, shop: Path) -> Any:
    assert main(["layout", str(plan), "--shop", str(shop), "--json"]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    return json.loads(printed.out)


def _table(capsys: pytest.CaptureFixture[str], plan: Path, shop: Path) -> str:
    assert main(["layout", str(plan), "--shop", str(shop)]) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("plan", DEMO_PLANS, ids=lambda path: path.stem)
@pytest.mark.parametrize("shop", DEMO_SHOPS, ids=lambda path: path.stem)
def test_json_has_the_agreed_form_and_is_exact_to_a_millionth(
    capsys: pytest.CaptureFixture[str], plan: Path, shop: Path
) -> None:
    data = _json(capsys, plan, shop)
    assert _fits(data, LAYOUT)
    job = build_job(*read_both(plan, shop))
    setups = [setup for stage in data["stages"] for setup in stage["setups"]]
    assert data["totals"] == {"setups": len(job.setups), "passes": job.total_passes}
    assert len(setups) == len(job.setups)
    for shown, setup in zip(setups, job.setups, strict=True):
        pattern = job.pattern_of(setup.number)
        assert (shown["board"], shown["part"], shown["end"], shown["copies"]) == (
            setup.board,
            setup.part,
            setup.end,
            setup.copies,
        )
        for one, exact in zip(shown["passes"], pattern.passes, strict=True):
            for key in ("kerf_from", "kerf_to", "setting"):
                assert abs(Fraction(one[key]) - getattr(exact, key)) < Fraction(1, 1_000_000)
        clear = shown["keep_clear"]
        assert clear["from"] <= min(one["kerf_from"] for one in shown["passes"])
        assert clear["to"] >= max(one["kerf_to"] for one in shown["passes"])
        assert clear["below"] >= shown["depth"] + float(job.clear_above) - 1e-6
        spans = sorted((*shown["fingers"], *shown["sockets"]), key=lambda span: span["from"])
        assert spans[0]["from"] == 0
        assert spans[-1]["to"] == pytest.approx(float(pattern.width), abs=1e-6)
        assert all(a["to"] == b["from"] for a, b in zip(spans, spans[1:], strict=False))


def test_the_trays_by_hand(capsys: pytest.CaptureFixture[str]) -> None:
    """Worked by hand: 84 mm in 6 mm, kerf 3.18, clearance 0.1: walls at 6n -+ 0.025, settings at kerf_to."""
    data = _json(capsys, DEMO / "tea-trays.toml", DEMO / "shop-readout.toml")
    assert data["assumed_kerf"] == 3.13
    first = data["stages"][0]["setups"][0]
    assert first["depth"] == 12.3
    # 5.975 to 84 mm off the edge, and 12.3 mm with 15 above: to the whole millimetre, away from the blade.
    assert first["keep_clear"] == {"from": 5.0, "to": 84.0, "below": 28.0}
    assert first["fingers"][0] == {"from": 0.0, "to": 5.975}
    assert first["sockets"][0] == {"from": 5.975, "to": 12.025}
    assert first["passes"][0] == {
        "number": 1,
        "socket": 1,
        "kerf_from": 5.975,
        "kerf_to": 9.155,
        "setting": 9.16,
        "approach": None,
        "reading": "9.16",
        "spoken": "nine point one six",
    }
    assert data["rounding"] == {"greatest_error": 0.005, "worst_clearance": 0.08}


def test_a_downward_move_to_a_setups_first_pass_goes_past_and_comes_up(capsys: pytest.CaptureFixture[str]) -> None:
    setups = _json(capsys, DEMO / "tea-trays.toml", DEMO / "shop-readout.toml")["stages"][0]["setups"]
    assert [one["approach"] for one in setups[1]["passes"]] == [8.66] + [None] * 13


def test_checks_in_effect_are_listed_in_order(capsys: pytest.CaptureFixture[str]) -> None:
    checks = _json(capsys, DEMO / "tea-trays.toml", DEMO / "shop-stepper.toml")["checks"]
    assert checks[0] == {"name": "zero", "answer": "carriage zero is correct", "when": "session"}
    assert checks[2] == {"name": "clamps", "answer": "all clamps are secure", "when": "setup"}
    assert [check["name"] for check in checks if check["when"] == "setup end"] == ["saw off"]
    assert checks[-1] == {"name": "motor", "answer": "stepper motor is holding", "when": "every 20"}


def test_the_table_reads_in_the_shops_unit(capsys: pytest.CaptureFixture[str]) -> None:
    text = _table(capsys, DEMO / "tea-trays.toml", DEMO / "shop-readout.toml")
    for line in (
        "Nesting tea trays",
        "Kerf 3.18 mm, clearance 0.1 mm.",
        "an assumed kerf of 3.13 mm for the same fit.",
        "Settings are rounded by 0.005 mm at most. At worst, 0.08 mm of the clearance is left.",
        "Part A: 84 mm wide, cut 12.3 mm deep (12 + 0.3 sanding allowance); from the reference edge (mm):",
        "  finger   1      0.000 to      5.975       5.975 wide",
        "Setup 1: long side 1; part A, end 1, 12.3 mm deep",
        "     1       1    9.16       5.975      9.155",
        "down to 8.66 first, then up",
        "Setup 5: short side 1 to 2, clamped together; part B, end 1, 12.3 mm deep",
        "6 setups, 84 passes",
        "Checks, in order: zero (session), edge and face (setup), clamps (setup), guard (setup), clamps and",
    ):
        assert line in text
    assert text.rstrip().endswith(CAUTION)


def test_the_table_of_an_inch_handwheel(capsys: pytest.CaptureFixture[str]) -> None:
    """Worked by hand: 0.374 in at 16 threads to the inch is 5.984 turns: 5 turns and 123 of 125 marks."""
    text = _table(capsys, DEMO / "spice-drawer-inch.toml", DEMO / "shop-handwheel-inch.toml")
    assert "Part A: 3.5 in wide, cut 0.391 in deep (0.375 + 0.0156 sanding allowance)" in text
    assert "     1       1   5 turns + 123      0.2490     0.3740" in text
    assert "0.3740  up 5 turns + 123 marks\n" in text
    assert re.search(r"down to \d+ turns \+ \d+ first, then up \d+ marks\n", text)


def test_warnings_are_shown(capsys: pytest.CaptureFixture[str]) -> None:
    text = _table(capsys, DEMO / "tea-trays.toml", DEMO / "shop-stepper.toml")
    assert "\n!! part B: a pass cuts 0.5 mm past the reference edge" in text
    marked = [line for line in text.splitlines() if line.endswith("  !! 0.5 mm past the edge")]
    # Part B's two setups begin at the reference edge, part A's four end at the far one.
    assert len(marked) == 6
    assert "\n!! 2 warnings: see the end.\n" in text and text.count("\n!! part") == 2


def test_a_greatest_error_is_shown_whole_or_rounded_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: a mark is 0.0005 in; a wall at 0.24925 in is half a mark from the nearest."""
    plan = (DEMO / "spice-drawer-inch.toml").read_text().replace("clearance = 0.004", "clearance = 0.003")
    assert "clearance = 0.003" in plan
    text = _table(capsys, write(tmp_path, plan, "plan.toml"), DEMO / "shop-handwheel-inch.toml")
    assert "Settings are rounded by 0.00025 in at most." in text


def test_slots_are_called_slots_and_numbered_along_the_board(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two depths, two setups: slot 3 lies between 2 and 4 on the board, whatever is cut with it."""
    slots = "".join(
        f"[[slots]]\nat = {at}\nwidth = 6\ndepth = {deep}\n" for at, deep in ((10, 9), (30, 5), (50, 9), (70, 5))
    )
    head = PLAN.replace('layout = "even"\nfinger = 6', 'layout = "slots"').replace(
        '[[boards]]\nname = "short side"\npart = "B"\n', ""
    )
    plan, shop = write(tmp_path, head + slots, "plan.toml"), write(tmp_path, SHOP, "shop.toml")
    text = _table(capsys, plan, shop)
    assert "finger" not in text and "socket" not in text and "end 1" not in text
    assert re.findall(r"^  slot +(\d+) ", text, re.MULTILINE) == ["2", "4", "1", "3"]
    rows = re.findall(r"^ +\d+ +(\d) +\d+\.\d\d ", text, re.MULTILINE)
    assert rows == ["2", "2", "4", "4", "1", "1", "3", "3"]
    passes = [one["socket"] for s in _json(capsys, plan, shop)["stages"][0]["setups"] for one in s["passes"]]
    assert passes == [1, 1, 2, 2, 1, 1, 2, 2]


def test_a_depth_is_shown_as_it_can_be_set_and_what_it_is_made_up_of(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lined = _table(capsys, DEMO / "trinket-case-lined.toml", DEMO / "shop-readout.toml")
    assert (
        "Part A blank, stage 1: 72 mm wide, cut 14.3 mm deep (12 + 0.3 sanding allowance + 1.5 lining + 0.5 room"
        in lined
    )
    rule = (DEMO / "shop-handwheel-inch.toml").read_text().replace('reads = "turns"', 'reads = "fractions"')
    text = _table(capsys, DEMO / "spice-drawer-inch.toml", write(tmp_path, rule, "shop.toml"))
    assert "cut 25/64 in deep (0.375 + 0.0156 sanding allowance)" in text
    odd = write(tmp_path, PLAN.replace("thickness = 12", "thickness = 11.94"), "plan.toml")
    text = _table(capsys, odd, DEMO / "shop-readout.toml")
    assert "cut 12.2 mm deep (11.94 + 0.3 sanding allowance)" in text and ", 12.2 mm deep" in text
    assert _json(capsys, odd, DEMO / "shop-readout.toml")["stages"][0]["setups"][0]["depth"] == 12.24


def test_every_fault_of_both_files_and_exit_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = write(tmp_path, PLAN.replace("finger = 6", "fingr = 6"), "trays.toml")
    shop = write(tmp_path, SHOP.replace("3.18", "0"), "shop.toml")
    assert main(["layout", str(plan), "--shop", str(shop)]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.splitlines() == [
        "kerfcall: trays.toml: joint.finger: is missing; give it in mm, e.g. finger = 6",
        "kerfcall: trays.toml: joint.fingr: is not a key that Kerfcall knows; did you mean finger?",
        "kerfcall: shop.toml: blade.kerf: must be over 0 mm (got 0 mm); give a larger length",
    ]


def test_a_missing_plan_and_a_missing_shop_are_two_faults(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["layout", str(tmp_path / "a.toml"), "--shop", str(tmp_path / "b.toml"), "--json"]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.partition(" in ")[0] for line in lines] == [
        "kerfcall: a.toml: there is no such file",
        "kerfcall: b.toml: there is no such file",
    ]


def test_letters_the_terminal_lacks_are_shown_as_codes(tmp_path: Path) -> None:
    plan = write(tmp_path, PLAN.replace("Trays", "Käse ✓"), "trays.toml")
    shop = write(tmp_path, SHOP, "shop.toml")
    words = [sys.executable, "-m", "assistant", "layout", str(plan), "--shop", str(shop)]
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = subprocess.run(words, capture_output=True, env=environment, cwd=DEMO.parent, timeout=60, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.splitlines()[0] == b"K\\xe4se \\u2713"


def test_each_setup_says_how_its_board_is_held(capsys: pytest.CaptureFixture[str]) -> None:
    text = _table(capsys, DEMO / "tea-trays.toml", DEMO / "shop-readout.toml")
    assert text.count("held: end 1 down, reference edge to the left stop, marked face to the backing") == 3
    assert text.count("held: end 2 down, reference edge to the left stop, other face to the backing") == 3
    right = _table(capsys, DEMO / "spice-drawer-inch.toml", DEMO / "shop-handwheel-inch.toml")
    assert "reference edge against the setting bar at the right stop" in right and "left stop" not in right


def test_a_lined_case_lists_its_boards_blanks_and_stages(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: outside 240 and the fingers proud by 0.3 at both ends; four lined ends, so four blanks."""
    text = _table(capsys, DEMO / "trinket-case-lined.toml", DEMO / "shop-readout.toml")
    assert "  2 x long side (part A): 72 mm wide, 12 mm thick, 240.6 mm long" in text
    assert (
        "  4 x long side blank (part A): 72 mm wide, 12 mm thick, 200 mm long or more, of lining wood with the grain"
        in text
    )
    assert text.index("Stage 1: openings and blanks") < text.index("Stage 2: final sockets")
    assert "glue dry overnight" in text
    data = _json(capsys, DEMO / "trinket-case-lined.toml", DEMO / "shop-readout.toml")
    assert [stage["name"] for stage in data["stages"]] == ["openings and blanks", "final sockets"]
    assert [row["count"] for row in data["boards"]] == [2, 2, 4]


def test_the_edge_is_drawn_wood_and_sockets_in_proportion(capsys: pytest.CaptureFixture[str]) -> None:
    text = _table(capsys, DEMO / "trinket-case-lined.toml", DEMO / "shop-readout.toml")
    part = text[text.index("Part A, stage 2: 72 mm wide, cut 12.3 mm deep") :]
    strip = next(line for line in part.splitlines() if "#" in line).strip()
    assert len(strip) == 80
    # Six equal fingers and sockets of 72 mm on 80 columns: a wall every 13 or 14 columns.
    runs = [len(run) for run in strip.replace(".#", ". #").replace("#.", "# .").split()]
    assert len(runs) == 6 and set(runs) <= {13, 14}


@pytest.mark.parametrize("layout", ["even", "listed", "slots", "lined"])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_there_is_a_demo_plan_for_every_layout_in_both_units(layout: str, unit: str) -> None:
    plans = [read_both(plan, DEMO / "shop-readout.toml")[0] for plan in DEMO_PLANS]
    assert any((plan.joint.layout, plan.unit) == (layout, unit) for plan in plans)


IN_TWO = SHOP + "[carriage]\ntravel = [0, 60]\ndistance_piece = 30.02\n"


def test_both_halves_are_laid_out_one_after_the_other(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan, shop = write(tmp_path, PLAN, "trays.toml"), write(tmp_path, IN_TWO, "shop.toml")
    table = _table(capsys, plan, shop)
    assert table.count("Part A: 84 mm wide") == 1, "the end is shown once"
    assert "Setup 1: long side 1; part A, end 1, first half, 12.3 mm deep" in table
    second = table[table.index("Setup 2: long side 1; part A, end 1, second half") : table.index("Setup 3")]
    assert "reference edge to the left stop itself, the distance piece out" in second
    assert re.search(r"\n +1 +5 +30\.00 +56\.845 +60\.025\n", second), (
        "30.00 is 60.025 less 30.02, in the same socket 5"
    )
    setups = _json(capsys, plan, shop)["stages"][0]["setups"]
    assert [(each["half"], each["edge"]) for each in setups] == [
        ("first half", "reference"),
        ("second half", "reference"),
    ] * 2


def test_a_half_from_the_other_edge_is_laid_out_from_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = PLAN.replace("width = 84", "width = 78\nmeasured_widths = [78, 78]")
    text = text.replace("finger = 6", 'finger = 6\nfar_half = "other edge"')
    shop = write(tmp_path, SHOP + "[carriage]\ntravel = [0, 60]\n", "shop.toml")
    plan = write(tmp_path, text, "trays.toml")
    setups = _json(capsys, plan, shop)["stages"][0]["setups"]
    assert [each["edge"] for each in setups] == ["reference", "other"] * 2
    first, second = ([one["setting"] for one in each["passes"]] for each in setups[:2])
    assert first == second, "the mirrored half repeats the settings"
    assert "keep clear: 5 to 37 mm from the other edge" in _table(capsys, plan, shop)
