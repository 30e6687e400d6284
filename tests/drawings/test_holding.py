"""What the figure of a board held shows is what is said, asked and printed: for every setup of every demo plan."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import pytest

from assistant.drawings.cut_sheet import cut_sheet
from assistant.drawings.flow import Sheet
from assistant.drawings.holding import Holding, holding_of
from assistant.drawings.holding_letters import in_letters
from assistant.drawings.holding_picture import TURNING, WIDE, picture
from assistant.drawings.picture import Item, Shape, Text
from assistant.joinery.model import Carriage
from assistant.plans.boards import board_list
from assistant.plans.checks import DEFAULT_CHECKS, EDGE_AND_FACE, figures_of
from assistant.plans.model import Job, Plan
from assistant.session.calling import clamp_prompt
from assistant.session.effects import prompt
from assistant.session.turn import view, way_prompt
from assistant.wording.numbers import spoken_number
from assistant.wording.prompts import Words
from tests.drawings.demos import HEIGHT, IN_HALVES, IN_TURN, REACH, demo, other_side
from tests.drawings.drawn import job_of, plan_of, texts
from tests.session.driver import Driver
from tests.session.jobs import at_setup, few_checks
from tests.session.jobs import job as small_job


@dataclass(frozen=True)
class Read:
    """What a text or a figure tells whoever reads it. end and face: 0 and "" for a slotted side.

    between: what lies between stop and edge, "bar", "piece" or "". other: whether the other edge is at the stop.
    """

    side: str
    between: str
    other: bool
    end: int
    face: str
    turned: bool
    reach: str
    height: str


NUMBERS = {"one": 1, "two": 2, "1": 1, "2": 2}


def in_words(text: str, reach: str, height: str) -> Read:
    """Read out of sentences that have these figures in them."""
    end = re.search(r"\bend (one|two|1|2) down", text, re.I)
    slotted = "slotted side down" in text.lower()
    assert bool(end) != slotted
    assert reach in text and f"up to {height}" in text
    side, between, other, face = edge_and_face(text)
    return Read(
        side, between, other, NUMBERS[end[1].lower()] if end else 0, face, "end over end" in text.lower(), reach, height
    )


def edge_and_face(text: str) -> tuple[str, str, bool, str]:
    """(the stop's side, what lies before it, whether the other edge does, the face to the backing) out of sentences."""
    side = re.search(r"\b(left|right) stop", text)
    face = re.search(r"\b(marked|other) face (?:to|against) the backing", text, re.I)
    assert side
    between = "bar" if "setting bar" in text else "piece" if "distance piece at the" in text else ""
    assert between != "piece" or re.search(r"edge (?:to|against) the distance piece at the (?:left|right) stop", text)
    other = re.search(r"\bother edge (?:to|against) the", text, re.I)
    return side[1], between, bool(other), face[1].lower() if face else ""


def box(items: list[Item] | tuple[Item, ...], layer: str) -> tuple[float, float, float, float]:
    """The sides of all shapes of a layer together."""
    points = [point for item in items if isinstance(item, Shape) and item.layer == layer for point in item.points]
    assert points, layer
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def in_picture(holding: Holding) -> Read:
    """Read off the figure's lines and words, by where they are and never by how they were made."""
    items = picture(holding).items
    stop, wood, edge, backing = (box(items, layer) for layer in ("stop", "wood", "edge", "backing"))
    side = "left" if stop[2] <= wood[0] else "right"
    assert side == "left" or stop[0] >= wood[2]
    between = next((layer for layer in ("bar", "piece") if any(item.layer == layer for item in items)), "")
    # From the stop, or what is in front of it, the board goes on without a gap.
    held = box(items, between) if between else stop
    touching = (held[2], wood[0]) if side == "left" else (held[0], wood[2])
    assert touching[0] == pytest.approx(touching[1])
    words = {text.text: text for text in texts(items)}
    other = "OTHER EDGE" in words
    at_left = edge[0] == pytest.approx(wood[0])
    assert at_left != (edge[2] == pytest.approx(wood[2])), "the reference edge is one of the board's"
    assert at_left == ((side == "left") != other), "and lies at the stop, unless the other one does"
    ends = [text for text in words if re.fullmatch("END [12]", text)]
    faces = {name: words.get(f"{name.upper()} FACE") for name in ("marked", "other")}
    face = ""
    if all(faces.values()):
        far = {name: abs(text.at[1] - words["BACKING"].at[1]) for name, text in faces.items() if text}
        face = min(far, key=lambda name: far[name])
        thick = box(items, "face")
        assert (thick[1] == pytest.approx(backing[3])) == (face == "marked"), "the marked face is the thick one"
    label = " ".join(text.text for text in texts(items) if text.layer == "clear")
    found = re.fullmatch(rf"NO CLAMP ({REACH}) (?:up to ({HEIGHT})|({HEIGHT}) high)", label)
    assert found, label
    turned = {"TURN END", "OVER END", "NEVER", "SPIN"} <= words.keys()
    assert turned == any(item.layer == "turn" for item in items)
    return Read(side, between, other, int(ends[0][-1]) if ends else 0, face, turned, found[1], found[2] or found[3])


def in_cells(lines: list[str]) -> Read:
    """Read off the letters."""
    rows = "\n".join(lines)
    edge = re.search("◄(?:OTHER )?EDGE|(?:OTHER )?EDGE►", rows)
    assert edge
    side = "left" if edge[0][0] == "◄" else "right"
    row = next(line for line in lines if edge[0] in line)
    other = "OTHER EDGE" in rows
    thick, thin = ("│", "█") if other else ("█", "│")
    pointed = f"{thick}{edge[0]}" if side == "left" else f"{edge[0]}{thick}"
    assert pointed in row, "the reference edge, which is thick, is where the arrow points, or else at the far side"
    assert row.count("█") <= 3
    assert row.rstrip().endswith(thin) if side == "left" else row.lstrip().startswith(thin)
    column = row.index(pointed) - 1 if side == "left" else row.index(pointed) + len(pointed)
    letters = {line[column] for line in lines if column < len(line)} - {"▒", "═", " ", "▲"}
    between = "bar" if letters & {"▓"} and letters <= set("▓BAR") else "piece" if letters <= set("▓PIECE") else ""
    between = between if letters - {"│"} else ""
    at_backing = next(before for before, line in pairwise(lines) if "BACKING" in line)
    faces = [name for name in ("marked", "other") if f"{name.upper()} FACE" in at_backing]
    end = re.search("END ([12])▼|▼END ([12])", rows)
    found = re.search(rf"(?<![/\d]){REACH}(?![/\d])", rows)
    height = re.search(rf"up to ({HEIGHT})(?![/\d])", rows)
    assert found and height, rows
    return Read(
        side,
        between,
        other,
        int(end[1] or end[2]) if end else 0,
        faces[0] if faces else "",
        "TURN END" in rows and "OVER END" in rows,
        found[0],
        height[1],
    )


def asked(job: Job, number: int, figures: bool) -> str:
    """The question about edge and face in full, as it is shown or said."""
    check = next(check for check in job.checks if check.name == EDGE_AND_FACE)
    setup = job.setups[number - 1]
    values: dict[str, Any] = figures_of(job, job.pattern_of(number))
    one = prompt("check", name=check.name, say=check.say, whole=True, end=setup.end, half=setup.half, **values)
    return Words(job, figures=figures).one(one)


def printed(plan: Plan, job: Job) -> dict[int, str]:
    """The cut sheet's own words on clamping, by setup; without those within the figure, which are in capitals."""
    found: dict[int, list[str]] = {}
    number = 0
    for page in cut_sheet(job, board_list(plan), Sheet.of("a4")).pages:
        for text in texts(page.items):
            if heading := re.match(r"Setup (\d+) of ", text.text):
                number = int(heading[1])
            found.setdefault(number, []).append(text.text)
    return {
        n: match[1]
        for n, lines in found.items()
        if n and (match := re.search(r"(Clamped: .*? above the bed\.)", " ".join(lines)))
    }


@pytest.mark.parametrize(("plan", "shop"), [*IN_TURN, *IN_HALVES])
def test_the_figure_shows_what_is_said_asked_and_printed(plan: str, shop: str) -> None:
    a_plan, job = demo(plan, shop)
    unasked = replace(job, checks=tuple(check for check in job.checks if check.name != EDGE_AND_FACE))
    sheet = printed(a_plan, job)
    assert list(sheet) == [setup.number for setup in job.setups]
    for setup in job.setups:
        number = setup.number
        holding = holding_of(job, setup)
        reach, height = holding.reach, holding.height
        drawn = in_picture(holding)
        # The voice: the board with how it is held, and the question, both in words.
        clamp = clamp_prompt(at_setup(unasked, number), whole=True)
        said = Words(unasked).one(clamp)
        if job.carriage.unit == "mm":
            low, high = reach.removesuffix(" mm").split(" to ")
            spoken = [f"{spoken_number(low)} to {spoken_number(high)}", spoken_number(height.removesuffix(" mm"))]
            assert f"Keep clear: {spoken[0]} millimetres, up to {spoken[1]} above the bed." in said
            said += f" Keep clear: {reach}, up to {height}"
        else:
            said += f" Keep clear: {reach}, up to {height}"
        assert in_words(said, reach, height) == drawn
        for figures in (False, True):
            assert edge_and_face(asked(job, number, figures)) == (drawn.side, drawn.between, drawn.other, drawn.face)
        exact = dict(clamp.figures)
        assert (holding.lowest, holding.highest, holding.above) == (exact["lowest"], exact["highest"], exact["above"])
        way = Words(job, figures=True).one(way_prompt(job, number))
        assert replace(in_words(f"{way} {reach} up to {height}", reach, height), turned=holding.turned) == drawn
        assert in_words(sheet[number], reach, height) == drawn
        assert in_words(holding.words, reach, height) == drawn
        for columns, rows in ((40, 14), (40, 10), (38, 12)):
            assert in_cells(in_letters(holding, columns, rows)) == drawn


@pytest.mark.parametrize(("plan", "shop"), [*IN_TURN, *IN_HALVES])
def test_along_the_board_everything_is_to_scale(plan: str, shop: str) -> None:
    """Measured on the figure and turned back into millimetres: what to keep clear, and the first kerf."""
    _, job = demo(plan, shop)
    for setup in job.setups:
        holding = holding_of(job, setup)
        items = picture(holding).items
        wood, clear, blade = (box(items, layer) for layer in ("wood", "clear", "blade"))
        scale = float(holding.width) / (wood[2] - wood[0])

        def off_the_edge(left: float, right: float) -> tuple[float, float]:
            if holding.stop_side == "left":  # noqa: B023
                return (left - wood[0]) * scale, (right - wood[0]) * scale  # noqa: B023
            return (wood[2] - right) * scale, (wood[2] - left) * scale  # noqa: B023

        pattern = job.pattern_of(setup.number)
        kerfs = [(float(one.kerf_from), float(one.kerf_to)) for one in pattern.passes]
        swept = min(kerf[0] for kerf in kerfs), max(kerf[1] for kerf in kerfs)
        assert off_the_edge(clear[0], clear[2]) == pytest.approx(swept)
        assert sum(off_the_edge(blade[0], blade[2])) / 2 == pytest.approx(sum(kerfs[0]) / 2)
        # The blade stands as high in the rectangle as the cut is deep below what must be clear.
        deep = [s for s in items if isinstance(s, Shape) and s.layer == "blade" and min(y for _, y in s.points) < 5]
        top = max(y for _, y in deep[0].points)
        assert (top - clear[1]) / (clear[3] - clear[1]) == pytest.approx(float(holding.depth / holding.above))


Drawn = tuple[str, str, tuple[tuple[float, float], ...]]
"""The layer, the text if there is one, and the points; of a text its two ends."""


def drawn_by(items: tuple[Item, ...], from_x: float) -> list[Drawn]:
    """All that lies wholly beyond `from_x`."""
    found: list[Drawn] = []
    for item in items:
        if isinstance(item, Text):
            x, y = item.start
            ends = ((x - item.cap, y), (x, y)) if item.turned else ((x, y), (x + item.width, y))
            found.append((item.layer, item.text, ends))
        else:
            found.append((item.layer, "", item.points if isinstance(item, Shape) else (item.a, item.b)))
    return [each for each in found if all(x >= from_x for x, _ in each[2])]


def same(one: Drawn, other: Drawn) -> bool:
    if one[:2] != other[:2] or len(one[2]) != len(other[2]):
        return False
    return all(any(abs(x - u) + abs(y - v) < 1e-6 for u, v in other[2]) for x, y in one[2])


@pytest.mark.parametrize(("plan", "shop"), [*IN_TURN, *IN_HALVES])
def test_a_mirrored_setup_draws_a_mirrored_figure(plan: str, shop: str) -> None:
    """The stop on the other side: everything is exchanged, but no word reads backwards and no turn runs backwards."""
    _, job = demo(plan, shop)
    mirrored = other_side(job)
    for one, other in zip(job.setups, mirrored.setups, strict=True):
        here, there = holding_of(job, one), holding_of(mirrored, other)
        assert here.stop_side != there.stop_side
        left = TURNING if here.turned else 0.0
        middle = (left + WIDE) / 2
        these, those = (drawn_by(picture(each).items, left) for each in (here, there))
        assert len(these) == len(those)
        for layer, text, points in these:
            image = layer, text, tuple((2 * middle - x, y) for x, y in points)
            assert any(same(image, each) for each in those), image
        if here.turned:
            assert reference_edges(here) != reference_edges(there)
            turns = [[t for t in texts(picture(each).items) if t.start[0] < left] for each in (here, there)]
            assert [text.text for text in turns[0]] == [text.text for text in turns[1]]


def reference_edges(holding: Holding) -> list[str]:
    """On which side each of the two boards beside the arrow has its thick edge."""
    shapes = [item for item in picture(holding).items if isinstance(item, Shape) and item.layer == "turn"]
    found = []
    for board in (shape for shape in shapes if not shape.black and len(shape.points) == 4):
        left, right = min(x for x, _ in board.points), max(x for x, _ in board.points)
        for bar in (shape for shape in shapes if shape.black and len(shape.points) == 4):
            near, far = min(x for x, _ in bar.points), max(x for x, _ in bar.points)
            if left <= near and far <= right:
                found.append("left" if near - left < right - far else "right")
    assert len(found) == 2
    return found


def test_the_turn_keeps_the_edge_at_the_stop_and_brings_the_other_end_down() -> None:
    """By hand: end 1 was down; end 2 is. The thick edge is on the stop's side in both frames, left before right."""
    for side in ("left", "right"):
        job = job_of(plan_of(), Carriage(stop_side=side))
        holding = holding_of(job, job.setups[1] if job.setups[1].end == 2 else job.setups[2])
        assert holding.turned and reference_edges(holding) == [side, side]
        ends = sorted((t.at[0], -t.at[1], t.text) for t in texts(picture(holding).items) if t.text in ("1", "2"))
        assert [text for _, _, text in ends] == ["2", "1", "1", "2"], "from the top, in the left frame, then the right"


def test_a_stack_is_drawn_board_by_board_all_the_same_way() -> None:
    plan = plan_of(boards=tuple(replace(board, count=3, ends=2, stack=3) for board in plan_of().boards))
    job = job_of(plan)
    for setup in job.setups:
        holding = holding_of(job, setup)
        assert holding.copies == 3
        items = picture(holding).items
        assert "3 BOARDS" in [text.text for text in texts(items)]
        boards = [box((item,), "wood") for item in items if isinstance(item, Shape) and item.layer == "wood"]
        faces = [box((item,), "face") for item in items if isinstance(item, Shape) and item.layer == "face"]
        assert len(boards) == len(faces) == 3
        for board, face in zip(boards, faces, strict=True):
            at_backing = face[1] == pytest.approx(board[1])
            assert at_backing == (setup.end == 1)


def test_the_words_say_how_many_boards_are_clamped_together() -> None:
    _, job = demo("tea-trays", "shop-readout")
    words = [holding_of(job, setup).words for setup in job.setups]
    assert words[-1].startswith("2 boards clamped together. End 2 down, reference edge to the left stop, other face")
    assert words[0].startswith("End 1 down, reference edge to the left stop, marked face to the backing. Keep clear: 5")


def seen(driver: Driver) -> tuple[Holding, str, str]:
    """The figure of the state, and all its words: as a picture and in letters."""
    job, setup = driver.state.the_job, driver.state.setup
    holding = holding_of(job, job.setups[setup - 1], view(driver.state))
    return holding, " ".join(text.text for text in texts(picture(holding).items)), "".join(in_letters(holding, 40, 14))


@pytest.mark.parametrize("checks", ["all", "few"])
def test_what_is_clamped_is_not_to_be_turned_again_and_its_bar_is_out(checks: str) -> None:
    """A whole session: the turn is shown until the check that decides is confirmed, and never from then on."""
    carriage = Carriage(register="setting bar")
    job = small_job(checks=DEFAULT_CHECKS if checks == "all" else few_checks(), carriage=carriage)
    decides = {"edge and face", "setting bar out"} if checks == "all" else {"clamps", "clamps and guard"}
    driver = Driver(job)
    turns = 0
    confirmed: set[str] = set()
    setup = 1
    while driver.state.mode != "finished":
        if driver.state.setup != setup:
            setup, confirmed = driver.state.setup, set()
        holding, words, letters = seen(driver)
        due = decides - confirmed if checks == "all" else set() if decides & confirmed else decides
        to_clamp = driver.state.mode == "checks" and bool(due) and not driver.state.cut
        assert holding.clamped != to_clamp, (driver.asked, confirmed)
        second = job.setups[setup - 1].end == 2
        for shown in (words, letters):
            assert ("TURN END" in shown) == (second and to_clamp), (driver.asked, confirmed)
        assert ("Turn it" in holding.words) == (second and to_clamp)
        assert ("BAR" in words) == to_clamp and ("▓" in letters) == to_clamp
        turns += second and to_clamp
        if driver.state.mode == "checks":
            confirmed.add(driver.asked)
            driver.gesture("hold", after=job.run_down_s)
        else:
            driver.gesture("tap")
    assert turns >= 2


def test_standing_by_and_going_back_ask_for_no_turn() -> None:
    driver = Driver(small_job())
    while driver.state.setup < 2:
        driver.gesture("hold" if driver.state.mode == "checks" else "tap", after=12.0)
    driver.confirm_all()
    assert driver.state.the_setup.end == 2 and driver.state.mode == "cutting"
    driver.cut()
    driver.gesture("hold")
    assert driver.state.mode == "standing by" and "TURN" not in seen(driver)[1]
    driver.gesture("hold")
    assert driver.state.mode == "checks" and "TURN" not in seen(driver)[1]
    driver.confirm_all()
    driver.heard("back")
    driver.gesture("hold")
    assert not driver.state.cut and "TURN" not in seen(driver)[1]
    driver.resume()
    assert "TURN" not in seen(driver)[1]
