"""`kerfcall suggest`: the table, the JSON, and plans that `layout` takes as they are written."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from assistant.__main__ import main
from assistant.plans.job import build_job
from assistant.plans.plan_file import read_both
from tests.plans.files import DEMO, SHOP, write

READOUT = DEMO / "shop-readout.toml"
TRAY = ("--width", "84", "--thickness", "12", "--kerf", "3.18")


@pytest.fixture(autouse=True)
def no_shop_of_ones_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where one's own shop.toml would be; there is none yet."""
    path = tmp_path / "configuration" / "shop.toml"
    monkeypatch.setattr("assistant.plans.shop_file.default_shop_path", lambda: path)
    return path


@pytest.fixture
def suggested(capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*words: str) -> str:
        assert main(["suggest", *words]) == 0
        return capsys.readouterr().out

    return run


@pytest.fixture
def faults(capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*words: str) -> list[str]:
        assert main(["suggest", *words]) == 2
        return capsys.readouterr().err.splitlines()

    return run


def test_lengths_may_be_typed_as_on_a_ruler(suggested: Any) -> None:
    typed = suggested("--width", "3½″", "--thickness", '1/2"', "--kerf", "⅛ in", "--unit", "in")
    assert typed == suggested("--width", "3.5", "--thickness", "0.5", "--kerf", "0.125", "--unit", "in")


def test_the_table_ranks_and_says_why(suggested: Any) -> None:
    lines = suggested(*TRAY).splitlines()
    assert max(map(len, lines)) <= 100
    assert lines[0] == "Boards 84 mm wide, 12 mm thick; kerf 3.18 mm, clearance 0.1 mm."
    (head,) = (line for line in lines if line.startswith("  rank"))
    rows = [line.split()[:2] for line in lines if line[:6].strip().isdigit()]
    assert [int(rank) for rank, _ in rows] == list(range(1, 9))
    assert "why" in head
    text = " ".join(" ".join(lines).split())
    assert "One pass a socket needs fingers of 3.13 mm, the kerf less half the clearance" in text
    assert "fewest passes" in text


def test_the_json_holds_the_best_and_counts_the_rest(suggested: Any) -> None:
    data = json.loads(suggested(*TRAY, "--json", "--top", "3"))
    assert (data["width"], data["thickness"], data["kerf"], data["clearance"]) == (84, {"A": 12, "B": 12}, 3.18, 0.1)
    assert data["one_pass"]["finger"] == 3.13
    assert [one["rank"] for one in data["candidates"]] == [1, 2, 3]
    assert data["considered"] == 27
    scores = [one["score"] for one in data["candidates"]]
    assert scores == sorted(scores, reverse=True)
    assert set(data["candidates"][0]) == {
        *("rank", "fingers", "finger", "edges", "remainder", "like_edges", "passes", "passes_a_socket"),
        *("narrowest", "sliver", "glue", "wood_left", "score", "trade", "saving", "why"),
    }


def test_inches_come_out_in_inches(suggested: Any) -> None:
    text = suggested("--width", "3 1/2", "--thickness", "1/2", "3/4", "--kerf", "0.125", "--unit", "in")
    assert text.startswith("Boards 3 1/2 in wide, part A 1/2 in, part B 3/4 in thick; kerf 1/8 in, clearance 0.004 in.")


def test_in_inches_the_fingers_of_the_trade_come_first(suggested: Any) -> None:
    words = ("--width", "3 1/2", "--thickness", "1/2", "--kerf", "1/8", "--unit", "in")
    text = suggested(*words)
    assert max(map(len, text.splitlines())) <= 100
    rows = [line.split()[:4] for line in text.splitlines() if line[:6].strip().isdigit()]
    widths = [width for _, _, width, _ in rows]
    assert len(widths) == 12 and {"1/4", "5/16", "3/8", "1/2"} < set(widths[:9])
    assert all("/" in width or width == "1" for width in widths[:9]) and all("." in width for width in widths[9:])
    line = " ".join(text.split())
    assert "Ranks 1 to 9 are the common trade widths that fit this board. All other widths follow." in line
    assert "0.2333 in saves 12 passes (rank 10)" in line
    data = json.loads(suggested(*words, "--json"))
    assert [one["trade"] for one in data["candidates"]] == [True] * 9 + [False] * 3
    assert data["candidates"][0]["saving"] == {"rank": 10, "finger": pytest.approx(25.4 * 3.5 / 15), "passes": 12}


def test_a_plan_in_inches_holds_nothing_else(suggested: Any, tmp_path: Path) -> None:
    """Every rank's, so that every kind of width and remainder is written."""
    words = ("--width", "3 1/2", "--thickness", "1/2", "3/4", "--kerf", "1/8", "--unit", "in")
    for rank in range(1, 13):
        path = tmp_path / f"{rank}.toml"
        suggested(*words, "--write", str(path), "--pick", str(rank))
        text = path.read_text()
        assert "mm" not in text
        for line in (
            'unit = "in"',
            'width = "3 1/2"',
            'thickness = "1/2"',
            "clearance = 0.004",
            'sand_allowance = "1/64"',
        ):
            assert line in text.splitlines()
    first = (tmp_path / "1.toml").read_text()
    assert first.startswith("# 14 fingers of 1/4 in: 42 passes for both parts of a corner with a kerf of 1/8 in.")
    assert 'finger = "1/4"' in first.splitlines()


@pytest.mark.parametrize("shop", ["in", "mm"])
@pytest.mark.parametrize(
    ("words", "unit"),
    [
        (("--width", "9 in", "--thickness", "3/4 in"), "in"),
        (("--width", '9"', "--thickness", "¾″", "3/4 in", "--kerf", "1/8 in", "--clearance", "0.004 in"), "in"),
        (("--width", "228 mm", "--thickness", "19mm"), "mm"),
        (("--width", "9 in", "--thickness", "19 mm"), ""),
        (("--width", "9 in", "--thickness", "3/4 in", "0.8"), ""),
        (("--width", "9 in", "--thickness", "3/4 in", "--kerf", "3.2 mm"), ""),
        (("--width", "9 in", "--thickness", "3/4 in", "--unit", "mm"), "mm"),
    ],
)
def test_a_unit_that_every_length_has_is_the_answers(
    suggested: Any, tmp_path: Path, shop: str, words: tuple[str, ...], unit: str
) -> None:
    kerf = {"in": '"1/8"', "mm": "3.18"}[shop]
    path = write(tmp_path, f'unit = "{shop}"\n[blade]\nkerf = {kerf}\n', "shop.toml")
    plan = tmp_path / "plan.toml"
    text = suggested(*words, "--shop", str(path), "--write", str(plan))
    assert f'unit = "{unit or shop}"' in plan.read_text().splitlines()
    fingers = {line.split()[2] for line in text.splitlines() if line[:6].strip().isdigit()}
    assert ("3/8" in fingers) is ((unit or shop) == "in")


def test_the_shop_file_gives_blade_and_unit(suggested: Any, tmp_path: Path) -> None:
    shop = write(tmp_path, 'unit = "in"\n[blade]\nkerf = "1/4"\n', "shop.toml")
    data = json.loads(suggested("--width", "6", "--thickness", "3/4", "--shop", str(shop), "--json"))
    assert (data["width"], data["kerf"]) == (pytest.approx(152.4), pytest.approx(6.35))


def test_a_kerf_given_goes_before_the_shop_files(suggested: Any, tmp_path: Path) -> None:
    shop = write(tmp_path, SHOP + "overrun = 2\n", "shop.toml")
    words = ("--width", "84", "--thickness", "12", "--kerf", "2.5", "--json", "--top", "1000")
    with_shop, without = (json.loads(suggested(*words, *more)) for more in (("--shop", str(shop)), ()))
    assert with_shop["kerf"] == without["kerf"] == 2.5
    assert sum(one["passes"] for one in with_shop["candidates"]) > sum(one["passes"] for one in without["candidates"])


def test_ones_own_shop_file_is_used_where_there_is_one(suggested: Any, no_shop_of_ones_own: Path) -> None:
    no_shop_of_ones_own.parent.mkdir()
    no_shop_of_ones_own.write_text(SHOP.replace("3.18", "4.2"), encoding="utf-8")
    assert json.loads(suggested("--width", "84", "--thickness", "12", "--json"))["kerf"] == 4.2


@pytest.mark.parametrize(
    ("words", "shop"),
    [
        (("--width", "84", "--thickness", "12"), READOUT),
        (("--width", "7 1/8 in", "--thickness", "12", "0.505 in"), READOUT),
        (("--width", "3 1/2", "--thickness", "1/2", "3/4"), DEMO / "shop-handwheel-inch.toml"),
        (("--width", "100/9 in", "--thickness", "11", "--clearance", "0.13"), DEMO / "shop-stepper.toml"),
        (("--width", "87", "--thickness", "12", "--clearance", "0"), READOUT),
    ],
)
def test_every_plan_written_lays_out_as_what_was_suggested(
    words: tuple[str, ...], shop: Path, suggested: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = (*words, "--shop", str(shop))
    data = json.loads(suggested(*words, "--json", "--top", "1000"))
    ranks = [*range(1, 6), *data["one_pass"]["ranks"], data["considered"]]
    for rank in dict.fromkeys(ranks):
        path = tmp_path / f"{rank}.toml"
        suggested(*words, "--write", str(path), "--pick", str(rank))
        job = build_job(*read_both(path, shop))
        one = data["candidates"][rank - 1]
        a, b = ([pattern for pattern in job.patterns if pattern.part == part][0] for part in "AB")
        assert len(a.segments) == one["fingers"]
        assert len(a.passes) + len(b.passes) == one["passes"]
        edges = [float(a.segments[0].end), float(a.width - a.segments[-1].start)]
        assert edges == pytest.approx(one["edges"], abs=float(job.clearance) / 4 + 1e-9)
        sand = 25.4 / 64 if "inch" in shop.name else 0.3
        assert float(a.depth) == pytest.approx(data["thickness"]["B"] + sand)
        assert main(["layout", str(path), "--shop", str(shop)]) == 0
    capsys.readouterr()


def test_what_the_machine_can_not_cut_is_warned_of(suggested: Any, tmp_path: Path) -> None:
    shop = write(tmp_path, SHOP + "highest = 10\n[carriage]\ntravel = [0, 50]\n", "shop.toml")
    words = ("--width", "84", "--thickness", "12", "--shop", str(shop))
    text = " ".join(suggested(*words).split())
    assert (
        "Warning: layout would refuse 14 fingers of 6 mm: the plan: stock.thickness: part A must be cut deeper" in text
    )
    assert "shop.toml: carriage.travel:" in text
    assert len(json.loads(suggested(*words, "--json"))["warnings"]) == 4
    assert json.loads(suggested(*TRAY, "--json"))["warnings"] == []


def test_a_file_that_is_there_is_not_written_over(faults: Any, tmp_path: Path) -> None:
    path = write(tmp_path, "precious", "plan.toml")
    (fault,) = faults(*TRAY, "--write", str(path))
    assert "--write: the file exists and was not overwritten" in fault
    assert path.read_text() == "precious"


def test_what_can_not_be_written_is_said(faults: Any, tmp_path: Path) -> None:
    (fault,) = faults(*TRAY, "--write", str(tmp_path / "none" / "plan.toml"))
    assert "--write: can't be written" in fault


def test_a_rank_that_is_not_there_writes_nothing(faults: Any, tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    (fault,) = faults(*TRAY, "--write", str(path), "--pick", "28")
    assert "--pick: there is no such rank (got 28); give 1 to 27" in fault
    assert not path.exists()


def test_all_faults_come_at_once(faults: Any) -> None:
    found = faults("--width", "0", "--thickness", "1", "x", "3", "--clearance=-1", "--top", "0", "--pick", "2")
    for start in ("--kerf: no kerf is given", "--width: the length must be over zero", "--thickness: this is not a"):
        assert any(start in line for line in found), found
    for start in (
        "--thickness: more than two",
        "--clearance: a length can't",
        "--top: from 1",
        "--pick: means nothing",
    ):
        assert any(start in line for line in found), found


def test_a_shop_file_named_must_be_there(faults: Any, tmp_path: Path) -> None:
    (fault,) = faults("--width", "84", "--thickness", "12", "--shop", str(tmp_path / "none.toml"))
    assert "none.toml: there is no such file" in fault


@pytest.mark.parametrize(("kerf", "option"), [("0.2", "blade.overlap: passes can't overlap"), ("x", "--kerf: this is")])
def test_a_blade_that_can_not_be(kerf: str, option: str, faults: Any) -> None:
    (fault,) = faults("--width", "84", "--thickness", "12", "--kerf", kerf)
    assert option in fault
