"""`kerfcall calibrate fit`: joints of a blade and a wood, and the clearance proposed from them."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from assistant.__main__ import main
from assistant.journal.store import Journal
from assistant.plans.job import build_job
from assistant.plans.plan_file import read_both, read_plan
from assistant.plans.shop_writer import read_history
from assistant.session.facts import Finished, JobExtended, Record, Started
from tests.plans.files import PLAN, SHOP, write

INCH_PLAN = PLAN.replace('"mm"', '"in"').replace("84", '"3 1/2"').replace("= 12", '= "1/2"').replace("= 6", '= "1/4"')
CHERRY = PLAN.replace("thickness = 12", 'thickness = 12\nspecies = "black cherry"')


class Fit:
    """A folder with a shop and plans; the command run in it."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]):
        self.folder, self._capsys = folder, capsys
        self.shop = write(folder, SHOP, "shop.toml")

    def plan(self, clearance: str, text: str = CHERRY) -> str:
        text = text.replace("finger = 6", f"finger = 6\nclearance = {clearance}")
        return str(write(self.folder, text, f"plan-{clearance}.toml"))

    def run(self, *words: str, code: int = 0) -> str:
        assert (
            main(["calibrate", "fit", "--shop", str(self.shop), "--state", str(self.folder / "state"), *words]) == code
        )
        shown = self._capsys.readouterr()
        return shown.err if code == 2 else shown.out

    def json(self, *words: str) -> Any:
        """Whatever is reported is noted."""
        return json.loads(self.run("--json", "--yes", *words))

    def shown(self, *words: str, code: int = 1) -> Any:
        """Nothing is noted."""
        return json.loads(self.run("--json", *words, code=code))


@pytest.fixture
def fit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Fit:
    return Fit(tmp_path, capsys)


def test_the_first_joint_too_tight_gives_more_clearance(fit: Fit) -> None:
    text = " ".join(fit.run("--plan", fit.plan("0.1"), "--too-tight", "0.05").split())
    assert 'In the next plan, write: clearance = "0.15 mm"' in text
    assert "from 1 joint cut with this blade in black cherry" in text
    assert "No plan and no shop file was changed" in text
    assert fit.shop.read_text(encoding="utf-8") == SHOP


def test_joints_of_the_corrected_plan_confirm_it(fit: Fit) -> None:
    """The clearance wanted stays 0.1, though the second plan says 0.15 and was right."""
    fit.run("--plan", fit.plan("0.1"), "--too-tight", "0.05")
    data = fit.json("--plan", fit.plan("0.15"), "--too-tight", "0")
    assert (data["wanted"], data["clearance"], data["joints"]) == (0.1, 0.15, 2)
    assert data["correction"] == pytest.approx(0.05)


def test_a_gap_measured_weighs_more_than_what_was_felt(fit: Fit) -> None:
    fit.run("--plan", fit.plan("0.1"), "--too-loose", "0.04")
    data = fit.json("--plan", fit.plan("0.1"), "--gap", "0.12")
    assert data["correction"] == pytest.approx((-0.04 + 4 * -0.02) / 5)
    assert data["expanded_uncertainty"] == pytest.approx(2 * data["standard_uncertainty"])


def test_each_wood_has_its_own_history(fit: Fit) -> None:
    fit.run("--plan", fit.plan("0.1"), "--too-tight", "0.05")
    assert fit.json("--clearance", "0.1", "--species", "White Ash")["joints"] == 0
    assert fit.json("--plan", fit.plan("0.1"), "--species", "Black Cherry")["joints"] == 1


def test_a_new_blade_begins_a_new_history(fit: Fit) -> None:
    """What was wanted is remembered, though the plan at hand was corrected for the old blade."""
    fit.run("--plan", fit.plan("0.1"), "--too-tight", "0.05")
    data = fit.json("--plan", fit.plan("0.15"), "--new-blade", "thin one")
    assert (data["joints"], data["blade"], data["wanted"], data["clearance"]) == (0, "thin one", 0.1, 0.1)
    assert fit.json("--plan", fit.plan("0.1"), "--gap", "0.1")["joints"] == 1


def test_a_kerf_corrected_since_is_allowed_for(fit: Fit) -> None:
    """A gap of 0.16 where 0.1 was written is a kerf 0.03 too small in the shop file; that mended, none is left."""
    fit.run("--plan", fit.plan("0.1"), "--gap", "0.16")
    fit.shop.write_text(SHOP.replace("3.18", "3.21"), encoding="utf-8")
    assert fit.json("--plan", fit.plan("0.1"))["correction"] == pytest.approx(0)


def test_the_last_joint_is_taken_back(fit: Fit) -> None:
    fit.run("--plan", fit.plan("0.1"), "--too-tight", "0.05")
    fit.run("--undo", "--yes")
    assert fit.json("--plan", fit.plan("0.1"))["joints"] == 0
    assert [(e.kind, e.undoes) for e in read_history(fit.shop)] == [("joint", 0), ("joint", 1)]
    assert "[takes back 1]" in fit.run("--history")


def test_the_same_joint_reported_twice_weighs_once(fit: Fit) -> None:
    """As sure as one report is, not surer; JSON and text name the entry that doesn't count."""
    report = ("--plan", fit.plan("0.1"), "--gap", "0.12")
    first = fit.json(*report)
    assert (first["joints"], first["repeated"]) == (1, [])
    again = fit.json(*report, "--wanted", "0.1")
    assert (again["joints"], again["repeated"], again["same_plan"]) == (1, [1], [])
    assert again["standard_uncertainty"] == first["standard_uncertainty"]
    third = " ".join(fit.run(*report).split())
    assert "Entries 1, 2 report the same joint as a later entry. It is counted once." in third
    assert fit.shown("--plan", fit.plan("0.1"), code=0)["repeated"] == [1, 2]


def test_another_joint_of_the_same_plan_weighs_too_and_is_pointed_out(fit: Fit) -> None:
    fit.run("--plan", fit.plan("0.1"), "--too-tight", "0.05")
    report = ("--plan", fit.plan("0.1"), "--too-tight", "0.04")
    data = fit.json(*report)
    assert (data["joints"], data["repeated"], data["same_plan"]) == (2, [], [1])
    text = " ".join(fit.run(*report).split())
    assert (
        "You already reported a joint from this plan (entry 1). If it is the same joint, take one back with --undo."
        in text
    )
    assert "Entry 2 reports the same joint as a later entry" in text


def test_joints_of_two_sessions_are_two_though_they_came_out_alike(fit: Fit) -> None:
    plan = fit.plan("0.1")
    for joints in (1, 2):
        cut_session(fit, plan)
        assert fit.json("--gap", "0.12")["joints"] == joints
    data = fit.json("--gap", "0.12")
    assert (data["joints"], data["repeated"]) == (2, [2]), "the second session's joint, reported again"


@pytest.mark.parametrize("gap", [["--gap=-0.02"], ["--gap", "-0.02"], ["--gap", "-0.02 mm"], ["--gap=-1/50"]])
def test_a_joint_that_jams_has_a_gap_below_zero(fit: Fit, gap: list[str]) -> None:
    """0.12 less than written, so 0.12 more is to be written; with its sign in the history."""
    data = fit.json("--plan", fit.plan("0.1"), *gap)
    assert data["clearance"] == 0.22 and data["correction"] == pytest.approx(0.12)
    assert read_history(fit.shop)[0].data["amount"] == "-1/50"
    text = fit.run("--plan", fit.plan("0.22"), *gap)
    assert "gap -0.02 mm, so the finger is wider than its socket" in " ".join(text.split())
    assert fit.json("--plan", fit.plan("0.22"), "--gap", "0.1")["joints"] == 3


def test_json_notes_nothing_without_yes(fit: Fit) -> None:
    """What it proposes is the same; the history and the blade stay as they are."""
    report = ("--plan", fit.plan("0.1"), "--too-tight", "0.05")
    shown = fit.shown(*report)
    assert (shown["noted"], shown["joints"], shown["clearance"]) == (False, 1, 0.15)
    assert read_history(fit.shop) == []
    assert fit.json(*report) == shown | {"noted": True}
    assert fit.shown(*report, "--new-blade", "thin one")["blade"] == "thin one"
    assert [e.kind for e in read_history(fit.shop)] == ["joint"]
    assert "a new blade needs a new name" in fit.run("--json", *report, "--new-blade", " ", code=2)


def test_where_no_clearance_will_do_the_kerf_is_named(fit: Fit) -> None:
    text = " ".join(fit.run("--plan", fit.plan("0.1"), "--gap", "0.3").split())
    assert "No clearance in the plan gives 0.1 mm: the blade cuts about 0.1 mm wider than the kerf in the shop" in text


def cut_session(fit: Fit, plan: str, *changes: JobExtended, rehearsed: bool = False, finished: bool = True) -> None:
    """As though the plan had been cut with the shop as it is."""
    job = build_job(*read_both(Path(plan), fit.shop))
    utc = "2026-11-25T10:00:00Z"
    with Journal.open(fit.folder / "state") as journal:
        session = journal.new_session(job.title, job.plan_digest, plan, utc)
        facts = [Started(job, rehearsed), *changes, *([Finished()] if finished else [])]
        journal.append(session, [Record(n, float(n), utc, fact) for n, fact in enumerate(facts, 1)])


def test_without_a_plan_the_last_joint_cut_is_meant(fit: Fit) -> None:
    """Not a rehearsal, a session left open, or a test board; with its wood, and the kerf that it was cut with."""
    cut_session(fit, fit.plan("0.1"))
    cut_session(fit, fit.plan("0.2"), rehearsed=True)
    cut_session(fit, fit.plan("0.3"), finished=False)
    cut_session(fit, fit.plan("0", CHERRY.replace("Trays", "Test board: kerf")))
    fit.shop.write_text(SHOP.replace("3.18", "3.21"), encoding="utf-8")
    assert "Noted: Trays, gap 0.16 mm." in fit.run("--gap", "0.16")
    data = fit.json("--plan", fit.plan("0.1"))
    assert (data["species"], data["wanted"], data["joints"]) == ("black cherry", 0.1, 1)
    assert data["correction"] == pytest.approx(0), "0.06 too much, and a kerf 0.03 greater since"


def test_where_the_kerf_changed_on_the_way_the_last_one_counts(fit: Fit) -> None:
    """It is that of the blade on the saw; a copy or another board first says nothing of it."""
    order = tuple(range(1, 9))
    changes = [JobExtended((), (), order, why, kerf) for why, kerf in (("kerf measured", "322/100"), ("copy", ""))]
    cut_session(fit, fit.plan("0.1"), *changes)
    fit.run("--gap", "0.16")
    assert [entry.data["kerf"] for entry in read_history(fit.shop)] == ["161/50"]


def test_a_plan_changed_since_tells_nothing_of_the_wood(fit: Fit) -> None:
    plan = fit.plan("0.1")
    cut_session(fit, plan)
    Path(plan).write_text(Path(plan).read_text(encoding="utf-8").replace("cherry", "walnut"), encoding="utf-8")
    assert fit.json("--gap", "0.16")["species"] == "any wood"


@pytest.mark.parametrize("report", [("--too-tight", "5"), ("--too-loose", "0.6"), ("--gap", "0.7")])
def test_what_is_too_much_for_a_fit_is_refused_and_not_noted(fit: Fit, report: tuple[str, str]) -> None:
    text = " ".join(fit.run("--clearance", "0.1", *report, code=2).split())
    assert (
        f"{report[0]}: is too much to correct with clearance (got {report[1]} mm)" in text
        and "more than 0.5 mm" in text
    )
    assert read_history(fit.shop) == []
    assert 'clearance = "0.6 mm"' in fit.run("--clearance", "0.1", "--too-tight", "0.5")


def test_a_joint_reported_without_a_plan_is_noted_and_can_be_taken_back(fit: Fit) -> None:
    assert fit.json("--clearance", "0.1", "--species", "elm", "--too-tight", "0.05")["noted"] is True
    assert fit.json("--clearance", "0.1", "--species", "elm")["noted"] is False
    text = fit.run("--clearance", "0.1", "--species", "Oak", "--too-tight", "0.05")
    assert text.startswith(
        "Noted: a joint in oak, too tight by 0.05 mm. Take it back with: kerfcall calibrate fit --undo"
    )


def test_inches_are_proposed_in_inches(fit: Fit) -> None:
    fit.shop.write_text('unit = "in"\n[blade]\nkerf = "1/8"\n', encoding="utf-8")
    text = fit.run("--clearance", "0.004", "--too-tight", "0.002")
    assert 'clearance = "0.006 in"' in text


def test_what_to_write_means_the_same_in_a_plan_in_inches(fit: Fit) -> None:
    """As copied from the output, before and after a joint is reported, with a shop file in millimetres."""
    text = fit.run("--wanted", "0.12")
    assert "In the plan, write the clearance you want: " in text
    text += fit.run("--clearance", "0.12", "--too-tight", "0.03")
    copied = [line.partition(": ")[2] for line in text.splitlines() if ": clearance = " in line]
    assert copied == ['clearance = "0.12 mm"', 'clearance = "0.15 mm"']
    for line, mm in zip(copied, (Fraction(12, 100), Fraction(15, 100)), strict=True):
        plan = read_plan(write(fit.folder, INCH_PLAN.replace('finger = "1/4"', f'finger = "1/4"\n{line}'), "inch.toml"))
        assert plan.joint.clearance == mm


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (
            ["--too-tight", "0.05"],
            "--plan: the clearance in the joint's plan is not known, and there is no finished session to take it from",
        ),
        (["--clearance", "0.1", "--gap", "0.1", "--too-loose", "0.1"], "the joint is reported in more than one way"),
        (["--clearance", "0.1", "--gap", "x"], "--gap: this is not a length"),
        (["--clearance", "0.1", "--too-tight", "-0.1"], "--too-tight: a length can't be below zero here"),
        (["--clearance", "0.1", "--wanted", "0.1", "--gap", "-0.5"], "--gap: is too much to correct with clearance"),
        (["--clearance", "x", "--gap", "0.1"], "--clearance: this is not a length"),
        (
            ["--clearance", "0.1", "--gap", "0.1", "--reading", "A=1"],
            "calibrate fit: --reading: means nothing here; use it with calibrate kerf",
        ),
        ([], "--wanted: the clearance wanted is not known"),
    ],
)
def test_what_is_refused(words: list[str], fault: str, fit: Fit) -> None:
    assert fault in fit.run(*words, code=2)
    assert read_history(fit.shop) == []
