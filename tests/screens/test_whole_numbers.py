"""No quantity on a screen or sheet is split over two lines, however wide the page is."""

from __future__ import annotations

import io
import os
import re
from dataclasses import replace
from fractions import Fraction

import pytest

from assistant.drawings.letters import width_of
from assistant.drawings.letters import wrapped as on_paper
from assistant.joinery.model import Carriage
from assistant.joinery.settings import read_as
from assistant.plans.model import Job
from assistant.screens import view_letters as letters
from assistant.screens.plain import PlainScreen
from assistant.screens.view_cells import cut_to, wrapped
from assistant.screens.view_gauges import Gauges
from assistant.screens.view_heading import heading_of
from assistant.screens.view_page import PageComposer
from assistant.screens.view_sight import Gathering, Sight
from assistant.session import effects as e
from assistant.wording.prompts import YES_NO, Words
from tests.session.driver import Driver
from tests.session.jobs import HANDWHEEL, job, plan

WIDTHS = range(40, 201)
INCHES = Carriage(unit="in", resolution=Fraction(254, 10_000), travel=(Fraction(-10), Fraction(400)))
JOBS = {
    "mm": job(plan(width=84, parts="A")),
    "inches": job(plan(width=84, parts="A"), carriage=INCHES),
    "dial": job(plan(width=84, parts="A"), carriage=HANDWHEEL),
}
FRACTIONS = replace(
    JOBS["inches"],
    carriage=read_as(INCHES, "fractions"),
    voice=replace(JOBS["inches"].voice, reads="fractions"),
)

# What must stay together, by a different rule than the product's: any two words that are both numbers, or a
# number and its unit.
FIGURE = re.compile(r"^[-(]?\d[\d./]*[,;:.?)]*$")
DIGIT_WORD = re.compile(
    r"^(zero|one|two|three|four|five|six|seven|eight|nine|point|minus|[a-z]+ty-[a-z]+)[,;:.?]*$", re.IGNORECASE
)
UNIT = re.compile(r"^(mm|in|turns?|marks?|steps|millimetres?|inch|inches)[,;:.?)]*$")


def together(text: str) -> set[tuple[str, str]]:
    """Neighbouring words that must stay on one line."""
    words = text.split()
    found = set()
    for before, after in zip(words, words[1:], strict=False):
        stopped = before[-1] in ",;:.?)"
        for kind in (FIGURE, DIGIT_WORD):
            one, other = bool(kind.match(before)), bool(kind.match(after))
            if not stopped and one and (other or UNIT.match(after)):
                found.add((before, after))
        if before in ("mark", "+") and (FIGURE.match(after) or DIGIT_WORD.match(after)):
            found.add((before, after))
    return found


def torn_off(short: str, text: str, pairs: set[tuple[str, str]]) -> str:
    """The end of a text that was cut short, if the cut is in a number or between a number and its unit."""
    if not short.endswith("…"):
        return ""
    kept, words = short.removesuffix("…").split(), text.split()
    if not kept:
        return ""
    last, whole = kept[-1], words[len(kept) - 1]
    half = FIGURE.match(whole) and last.rstrip(",;:.?)") != whole.rstrip(",;:.?)")
    following = words[len(kept)] if len(kept) < len(words) else ""
    return short if half or (last, following) in pairs else ""


def test_what_must_stay_together_by_a_second_rule() -> None:
    assert together("clear, 1 3/16 to 3 5/16 in? then mark two one") == {
        ("1", "3/16"), ("3", "5/16"), ("5/16", "in?"), ("mark", "two"), ("two", "one"),
    }  # fmt: skip
    told = "to 12.35 mm now"
    pairs = together(told)
    assert torn_off("to 12.3…", told, pairs) and torn_off("to 12.35…", told, pairs)
    assert not torn_off("to 12.35 mm…", told, pairs) and not torn_off("to…", told, pairs)


def broken(lines: list[str]) -> set[tuple[str, str]]:
    ends = zip(lines, lines[1:], strict=False)
    return {(a.split()[-1], b.split()[0]) for a, b in ends if a.strip() and b.strip()}


def walked(a_job: Job) -> tuple[Job, list[e.Prompt], list[Sight]]:
    """Everything said in a session with detours, and what is shown after each turn."""
    driver, gathering, words = Driver(a_job), Gathering(), Words(a_job)
    prompts: list[e.Prompt] = []
    sights: list[Sight] = []

    def take() -> None:
        for effect in driver.effects:
            if isinstance(effect, e.Say):
                prompts.extend(effect.prompts)
                gathering.said(words.shown(effect.prompts), effect.klass, words.recorded(effect.prompts))
            if isinstance(effect, e.Show):
                gathering.show(effect.view, words.one(effect.line) if effect.line else None, words)
        sights.append(gathering.sight)

    take()
    while driver.state.effective_mode == "checks":
        driver.gesture("hold")
        take()
    for gesture in ("double", "tap", "tap"):
        driver.gesture(gesture)
        take()
    driver.heard("back")
    take()
    driver.gesture("hold")
    take()
    driver.resume()
    take()
    return a_job, prompts, sights


SESSIONS = [walked(each) for each in (*JOBS.values(), FRACTIONS)]
# In every run each session is looked at on every seventh width, the next one beginning one further on.
steps = pytest.mark.parametrize("step", [7, pytest.param(1, marks=pytest.mark.long)])


@steps
@pytest.mark.parametrize("number", range(len(SESSIONS)))
def test_no_line_of_a_real_prompt_ends_in_a_quantity_at_any_width(number: int, step: int) -> None:
    a_job, prompts, _ = SESSIONS[number]
    texts = {Words(a_job).shown((each,)) for each in prompts}
    kept = {text: together(text) for text in texts}
    assert sum(map(len, kept.values())) > 15
    for text, pairs in kept.items():
        for columns in WIDTHS[number % step :: step]:
            lines = wrapped(text, columns - 4)
            assert not pairs & broken(lines), (columns, lines)
            assert not torn_off(cut_to(text, columns), text, pairs), columns
        for most in (90.0, 120.0, 179.0):
            lines = on_paper(text, 3.0, most)
            assert not pairs & broken(lines) and all(width_of(line, 3.0) <= most for line in lines)


@steps
@pytest.mark.parametrize("number", range(len(SESSIONS)))
def test_no_quantity_is_split_on_a_page_of_any_width(number: int, step: int) -> None:
    _, _, sights = SESSIONS[number]
    for sight in sights:
        assert sight.view and sight.words
        texts = [sight.asking, sight.setting, *(entry.text for entry in (*sight.log, *sight.opening))]
        pairs = set().union(*map(together, texts))
        for columns in WIDTHS[number % step :: step]:
            for rows in (24,) if columns % 8 else (12, 24, 40):
                canvas = PageComposer().compose(sight, Gauges(), columns, rows)
                lines = [canvas.text(row) for row in range(rows)]
                assert not pairs & broken(lines), (columns, rows, lines)


def test_plain_lines_on_a_terminal_of_any_width_keep_quantities_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    a_job, prompts, _ = SESSIONS[2]
    texts = {Words(a_job).shown((each,)) for each in prompts}
    for columns in WIDTHS:
        monkeypatch.setattr("shutil.get_terminal_size", lambda columns=columns: os.terminal_size((columns, 24)))
        for text in texts:
            out = Terminal()
            PlainScreen(out, keys=False).said(text, "setting", "")
            lines = out.getvalue().splitlines()
            assert all(len(line) <= columns for line in lines)
            assert not together(text) & broken(lines), (columns, lines)
            # What a gesture does is shown beside the place.
            assert " ".join(out.getvalue().split()) == ">> " + " ".join(text.removesuffix(YES_NO).split())


def test_in_big_letters_a_fraction_is_joined_to_its_whole_number_and_a_span_has_its_to() -> None:
    assert letters.plain_capitals("3 3/16 in") == "3-3/16 IN"
    assert letters.plain_capitals("3/16 to 3 5/16 in") == "3/16 TO 3-5/16 IN"
    assert letters.plain_capitals("side 1 of 2") == "SIDE 1 OF 2"
    figures = [
        " ".join(heading_of(sight.view, sight.words).left)
        for _, _, sights in SESSIONS[1:]
        for sight in sights
        if sight.view and sight.words and sight.view.check == "clamps"
    ]
    assert figures and all(re.search(r"\d TO \d+-\d+/\d+ IN BELOW \d+-\d+/\d+ IN$", each) for each in figures), figures
