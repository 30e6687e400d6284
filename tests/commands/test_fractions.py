"""On a scale of 64ths a setting is the same fraction wherever it is shown or spoken, and never a decimal."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from num2words import num2words

from assistant.commands.layout import layout_json, table
from assistant.drawings.cut_sheet import cut_sheet
from assistant.drawings.flow import Sheet
from assistant.drawings.sheets import sheets
from assistant.journal import account
from assistant.plans.boards import board_list
from assistant.plans.job_json import fraction_text, job_from_json, job_to_json
from assistant.plans.model import Job, Plan
from assistant.plans.plan_file import read_both
from assistant.screens.page.picture import board_of, state_of
from assistant.screens.plain import place_line
from assistant.screens.view_gauges import Gauges
from assistant.screens.view_heading import heading_of
from assistant.screens.view_page import PageComposer
from assistant.screens.view_sight import Gathering
from assistant.screens.view_words import next_of, setting_text
from assistant.session import effects as e
from assistant.session.due import PassStep, steps
from assistant.wording.prompts import Words
from tests.drawings.drawn import texts
from tests.plans.files import DEMO, write
from tests.session.driver import Driver

INCH = Fraction(254, 10)
SHOP = """
unit = "in"
[blade]
kerf = "1/8"
[carriage]
resolution = "RESOLUTION"
travel = [-1, 14]
backlash = "1/32"
[voice]
reads = "READS"
"""
NAMES = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second", 64: "sixty-fourth"}


def made(folder: Path, resolution: str = "1/64", reads: str = "digits") -> tuple[Plan, Job]:
    from assistant.plans.job import build_job

    shop = write(folder, SHOP.replace("RESOLUTION", resolution).replace("READS", reads), "shop.toml")
    plan, read = read_both(DEMO / "spice-drawer-inch.toml", shop)
    # The clearance that rounding to 1/64 in leaves is shown in decimals: it is on no scale.
    return plan, replace(build_job(plan, read), warnings=())


def figure(setting: Fraction) -> str:
    """By hand: "13 1/64", from the setting in mm."""
    whole, parts = divmod(abs(setting) / INCH * 64, 64)
    assert parts.denominator == 1
    rest = Fraction(parts, 64)
    text = " ".join([str(whole)] * bool(whole or not rest) + [f"{rest.numerator}/{rest.denominator}"] * bool(rest))
    return "-" * (setting < 0) + text


def in_words(setting: Fraction) -> str:
    """The same as it is said, by a reference library."""
    whole, rest = divmod(abs(setting) / INCH, 1)
    part = f"{num2words(rest.numerator)} {NAMES[rest.denominator]}{'s' * (rest.numerator > 1)}" if rest else ""
    if not rest:
        text = f"{num2words(int(whole))} inch{'' if whole == 1 else 'es'}"
    else:
        text = f"{num2words(int(whole))} and {part} inches" if whole else f"{part} of an inch"
    return "minus " * (setting < 0) + text


def settings_of(job: Job) -> list[tuple[Fraction, Fraction | None]]:
    """(setting, the point to come up from) of every pass, in cutting order."""
    return [(step.pass_.setting, step.approach) for step in steps(job) if isinstance(step, PassStep)]


def of_layout(job: Job, plan: Plan) -> list[str]:
    """Of rows "pass socket SETTING from to notes", the columns two spaces apart at least."""
    rows = (re.split(r" {2,}", line.strip()) for line in table(job, plan, board_list(plan)))
    return [row[2] for row in rows if len(row) >= 4 and row[0].isdigit() and row[1].isdigit()]


def of_cut_sheet(job: Job, plan: Plan) -> tuple[list[str], str]:
    """The large figures, and all its text."""
    pages = cut_sheet(job, board_list(plan), Sheet.of("a4")).pages
    items = [item for page in pages for item in page.items]
    large = [text.text for text in texts(items) if text.cap == 4.0 and not text.text.startswith("Setup")]
    return large, " ".join(text.text for text in texts(items))


def seen(job: Job) -> Iterator[tuple[Fraction, Fraction | None, dict[str, str]]]:
    """Every pass of a whole session: its setting, the way to it, and the words of each screen and of the voice."""
    driver, gathering, words, page = Driver(job), Gathering(), Words(job), PageComposer()
    said = ""

    def take() -> None:
        nonlocal said
        for effect in driver.effects:
            if isinstance(effect, e.Say):
                said = words.say(effect.prompts)
                gathering.said(words.shown(effect.prompts), effect.klass, words.recorded(effect.prompts))
            if isinstance(effect, e.Show):
                gathering.show(effect.view, words.one(effect.line) if effect.line else None, words)

    take()
    for _ in settings_of(job):
        while driver.state.effective_mode == "checks":
            driver.gesture("hold", after=job.run_down_s)
            take()
        sight = gathering.sight
        assert sight.view and sight.words and sight.view.pass_
        canvas = page.compose(sight, Gauges(), 100, 40)
        yield (
            sight.view.setting,
            sight.view.approach,
            {
                "voice": said,
                "terminal": "\n".join(canvas.text(row) for row in range(40)),
                "words": f"{setting_text(sight.view, sight.words)}; {next_of(sight.view, sight.words)}",
                "big": " ".join(heading_of(sight.view, sight.words).left),
                "plain": place_line(sight.view, sight.words),
                "page": json.dumps(state_of(sight), ensure_ascii=False).replace("\u00a0", " "),
                "reading": state_of(sight)["reading"],
            },
        )
        driver.gesture("tap")
        take()


@pytest.mark.parametrize("reads", ["digits", "words", "fractions"])
def test_one_fraction_everywhere(tmp_path: Path, reads: str) -> None:
    plan, job = made(tmp_path, reads=reads)
    wanted = settings_of(job)
    figures = [figure(setting) for setting, _ in wanted]
    assert len(set(figures)) > 20 and any(approach is not None for _, approach in wanted)
    assert of_layout(job, plan) == figures
    data = layout_json(job)
    passes = [one for stage in data["stages"] for setup in stage["setups"] for one in setup["passes"]]
    assert [one["reading"] for one in passes] == figures
    assert [one["spoken"].partition(":")[0] for one in passes] == [in_words(setting) for setting, _ in wanted]
    large, sheet = of_cut_sheet(job, plan)
    assert large == figures
    ways = [figure(approach) for _, approach in wanted if approach is not None]
    assert re.findall(r"Before pass \d+: (?:up|down) to (\S+(?: \d+/\d+)?), so", sheet) == ways
    for (setting, approach), (called, past, screens) in zip(wanted, seen(job), strict=True):
        assert (called, past) == (setting, approach)
        shown = figure(setting)
        assert in_words(setting) in screens["voice"].lower()
        joined = shown.replace(" ", "-")
        first = "" if past is None else f"1 DOWN TO {figure(past).replace(' ', '-')} 2 UP TO "
        assert (screens["big"], screens["reading"]) == (first + joined, joined)
        assert f"SET {shown}," in screens["plain"]
        set_to = screens["words"]
        assert f"{shown} in;" in set_to and (past is None or f" TO {figure(past)}, then" in set_to)
        if past is not None:
            assert f"{in_words(abs(setting - past))} below, then up to {in_words(setting)}" in screens["voice"].lower()
            lines = [" ".join(line) for line in json.loads(screens["page"])["big"]]
            assert " ".join(lines).replace("-", " ") == screens["big"].replace("-", " ")
        for name in ("voice", "terminal", "words", "big", "plain", "reading"):
            # The clearance, said and shown at the start, is no setting: it is shown as the plan has it.
            text = screens[name].replace("0.004 in", "")
            assert not re.search(r"\d\.\d\d|\bpoint\b", text), (name, screens[name])


def test_the_journal_and_a_resumed_session_show_the_same(tmp_path: Path) -> None:
    _, job = made(tmp_path)
    again = job_from_json(json.loads(json.dumps(job_to_json(job))))
    assert again == job
    for setting, _ in settings_of(again):
        assert account.setting(fraction_text(setting), again.carriage) == f"{figure(setting)} in"


def test_blade_heights_are_fractions_then_as_well(tmp_path: Path) -> None:
    """A depth of 3/8 and 1/64 in, and one of 1/2 and 1/64 in."""
    plan, job = made(tmp_path)
    layout = "\n".join(table(job, plan))
    _, sheet = of_cut_sheet(job, plan)
    drawn = [text.text for page in sheets(plan, job, "a4") for text in texts(page.items)]
    for depth in ("25/64 in", "33/64 in"):
        assert f"cut {depth} deep" in layout and depth in sheet and f"{depth} deep" in drawn
    assert {board_of(job, setup.number)["depth_text"] for setup in job.setups} == {"25/64 in", "33/64 in"}


def test_what_is_left_beyond_a_64th_is_said_and_shown_alike(tmp_path: Path) -> None:
    """A readout in thousandths, read in fractions: the nearest 64th, and so many thousandths."""
    plan, job = made(tmp_path, "0.001", "fractions")
    shown = of_layout(job, plan)
    large, _ = of_cut_sheet(job, plan)
    assert large == shown
    rest = re.compile(r"(-?\d+(?: \d+/\d+)?|-?\d+/\d+)(?: ([+-]) 0\.(\d{3}))?")
    between = 0
    for text, (setting, _, screens) in zip(shown, seen(job), strict=True):
        found = rest.fullmatch(text)
        assert found, text
        fraction = sum(map(Fraction, found[1].split()), Fraction(0))
        said = in_words(fraction * INCH)
        if found[2]:
            between += 1
            left = Fraction(f"{found[2]}0.{found[3]}")
            thousandths = abs(int(found[3]))
            sign = "plus" if left > 0 else "minus"
            said += f", {sign} {num2words(thousandths)} thousandth{'' if thousandths == 1 else 's'}"
            assert abs(fraction + left - setting / INCH) <= Fraction(1, 2000)
        assert said in screens["voice"].lower()
        assert f"{text} in;" in screens["words"] and f"SET {text}," in screens["plain"]
        joined = re.sub(r"(?<=\d) (?=\d+/)", "-", text)
        assert screens["big"].rpartition(" 2 UP TO ")[2] == screens["reading"] == joined
    assert between > 10


@pytest.mark.parametrize(
    ("resolution", "fractions"), [("1/64", True), ("1/16", True), ("1/128", False), ("0.001", False)]
)
def test_which_scales_are_of_64ths(tmp_path: Path, resolution: str, fractions: bool) -> None:
    _, job = made(tmp_path, resolution)
    assert job.carriage.fractions == fractions
    assert (job.voice.reads == "fractions") == fractions


def test_a_setting_beyond_the_travel_is_named_as_it_is_shown(tmp_path: Path) -> None:
    from assistant.errors import BadInput
    from assistant.plans.job import build_job
    from assistant.plans.shop_file import read_shop

    plan, _ = made(tmp_path)
    shop = read_shop(tmp_path / "shop.toml")
    shop = replace(shop, carriage=replace(shop.carriage, travel=(Fraction(0), INCH * Fraction(129, 64))))
    with pytest.raises(BadInput) as caught:
        build_job(plan, shop)
    assert "travel of 0 in to 2 1/64 in" in str(caught.value) and re.search(
        r"got 3 \d+/\d+ in\)|got 3 in\)|got 3 1/2", str(caught.value)
    )
