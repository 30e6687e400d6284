"""How old each calibration is, and whether squareness was checked."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from assistant.__main__ import main
from assistant.calibrating.health import OLD_AFTER_DAYS, PARTS, ages, ago, kerf_days
from assistant.calibrating.values import KINDS
from assistant.health import BROKEN, LIMITED, WORKS, Finding
from assistant.plans.shop_file import read_shop
from assistant.plans.shop_writer import history_path, read_history, record, undo

NOW = datetime(2027, 3, 1, 12, 0, tzinfo=UTC)
SHOP = 'unit = "mm"\n[blade]\nkerf = 3.18   # by hand\n[carriage]\nkind = "handwheel"\npitch = 2\ndivisions = 100\n'
KEYS = {"kerf": "blade.kerf", "screw": "carriage.pitch", "zero": "", "backlash": "carriage.backlash"}
VALUES = {"kerf": "3.176", "screw": "2.003", "zero": "", "backlash": "0.05"}


def utc(days: float) -> str:
    """This many days before NOW."""
    return (NOW - timedelta(days=days)).strftime("%Y-%m-%dT%H:%M:%SZ")


class Bench:
    """A shop file and its history."""

    def __init__(self, folder: Path):
        self.shop = folder / "shop.toml"
        self.shop.write_text(SHOP, encoding="utf-8")

    def calibrate(self, kind: str, days: float = 1, blade: str = "", value: str | None = None) -> None:
        text = VALUES[kind] if value is None else value
        record(self.shop, kind, utc(days), blade, {"value": 1.0, "u": 0.004}, key=KEYS[kind], value=text)

    def new_blade(self, name: str, days: float) -> None:
        record(self.shop, "blade", utc(days), name, {})

    def lines(self) -> dict[str, Finding]:
        found = ages(read_shop(self.shop), NOW)
        assert tuple(line.part for line in found) == PARTS
        assert all(line.mend or line.state == WORKS for line in found)
        return {line.part: line for line in found}


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_what_was_never_calibrated_is_limited_to_what_is_written(bench: Bench) -> None:
    lines = bench.lines()
    assert {line.state for line in lines.values()} == {LIMITED}
    assert lines["kerf"].text == "not calibrated: using 3.18 mm from the shop file"
    assert lines["backlash"].text == "not calibrated: using 0 mm from the shop file"
    for kind in KINDS:
        assert f"kerfcall calibrate {kind}" in lines[kind].mend
        assert lines[kind].data["days"] is None and lines[kind].data["limit_days"] == OLD_AFTER_DAYS[kind]


@pytest.mark.parametrize("kind", KINDS)
def test_each_calibration_has_its_age_and_its_limit(bench: Bench, kind: str) -> None:
    bench.calibrate(kind, OLD_AFTER_DAYS[kind])
    line = bench.lines()[kind]
    assert line.state == WORKS and f"calibrated {OLD_AFTER_DAYS[kind]} days ago" in line.text
    assert line.data["days"] == OLD_AFTER_DAYS[kind] and line.data["utc"] == utc(OLD_AFTER_DAYS[kind])


@pytest.mark.parametrize("kind", KINDS)
def test_past_its_limit_a_calibration_is_old(bench: Bench, kind: str) -> None:
    bench.calibrate(kind, OLD_AFTER_DAYS[kind] + 1)
    line = bench.lines()[kind]
    assert line.state == LIMITED and f"over {OLD_AFTER_DAYS[kind]} days" in line.text
    assert [other.data["days"] for name, other in bench.lines().items() if name != kind] == [None] * 4


def test_the_newest_one_in_force_counts(bench: Bench) -> None:
    bench.calibrate("kerf", 300)
    bench.calibrate("kerf", 2, value="3.17")
    assert bench.lines()["kerf"].text == "3.17 mm, calibrated 2 days ago"


def test_a_calibration_taken_back_is_shown_as_such(bench: Bench) -> None:
    bench.calibrate("kerf", 20)
    undo(bench.shop, "kerf", utc(5))
    line = bench.lines()["kerf"]
    assert (line.state, line.text) == (LIMITED, "taken back 5 days ago: using 3.18 mm from the shop file")
    assert line.data["taken_back_utc"] == utc(5)


def test_an_earlier_one_is_in_force_again_when_a_later_one_was_taken_back(bench: Bench) -> None:
    bench.calibrate("kerf", 20)
    bench.calibrate("kerf", 3, value="3.3")
    undo(bench.shop, "kerf", utc(1))
    line = bench.lines()["kerf"]
    assert (line.state, line.text) == (
        WORKS,
        "3.176 mm, calibrated 20 days ago; a later calibration was taken back 1 day ago",
    )


def test_another_blade_since_makes_kerf_and_zero_doubtful_and_nothing_else(bench: Bench) -> None:
    for kind in KINDS:
        bench.calibrate(kind, 10)
    bench.new_blade("thin one", 2)
    lines = bench.lines()
    assert {kind: lines[kind].state for kind in KINDS} == {
        **dict.fromkeys(("kerf", "zero"), LIMITED),
        **dict.fromkeys(("screw", "backlash"), WORKS),
    }
    assert '"thin one", the blade on the saw now' in lines["kerf"].text
    bench.calibrate("kerf", 1, "thin one", "2.4")
    assert bench.lines()["kerf"].state == WORKS


def test_a_value_changed_by_hand_since_is_reported(bench: Bench) -> None:
    bench.calibrate("kerf", 10)
    bench.shop.write_text(bench.shop.read_text(encoding="utf-8").replace("3.176", "3.25"), encoding="utf-8")
    line = bench.lines()["kerf"]
    assert line.state == LIMITED and "since then blade.kerf was changed by hand: 3.176 to 3.25" in line.text


def test_a_kerf_that_was_measured_as_written_and_changed_by_hand_since_is_reported(bench: Bench) -> None:
    """Nothing had to be written then, so the history has no key to compare with."""
    record(bench.shop, "kerf", utc(3), "", {"value": 3.1812, "u": 0.004})
    assert bench.lines()["kerf"].state == WORKS
    bench.shop.write_text(SHOP.replace("3.18", "2.4"), encoding="utf-8")
    assert bench.lines()["kerf"].state == LIMITED


def test_a_date_that_lies_ahead_puts_the_clock_in_doubt(bench: Bench) -> None:
    bench.calibrate("screw", -40)
    line = bench.lines()["screw"]
    assert line.state == LIMITED and "the clock was wrong" in line.text


def test_a_damaged_history_is_broken_with_what_to_do(bench: Bench) -> None:
    bench.calibrate("kerf")
    history_path(bench.shop).write_text('{"version": 99}\n', encoding="utf-8")
    lines = bench.lines()
    assert {line.state for line in lines.values()} == {BROKEN}
    assert "line 1 is damaged" in lines["kerf"].text and "remove that line" in lines["kerf"].mend


def test_an_unreadable_date_breaks_only_its_own_line(bench: Bench) -> None:
    bench.calibrate("kerf")
    bench.calibrate("screw")
    history_path(bench.shop).write_text(
        history_path(bench.shop).read_text(encoding="utf-8").replace(utc(1), "one day", 1), encoding="utf-8"
    )
    lines = bench.lines()
    assert (lines["kerf"].state, lines["screw"].state) == (BROKEN, WORKS)


def test_without_a_shop_nothing_is_known() -> None:
    assert [(line.part, line.state) for line in ages(None)] == [(part, LIMITED) for part in PARTS]


@pytest.mark.parametrize(("days", "words"), [(0.9, "today"), (1.0, "1 day ago"), (2.99, "2 days ago"), (-3, "today")])
def test_ages_in_words(days: float, words: str) -> None:
    assert ago(days) == words


# --- squareness


def noted(bench: Bench, degrees: str, capsys: pytest.CaptureFixture[str], *more: str) -> str:
    assert main(["ready", "--square", degrees, "--shop", str(bench.shop), *more]) == 0
    return capsys.readouterr().out


def test_squareness_never_checked_says_how_to_check_and_how_to_note_it(bench: Bench) -> None:
    line = bench.lines()["square"]
    assert line.state == LIMITED and "not checked" in line.text
    assert "square to blade and table" in line.mend and "kerfcall ready --square DEGREES" in line.mend


def test_a_check_is_noted_and_the_shop_file_is_left_as_it_is(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    assert "0.03 degrees off square" in noted(bench, "0.03", capsys)
    assert bench.shop.read_text(encoding="utf-8") == SHOP
    (entry,) = read_history(bench.shop)
    assert (entry.kind, entry.key, entry.data) == ("square", "", {"degrees": 0.03})
    (line,) = [line for line in ages(read_shop(bench.shop)) if line.part == "square"]
    assert (line.state, line.text) == (WORKS, "0.03 degrees out, checked today")
    assert line.data["degrees"] == 0.03


def test_a_check_is_noted_for_other_programs(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    shown = json.loads(noted(bench, "0", capsys, "--json"))
    assert shown == {"noted": "square", "degrees": 0.0, "utc": read_history(bench.shop)[0].utc}


def test_a_check_does_not_disturb_the_calibrations(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    bench.calibrate("kerf", 2)
    noted(bench, "0.02", capsys)
    assert bench.lines()["kerf"].state == WORKS
    undo(bench.shop, "kerf", utc(0))
    assert main(["calibrate", "kerf", "--history", "--shop", str(bench.shop)]) == 0
    assert "square" not in capsys.readouterr().out


def test_a_lean_of_more_than_a_quarter_of_the_usual_clearance_is_too_much(bench: Bench) -> None:
    """(Blade tilt + carriage error) x depth <= c/4. tan(0.0716 degrees) x 20 mm = 0.025 mm = 0.10 mm / 4."""
    for degrees, state in ((0.0716, WORKS), (0.0717, LIMITED), (1.0, LIMITED)):
        record(bench.shop, "square", utc(1), "", {"degrees": degrees})
        assert bench.lines()["square"].state == state
    assert "leans 0.349 mm" in bench.lines()["square"].text


def test_a_check_grows_old(bench: Bench) -> None:
    record(bench.shop, "square", utc(OLD_AFTER_DAYS["square"] + 1), "", {"degrees": 0})
    assert bench.lines()["square"].state == LIMITED


@pytest.mark.parametrize("data", [{}, {"degrees": "none"}, {"degrees": None}, {"degrees": float("nan")}])
def test_an_unreadable_check_is_broken(bench: Bench, data: dict[str, object]) -> None:
    record(bench.shop, "square", utc(1), "", data)
    assert bench.lines()["square"].state == BROKEN


@pytest.mark.parametrize("degrees", ["-0.1", "10.1", "nan", "inf"])
def test_a_figure_that_is_not_a_lean_is_refused(bench: Bench, degrees: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ready", f"--square={degrees}", "--shop", str(bench.shop)]) == 2
    assert "give 0 to 10" in capsys.readouterr().err
    assert read_history(bench.shop) == []


def test_square_and_pedal_do_not_go_together(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ready", "--square", "0", "--pedal"]) == 2
    assert "--square" in capsys.readouterr().err


def test_the_kerfs_age_in_whole_days(bench: Bench) -> None:
    """What a session says at its start: of the kerf in use, measured with the blade on the saw, and nothing else."""

    def days() -> int | None:
        return kerf_days(read_shop(bench.shop), NOW)

    def measured(value: float, text: str, ago: float, blade: str = "") -> None:
        record(bench.shop, "kerf", utc(ago), blade, {"value": value, "u": 0.004}, key="blade.kerf", value=text)

    assert days() is None
    measured(3.1764, "3.176", 12.9)
    assert days() == 12
    measured(3.1812, "3.181", -3)
    assert days() == 0, "the clock was wrong"
    undo(bench.shop, "kerf", utc(0))
    assert days() == 12, "the one before counts again"
    bench.new_blade("thin one", 2)
    assert days() is None
    measured(2.404, "2.404", 1.5, "thin one")
    assert days() == 1
    bench.shop.write_text(bench.shop.read_text("utf-8").replace("2.404", "2.5"), encoding="utf-8")
    assert days() is None, "changed by hand, and so not measured"
    history_path(bench.shop).write_text("[]\n", encoding="utf-8")
    assert days() is None, "no reason to refuse a cut"
