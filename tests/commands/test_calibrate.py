"""`kerfcall calibrate`: test boards that `cut` takes, readings however they come, and what is written when."""

from __future__ import annotations

import io
import json
import sys
import xml.etree.ElementTree as ET
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from assistant.__main__ import main
from assistant.calibrating.board import read_places
from assistant.drawings.cut_sheet import cut_sheet
from assistant.drawings.flow import Sheet
from assistant.plans.job import build_job
from assistant.plans.plan_file import read_both
from assistant.plans.shop_file import read_shop
from assistant.plans.shop_writer import history_path, read_history
from assistant.session.turn import view
from tests.calibrating.kerf_trials import EIGHT_AND_TWO, READOUT
from tests.drawings.drawn import texts
from tests.plans.files import DEMO_SHOPS, write
from tests.session.driver import Driver

SHOP = """\
unit = "mm"
[blade]
kerf = 3.2   # printed on it
[carriage]
kind = "handwheel"
pitch = 1.5875    # 16 threads
divisions = 100
"""
KINDS = ("kerf", "screw", "zero", "backlash")
KERF = {
    **dict.fromkeys("ACE", "6.34"),
    **dict.fromkeys("BD", "6.35"),
    **dict.fromkeys("FGJ", "28.57"),
    **dict.fromkeys("HK", "28.56"),
}
OLD = {**dict.fromkeys("ACEG", "6.93"), **dict.fromkeys("BDF", "6.92"), "H": "6.94", "J": "28.91", "K": "28.92"}
MISREAD = {**OLD, "K": "29.90"}


class Bench:
    """A folder with a shop file, and the command run in it."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]):
        self.folder, self._capsys = folder, capsys
        self.shop = write(folder, SHOP, "shop.toml")

    def run(self, *words: str, code: int = 0) -> str:
        assert main(["calibrate", *words, "--shop", str(self.shop)]) == code
        shown = self._capsys.readouterr()
        return shown.out if code in (0, 1) else shown.err

    def board(self, kind: str) -> Path:
        path = self.folder / f"{kind}.toml"
        self.run(kind, "--plan", str(path))
        return path

    def readings(self, kind: str, readings: dict[str, str], *more: str, code: int = 0) -> str:
        path = self.folder / f"{kind}.toml"
        words = [word for place, value in readings.items() for word in ("--reading", f"{place}={value}")]
        return self.run(kind, "--plan", str(path if path.exists() else self.board(kind)), *words, *more, code=code)


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Bench:
    return Bench(tmp_path, capsys)


# Test boards


@pytest.mark.parametrize("shop", DEMO_SHOPS, ids=lambda path: path.stem)
@pytest.mark.parametrize("kind", KINDS)
def test_every_test_board_can_be_cut_without_rounding(kind: str, shop: Path, tmp_path: Path, capsys: Any) -> None:
    path = tmp_path / "board.toml"
    assert main(["calibrate", kind, "--plan", str(path), "--shop", str(shop)]) == 0
    assert "kerfcall cut" in capsys.readouterr().out
    job = build_job(*read_both(path, shop))
    assert job.greatest_error == 0
    assert not [warning for warning in job.warnings if "mate" in warning]
    (setup,) = job.setups
    passes = job.patterns[setup.pattern].passes
    assert len(passes) == len({p.socket for p in passes}), "one pass a cut"
    if job.carriage.pitch is not None:
        assert all((p.setting / job.carriage.pitch).denominator == 1 for p in passes), "whole turns"
    settings = [p.setting for p in passes]
    xs = {place.x for place in read_places(path, kind, read_shop(shop))}
    spacings = {b - a for a, b in zip(settings, settings[1:], strict=False)}
    assert xs == (spacings if kind in ("kerf", "backlash") else set(settings))


def test_a_test_board_is_cut_in_an_ordinary_session(bench: Bench, tmp_path: Path) -> None:
    """To its end, by a rehearsal."""
    path = bench.board("kerf")
    script = []
    at = 1.0
    for _ in range(6):
        script.append(f"{at} pedal hold")
        at += 2
    for _ in range(len(KERF) + 1):
        at += 5
        script.append(f"{at} pedal tap")
    script.append(f"{at + 10} pedal hold")
    rehearsal = write(tmp_path, "\n".join(script) + "\n", "script.txt")
    words = ["cut", str(path), "--shop", str(bench.shop), "--state", str(tmp_path / "state")]
    assert main([*words, "--rehearse", str(rehearsal), "--no-voice"]) == 0


def test_the_session_calls_which_cuts_of_a_backlash_board_are_come_down_to(
    bench: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Aloud, on the screen, in the layout and on paper; nobody has to remember what the sheet said."""
    path = bench.board("backlash")
    job = build_job(*read_both(path, bench.shop))
    driver = Driver(job)
    driver.confirm_all()
    down = []
    for one in job.patterns[0].passes:
        seen = view(driver.state)
        assert seen.pass_ == one.number
        heard = "; then down" in driver.said
        assert heard == (seen.approach is not None and seen.approach > seen.setting)
        assert heard == (", past it; then down" in driver.said)
        down += [one.number] * heard
        driver.gesture("tap")
    assert down == [2, 5, 8, 11]
    assert main(["layout", str(path), "--shop", str(bench.shop)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert sum("first, then down" in line for line in lines) == 4
    words = [text.text for page in cut_sheet(job, (), Sheet.of("a4")).pages for text in texts(page.items)]
    assert sum("then comes down to the setting" in word for word in words) == 4


def test_the_kerfs_board_has_five_short_fingers_and_five_long_ones(bench: Bench) -> None:
    """A to E and F to K, without an I: the letters that the sheet names are those that readings come by."""
    shown = bench.run("kerf", "--plan", str(bench.folder / "kerf.toml"))
    rows = [line.split() for line in shown.splitlines() if line.startswith("  ") and "the wood between" in line]
    assert [(row[0], row[-2]) for row in rows] == [
        *((letter, "9.525") for letter in "ABCDE"),
        *((letter, "31.750") for letter in "FGHJK"),
    ]
    assert set(KERF) == {row[0] for row in rows}


def test_the_long_fingers_are_shorter_where_the_travel_ends_sooner(bench: Bench) -> None:
    bench.shop.write_text(SHOP + "travel = [0, 180]\n", encoding="utf-8")
    board = bench.board("kerf")
    places = read_places(board, "kerf", read_shop(bench.shop))
    assert {place.x for place in places} == {6 * Fraction("1.5875"), 15 * Fraction("1.5875")}
    job = build_job(*read_both(board, bench.shop))
    assert max(p.setting for p in job.patterns[0].passes) == (8 + 5 * 6 + 5 * 15) * Fraction("1.5875") < 180
    bench.shop.write_text(SHOP + "travel = [0, 160]\n", encoding="utf-8")
    text = bench.run("kerf", "--plan", str(bench.folder / "none.toml"), code=2)
    assert "carriage.travel: the travel leaves no room for a test board's 11 cuts" in text
    assert not (bench.folder / "none.toml").exists()


def test_a_test_board_is_never_written_over(bench: Bench) -> None:
    path = bench.board("kerf")
    path.write_text(path.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    bench.readings("kerf", KERF, code=1)
    assert path.read_text(encoding="utf-8").endswith("# mine\n")


def test_a_board_for_another_calibration_is_refused(bench: Bench) -> None:
    bench.board("kerf")
    text = bench.run("backlash", "--plan", str(bench.folder / "kerf.toml"), "--reading", "A1=9", code=2)
    assert "this test board is not for calibrating backlash (got kerf)" in text


def test_no_room_in_the_travel_is_reported(bench: Bench) -> None:
    bench.shop.write_text(SHOP + "travel = [0, 40]\n", encoding="utf-8")
    text = bench.run("screw", "--plan", str(bench.folder / "new.toml"), code=2)
    assert "the travel leaves no room for a test board's 10 cuts" in text
    assert not (bench.folder / "new.toml").exists()


# Values


def test_a_kerf_is_shown_and_not_written_unasked(bench: Bench) -> None:
    text = bench.readings("kerf", KERF, code=1)
    assert text.startswith("Kerf: 3.1797 mm, standard uncertainty 0.0")
    assert "k = 2" in text
    assert "Not written. Write blade.kerf = 3.1" in text
    assert bench.shop.read_text(encoding="utf-8") == SHOP
    assert not history_path(bench.shop).exists()


def test_yes_writes_it_and_undo_takes_it_back(bench: Bench) -> None:
    data = json.loads(bench.readings("kerf", KERF, "--yes", "--json"))
    written = Fraction(data["write"]["value"])
    assert read_shop(bench.shop).blade.kerf == written
    assert abs(float(written) - data["value"]) <= 0.0005
    assert "# printed on it" in bench.shop.read_text(encoding="utf-8")
    history = bench.run("kerf", "--history")
    assert f"blade.kerf 3.2 -> {data['write']['value']}  [in force]" in history
    assert "not there" not in bench.run("kerf", "--undo", "--yes")
    assert bench.shop.read_text(encoding="utf-8") == SHOP
    assert "[takes back 1]" in bench.run("kerf", "--history")


def test_json_holds_the_uncertainty_and_its_parts(bench: Bench) -> None:
    data = json.loads(bench.readings("kerf", KERF, "--json", code=1))
    assert data["expanded_uncertainty"] == pytest.approx(2 * data["standard_uncertainty"])
    assert sum(c["u"] ** 2 for c in data["components"]) == pytest.approx(data["standard_uncertainty"] ** 2)
    assert [row["place"] for row in data["readings"]] == list(KERF)


def test_a_kerf_of_another_board_is_refused(bench: Bench) -> None:
    """Readings of wider wood make a kerf that no blade like the stated one cuts."""
    text = bench.readings("kerf", {place: str(round(float(value) + 2, 2)) for place, value in KERF.items()}, code=2)
    assert "the kerf is far from the 3.2 mm in the shop file (got 1.1797 mm" in text


def test_a_blunder_is_shown_in_the_text(bench: Bench) -> None:
    text = " ".join(bench.readings("kerf", {**KERF, "C": "3.64"}, code=1).split())
    assert "left out: C, 3.64 mm: 2.7" in text
    assert "two digits may have been exchanged: 6.34 mm fits" in text


def screw_readings(bench: Bench, ratio: str) -> dict[str, str]:
    """What a saw with this screw, a kerf of 3.2 and its zero right leaves, to a hundredth."""
    places = read_places(bench.board("screw"), "screw", read_shop(bench.shop))
    return {p.label: f"{float(p.x * Fraction(ratio)) - 3.2:.2f}" for p in places}


def test_a_handwheels_pitch_is_corrected_once(bench: Bench) -> None:
    """Reported again after that, the same board says that nothing is off: what was cut were turns, not millimetres."""
    readings = screw_readings(bench, "1.004")
    bench.readings("screw", readings, "--yes")
    assert float(read_shop(bench.shop).carriage.pitch or 0) == pytest.approx(1.5875 * 1.004, rel=1e-4)
    assert "# 16 threads" in bench.shop.read_text(encoding="utf-8")
    text = bench.readings("screw", readings, "--yes")
    assert "Within the uncertainty, the carriage moves as the shop file says." in text


def test_threads_per_inch_stay_threads_per_inch(bench: Bench) -> None:
    bench.shop.write_text(SHOP.replace("pitch = 1.5875 ", "threads_per_inch = 16 "), encoding="utf-8")
    data = json.loads(bench.readings("screw", screw_readings(bench, "1.004"), "--yes", "--json"))
    assert data["write"]["key"] == "carriage.threads_per_inch"
    assert float(data["write"]["value"]) == pytest.approx(16 / 1.004, rel=1e-4)


def test_a_steppers_steps_are_corrected(bench: Bench) -> None:
    carriage = 'kind = "steps"\nsteps_per_mm = 400\n'
    bench.shop.write_text(SHOP[: SHOP.index("kind")] + carriage, encoding="utf-8")
    data = json.loads(bench.readings("screw", screw_readings(bench, "1.004"), "--yes", "--json"))
    assert data["write"]["key"] == "carriage.steps_per_mm"
    assert float(data["write"]["value"]) == pytest.approx(400 / 1.004, rel=1e-4)


def driven(bench: Bench, carriage: str, steps: str) -> None:
    drive = f'[carriage.drive]\nport = "usb:1a86:7523"\nhome_reads = -3\n{steps}\n'
    shop = f"{SHOP[: SHOP.index('[carriage]')]}[carriage]\n{carriage}\n{drive}"
    bench.shop.write_text(shop, encoding="utf-8")


@pytest.mark.parametrize("carriage", ["", 'kind = "handwheel"\npitch = 1.5875\ndivisions = 50'])
def test_a_motors_own_steps_are_corrected_whatever_else_is_on_the_screw(bench: Bench, carriage: str) -> None:
    driven(bench, carriage, "steps_per_mm = 400")
    data = json.loads(bench.readings("screw", screw_readings(bench, "1.004"), "--yes", "--json"))
    assert data["write"]["key"] == "carriage.drive.steps_per_mm"
    assert float(data["write"]["value"]) == pytest.approx(400 / 1.004, rel=1e-4)


def test_a_zero_of_a_driven_carriage_is_what_it_reads_at_its_home_switch(bench: Bench) -> None:
    driven(bench, "", "steps_per_mm = 400")
    places = read_places(bench.board("zero"), "zero", read_shop(bench.shop))
    readings = {p.label: f"{float(p.x) - 3.2 + 0.15:.2f}" for p in places}
    data = json.loads(bench.readings("zero", readings, "--yes", "--json"))
    assert data["write"]["key"] == "carriage.drive.home_reads"
    assert float(data["write"]["value"]) == pytest.approx(-3 + 0.15, abs=0.005)


def test_a_motor_whose_steps_the_shop_file_does_not_have_gets_them_there(bench: Bench) -> None:
    driven(bench, "", "")
    text = " ".join(bench.readings("screw", screw_readings(bench, "1.004"), "--yes").split())
    assert "give it those of the controller as carriage.drive.steps_per_mm, times 0.996" in text


def test_a_readout_is_not_corrected_by_the_shop_file(bench: Bench) -> None:
    bench.shop.write_text(SHOP[: SHOP.index("[carriage]")], encoding="utf-8")
    text = " ".join(bench.readings("screw", screw_readings(bench, "1.004"), "--yes").split())
    assert "The readout is off by +4.0" in text
    assert "linear compensation" in text
    assert read_history(bench.shop)[0].key == ""


def test_a_zero_is_shown_and_noted_and_nothing_is_written(bench: Bench) -> None:
    places = read_places(bench.board("zero"), "zero", read_shop(bench.shop))
    readings = {p.label: f"{float(p.x) - 3.2 + 0.15:.2f}" for p in places}
    text = " ".join(bench.readings("zero", readings, "--yes").split())
    assert "Zero offset: 0.1487 mm" in text, "0.15 as the caliper rounds it"
    assert "set its reading there to 0.149 mm" in text
    assert bench.shop.read_text(encoding="utf-8") == SHOP
    assert [e.kind for e in read_history(bench.shop)] == ["zero"]


@pytest.mark.parametrize(("off", "home_reads"), [("0.15", "-2.851"), ("-0.15", "-3.148"), ("0.00", "-3")])
def test_where_a_switch_gives_zero_its_reading_is_written(bench: Bench, off: str, home_reads: str) -> None:
    """Each place lies about 0.15 mm beside what it reads, to a step of the caliper, and so does the switch."""
    drive = '[carriage.drive]\nport = "/dev/ttyUSB0"\nhome_reads = -3\n'
    bench.shop.write_text(SHOP + "travel = [-3, 290]\n" + drive, encoding="utf-8")
    places = read_places(bench.board("zero"), "zero", read_shop(bench.shop))
    readings = {p.label: f"{float(p.x) - 3.2 + float(off):.2f}" for p in places}
    bench.readings("zero", readings, "--yes")
    drive_now = read_shop(bench.shop).carriage.drive
    assert drive_now is not None and drive_now.home_reads == Fraction(home_reads)
    if off != "0.00":
        bench.run("zero", "--undo", "--yes")
        assert f"home_reads = {-3}" in bench.shop.read_text(encoding="utf-8")


def test_backlash_by_cuts_and_by_a_gauge_agree(bench: Bench) -> None:
    cuts = {f"{letter}{n}": {"1": "9.59", "2": "9.43"}[n] for letter in "ABCD" for n in "12"}
    data = json.loads(bench.readings("backlash", cuts, "--json", code=1))
    assert data["value"] == pytest.approx(0.08)
    words = [
        word
        for x in (10, 20, 30)
        for word in ("--reading", f"{x} up={x}.00", "--reading", f"{x} down={x}.0{8 + x % 2}")
    ]
    gauge = json.loads(bench.run("backlash", *words, "--json", "--yes"))
    assert gauge["value"] == pytest.approx(0.08)
    assert float(read_shop(bench.shop).carriage.backlash) == pytest.approx(0.08)


def test_play_that_the_shop_file_states_and_nothing_shows_any_more_is_replaced(bench: Bench) -> None:
    bench.shop.write_text(SHOP.replace("[carriage]", "[carriage]\nbacklash = 0.05"), encoding="utf-8")
    readings = ("10 up=10.00", "10 down=10.01", "20 up=20.01", "20 down=20.00", "30 up=29.99", "30 down=30.00")
    bench.run("backlash", *(word for reading in readings for word in ("--reading", reading)), "--yes")
    assert float(read_shop(bench.shop).carriage.backlash) == pytest.approx(0.01 / 3, abs=0.0005)


@pytest.mark.parametrize("state", ["none", "0.05"])
def test_less_play_than_none_is_refused_and_nothing_overwritten(bench: Bench, state: str) -> None:
    """Readings taken coming up and coming down, exchanged."""
    if state != "none":
        bench.shop.write_text(SHOP.replace("[carriage]", f"[carriage]\nbacklash = {state}"), encoding="utf-8")
    before = bench.shop.read_text(encoding="utf-8")
    cuts = {f"{letter}{n}": {"1": "9.43", "2": f"9.5{k}"}[n] for k, letter in enumerate("ABCD", 6) for n in "12"}
    text = " ".join(bench.readings("backlash", cuts, "--yes", code=2).split())
    assert "play can't be below zero (got -0.0" in text and "coming up and coming down were exchanged" in text
    assert bench.shop.read_text(encoding="utf-8") == before and read_history(bench.shop) == []


def test_the_history_and_an_undo_are_not_asked_for_at_once(bench: Bench) -> None:
    text = bench.run("kerf", "--history", "--undo", code=2)
    assert "--history" in text and "give one of them at a time" in text


# Fingers that disagree


@pytest.fixture
def old(bench: Bench) -> Bench:
    write(bench.folder, READOUT, "shop.toml")
    write(bench.folder, EIGHT_AND_TWO, "kerf.toml")
    return bench


def test_readings_of_a_board_of_eight_and_two_still_make_a_kerf(old: Bench) -> None:
    old.readings("kerf", OLD, "--yes")
    assert float(read_shop(old.shop).blade.kerf) == pytest.approx(3.076, abs=0.01)


def test_of_two_long_fingers_that_disagree_none_is_chosen(old: Bench) -> None:
    """28.91 is right and 29.90 misread. Leaving out the right one makes 3.51 of a kerf of 3.07."""
    text = old.readings("kerf", MISREAD, "--yes", code=2)
    assert "the readings with a spacing of 32 mm disagree, and too few agree to show which are right" in text
    assert "(got J 28.91 mm, K 29.9 mm); zero the caliper, measure J, K again, and give all readings again" in text
    assert "left out" not in text, "the right one may be the one that was to go"
    assert text.count("\n") == 1
    assert old.shop.read_text(encoding="utf-8") == READOUT
    assert not history_path(old.shop).exists()


def test_read_twice_over_the_misread_one_of_four_is_left_out(old: Bench) -> None:
    once = [word for place, value in OLD.items() for word in ("--reading", f"{place}={value}")]
    text = " ".join(old.readings("kerf", MISREAD, *once, code=1).split())
    assert "left out: K, 29.9 mm" in text
    assert "Kerf: 3.066" in text


def test_both_long_fingers_misread_alike_are_a_screw_far_off(old: Bench) -> None:
    """They agree, so nothing is left out; but no kerf is taken from a carriage that is so far off."""
    text = old.readings("kerf", {**OLD, "J": "29.90", "K": "29.90"}, "--yes", code=2)
    assert "by these readings the carriage moves 4.4" in text and "% further than it is set" in text
    assert "calibrate the screw first (kerfcall calibrate screw), then the kerf again" in text
    assert not history_path(old.shop).exists()


def test_a_long_finger_alone_makes_no_kerf(old: Bench) -> None:
    text = old.readings("kerf", {k: v for k, v in OLD.items() if k != "J"}, "--yes", code=2)
    assert "there is no other place with a spacing of about 32 mm, so a mistake in it would not show" in text
    assert "K 28.92 mm" in text


def test_fewer_long_fingers_than_agree_are_not_outvoted(bench: Bench) -> None:
    """Two of five: three and two may each be right."""
    text = bench.readings("kerf", {**KERF, "G": "28.97", "J": "28.96"}, "--yes", code=2)
    assert "the readings with a spacing of 31.75 mm disagree" in text
    assert "measure F, G, H, J, K again" in text


def test_a_whole_spacing_is_not_left_out(old: Bench) -> None:
    """Both long fingers read in inches: each is named with what may have happened; nothing is made of the rest."""
    text = old.readings("kerf", {**OLD, "J": "1.14", "K": "1.14"}, "--yes", code=2)
    assert "all readings with a spacing of 32 mm would be left out" in text
    assert text.count("it fits if read as inches, not mm") == 2


def test_readings_of_another_board_are_refused(bench: Bench) -> None:
    """Those of eight short fingers and two long ones, given for five and five; and five long ones read in inches."""
    text = bench.readings("kerf", OLD, "--yes", code=2)
    assert "the readings with a spacing of 31.75 mm disagree" in text and "H 6.94 mm, J 28.91 mm" in text
    text = bench.readings("kerf", {**KERF, **dict.fromkeys("FGHJK", "1.12")}, "--yes", code=2)
    assert "less far than it is set, which no screw does" in text
    assert "check that the readings are from this board, with the right letters and unit" in text


# A kerf that jumps: to 3.6 mm from 3.2

JUMP = {place: f"{float(value) - 0.42:.2f}" for place, value in KERF.items()}


def test_yes_alone_writes_no_jump(bench: Bench) -> None:
    text = " ".join(bench.readings("kerf", JUMP, "--yes", code=1).split())
    assert "That would change the kerf by 0.4 mm, which is a lot for one blade. Measure again" in text
    assert 'Not written: the kerf would move by 0.4 mm. Measure again, or allow it with --most-change "0.4 mm".' in text
    assert bench.shop.read_text(encoding="utf-8") == SHOP
    assert not history_path(bench.shop).exists()


def test_a_jump_is_written_where_it_is_allowed(bench: Bench) -> None:
    bench.readings("kerf", JUMP, "--yes", "--most-change", "0.39", code=1)
    assert read_shop(bench.shop).blade.kerf == Fraction("3.2")
    text = bench.readings("kerf", JUMP, code=1)
    assert 'Write blade.kerf = 3.6 into shop.toml (it is 3.2) with --yes --most-change "0.4 mm".' in text
    bench.readings("kerf", JUMP, "--yes", "--most-change", "0.4 mm")
    assert read_shop(bench.shop).blade.kerf == Fraction("3.6")


@pytest.mark.parametrize(("typed", "written"), [("yes\nyes\n", True), ("yes\n", False), ("y\nno\n", False)])
def test_a_jump_is_asked_about_twice(typed: str, written: bool, bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.board("kerf")
    at_terminal(monkeypatch, typed)
    text = bench.readings("kerf", JUMP, code=0 if written else 1)
    assert "That moves the kerf by 0.4 mm. Measure again, or say yes to write it. Type yes or no:" in text
    assert read_shop(bench.shop).blade.kerf == Fraction("3.6" if written else "3.2")


def test_how_far_a_kerf_may_move_means_nothing_elsewhere(bench: Bench) -> None:
    for kind in ("screw", "zero", "backlash"):
        refused = f"calibrate {kind}: --most-change: means nothing here; use it with calibrate kerf or calibrate fit"
        assert refused in bench.run(kind, "--most-change", "0.5", code=2)
    assert "--most-change" in bench.run("kerf", "--most-change", "far", code=2)


# Something else measured


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_cuts_measured_in_place_of_the_wood_are_named_and_no_kerf_is_advised(unit: str, bench: Bench) -> None:
    if unit == "in":
        bench.shop.write_text('unit = "in"\n[blade]\nkerf = "1/8"\n', encoding="utf-8")
    wide = {"mm": "3.18", "in": "0.125"}[unit]
    before = bench.shop.read_text(encoding="utf-8")
    text = bench.readings("kerf", dict.fromkeys(KERF, wide), "--yes", code=2)
    assert f"the cuts seem to have been measured, not the wood between them (got about {wide} {unit} each)" in text
    assert "measure the wood between two cuts with the outside jaws" in text
    assert "blade.kerf" not in text and text.count("\n") == 1
    assert bench.shop.read_text(encoding="utf-8") == before and not history_path(bench.shop).exists()


def test_cuts_of_one_spacing_without_a_board_are_named_too(bench: Bench) -> None:
    """By the spacing less the reading the kerf would be 16.8 mm."""
    words = [word for value in ("3.18", "3.2", "3.19", "3.18") for word in ("--reading", f"20={value}")]
    text = bench.run("kerf", *words, "--yes", code=2)
    assert "the cuts seem to have been measured" in text and "blade.kerf" not in text


def test_some_cuts_among_the_wood_are_named_beside_what_disagrees(bench: Bench) -> None:
    text = bench.readings("kerf", {**KERF, **dict.fromkeys("FGH", "3.18")}, "--yes", code=2)
    assert "at some places the cut seems to have been measured, not the wood beside it (got F, G, H)" in text


def test_wood_and_cut_measured_together_is_no_advice_for_the_kerf(bench: Bench) -> None:
    """From wall to wall the reading is the spacing, and the kerf seems to be nothing."""
    values = {place: f"{float(value) + 3.18:.2f}" for place, value in KERF.items()}
    text = bench.readings("kerf", values, code=2)
    assert "that each is only the wood between two cuts" in text and "blade.kerf" not in text


def test_cuts_measured_on_a_backlash_board_are_named(bench: Bench) -> None:
    """They are all alike, which would look like a screw without play."""
    cuts = {f"{letter}{n}": "3.18" for letter in "ABCD" for n in "12"}
    assert "the cuts seem to have been measured" in bench.readings("backlash", cuts, "--yes", code=2)


def zero_readings(bench: Bench, *far: str) -> dict[str, str]:
    """Distances from the reference edge, to the far wall at these places."""
    path = bench.folder / "zero.toml"
    places = read_places(path if path.exists() else bench.board("zero"), "zero", read_shop(bench.shop))
    return {p.label: f"{float(p.x) - (0 if p.label in far else 3.18):.2f}" for p in places}


def test_a_zero_measured_to_the_far_walls_is_named_and_no_offset_is_advised(bench: Bench) -> None:
    text = bench.readings("zero", zero_readings(bench, *"ABCDEF"), "--yes", code=2)
    assert "the zero is off by nearly a kerf: did you measure to the other side of the kerf?" in text
    assert "set its reading" not in text and not history_path(bench.shop).exists()


def test_far_walls_among_near_ones_are_named(bench: Bench) -> None:
    text = bench.readings("zero", zero_readings(bench, "B"), "--yes")
    assert "B: about a kerf away from the others. Were they taken on the other side of the kerf?" in text
    text = bench.readings("zero", zero_readings(bench, "B", "D", "E"), "--yes", code=2)
    assert "some readings are about a kerf away from the others: were they taken on the other side of the kerf?" in text


# Readings


def test_readings_from_csv(bench: Bench) -> None:
    """Semicolons, remarks and a byte order mark, as a spreadsheet writes them, tell the same."""
    bench.board("kerf")
    rows = "".join(f"{place};{value}\n" for place, value in KERF.items())
    file = write(bench.folder, "\ufeff# today\nPlace;Reading\n" + rows, "readings.csv")
    words = ("kerf", "--plan", str(bench.folder / "kerf.toml"), "--json")
    by_csv = bench.run(*words, "--csv", str(file), code=1)
    assert json.loads(by_csv) == json.loads(bench.readings("kerf", KERF, "--json", code=1))


def test_every_fault_of_the_readings_is_reported_at_once(bench: Bench) -> None:
    bench.board("kerf")
    file = write(bench.folder, "place,reading\nA,6.34\nQ,9.5\nB,nine\n", "readings.csv")
    words = ("--reading", "C", "--reading", "D=9,5", "--csv", str(file))
    lines = bench.run("kerf", "--plan", str(bench.folder / "kerf.toml"), *words, code=2).splitlines()
    assert len(lines) == 4
    assert 'is not a reading (got "C")' in lines[0]
    assert "write a decimal point, not a comma" in lines[1]
    assert 'readings.csv: line 3: there is no such place (got "Q"); the places are A, B' in lines[2]
    assert "readings.csv: line 4: the reading: this is not a length" in lines[3]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "has no readings"),
        ("A,6.34\n", "the heading has no columns place and reading"),
        (b"\xff\xfe", "not UTF-8 text"),
    ],
)
def test_what_is_no_csv_of_readings(text: str | bytes, fault: str, bench: Bench) -> None:
    file = write(bench.folder, text, "readings.csv")
    assert fault in bench.run("kerf", "--csv", str(file), code=2)


def test_without_a_board_and_readings_it_tells_what_to_give(bench: Bench) -> None:
    assert "there is nothing to calibrate from" in bench.run("kerf", code=2)


def test_two_hundred_readings_are_enough(bench: Bench) -> None:
    """As many are computed in a few seconds; of more the first too many is named, once."""
    rows = ["place,reading", *(f"{x},{x - 3.18:.2f}" for x in range(10, 110) for _ in range(2))]
    file = write(bench.folder, "\n".join(rows), "readings.csv")
    assert json.loads(bench.run("kerf", "--csv", str(file), "--json", code=1))["value"] == pytest.approx(3.18)
    file = write(bench.folder, "\n".join([*rows, "10,6.82", "10,6.82"]), "readings.csv")
    (line,) = bench.run("kerf", "--csv", str(file), code=2).splitlines()
    assert "readings.csv: line 202: there are over 200 readings" in line


def at_terminal(monkeypatch: pytest.MonkeyPatch, typed: str) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr(sys, "stdin", Terminal(typed))


def test_readings_are_asked_for_at_a_terminal(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """A slip is asked for again, "-" goes back, Enter leaves out, "." ends; the value is confirmed by a yes."""
    board = bench.board("kerf")
    at_terminal(
        monkeypatch, "6.34\nnine\n6.25\n-\n6.35\n6.34\n\n6.34\n28.57\n28.56\n28.57\n28.56\n28.57\n6.34\n.\nyes\n"
    )
    text = bench.run("kerf", "--plan", str(board))
    assert "A again, the wood between cuts 1 and 2:" in text
    assert "A, the wood between cuts 1 and 2:" in text
    assert "From 9 places." in text
    assert "6.2500" not in text
    assert read_shop(bench.shop).blade.kerf != Fraction("3.2")


def test_anything_but_yes_writes_nothing(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.board("kerf")
    at_terminal(monkeypatch, "\nyep\nno\n")
    bench.readings("kerf", KERF, code=1)
    assert bench.shop.read_text(encoding="utf-8") == SHOP


# Options and pictures


def test_options_of_fit_mean_nothing_elsewhere(bench: Bench) -> None:
    text = bench.run("kerf", "--gap", "0.1", "--wanted", "0.1", code=2)
    assert "--gap: means nothing here" in text
    assert "--wanted: means nothing here" in text


def test_another_blade_is_noted_by_its_name(bench: Bench) -> None:
    bench.readings("kerf", KERF, "--yes", "--new-blade", "thin one")
    assert [(e.kind, e.blade) for e in read_history(bench.shop)] == [("blade", "thin one"), ("kerf", "thin one")]
    text = bench.readings("kerf", KERF, "--yes", "--new-blade", "thin one", code=2)
    assert "a new blade needs a new name" in text


def test_a_plot_as_svg(bench: Bench) -> None:
    """A mark for each reading that counted, at the height of its residual."""
    path = bench.folder / "plot.svg"
    data = json.loads(bench.readings("kerf", KERF, "--json", "--plot", str(path), code=1))
    space = "{http://www.w3.org/2000/svg}"
    circles = list(ET.parse(path).getroot().iter(f"{space}circle"))
    spots = list(dict.fromkeys((row["x"], round(row["residual"], 6)) for row in data["readings"]))
    assert len(circles) == len(spots) < len(KERF), "readings on the same spot share a mark"
    heights = [float(circle.get("cy", "")) for circle in circles]
    zero = 180
    assert [(zero - height) > 0 for height in heights] == [residual > 0 for _, residual in spots]
    assert heights.index(min(heights)) == [r for _, r in spots].index(max(r for _, r in spots))


def test_a_plot_as_png_is_the_svg_in_pixels(bench: Bench) -> None:
    """Marks, band and white lie where they lie in the SVG: both are written from one drawing."""
    image = pytest.importorskip("matplotlib.image")
    svg, png = bench.folder / "plot.svg", bench.folder / "plot.png"
    for path in (svg, png):
        bench.readings("kerf", KERF, "--plot", str(path), code=1)
    root = ET.parse(svg).getroot()
    pixels = (image.imread(png)[..., :3] * 255).round().astype(int)
    height, width = pixels.shape[:2]
    assert root.get("viewBox") == f"0 0 {width} {height}"
    (band,) = (one for one in root.iter("{http://www.w3.org/2000/svg}rect") if one.get("class") == "band")
    dark = (pixels == (0x22, 0x33, 0x44)).all(axis=2)
    circles = [
        (float(c.get("cx", "")), float(c.get("cy", ""))) for c in root.iter("{http://www.w3.org/2000/svg}circle")
    ]
    for x, y in circles:
        assert dark[int(y), int(x)]
        dark[int(y) - 6 : int(y) + 7, int(x) - 6 : int(x) + 7] = False
    assert circles and not dark.any(), "no other marks"
    left, top = float(band.get("x", "")), float(band.get("y", ""))
    inside, outside = pixels[int(top) + 3, int(left) + 3], pixels[int(top) - 3, int(left) + 3]
    assert (tuple(inside), tuple(outside)) == ((0xDD, 0xE6, 0xEE), (255, 255, 255))


def test_without_matplotlib_a_png_names_what_to_install(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.board("kerf")
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    text = bench.readings("kerf", KERF, "--plot", str(bench.folder / "plot.png"), code=3)
    assert "pip install 'kerfcall[plots]'" in text


def test_another_picture_is_refused(bench: Bench) -> None:
    bench.board("kerf")
    assert "a picture must be .svg or .png" in bench.readings("kerf", KERF, "--plot", "plot.jpg", code=2)
