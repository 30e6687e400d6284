"""The cut sheet: the whole job on paper, to cut by if the computer fails.

It lists every setup, check and pass in cutting order, with the carriage's reading and a box to tick, and the cautions.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby

from assistant.drawings.flow import Flow, Sheet, column_widths
from assistant.drawings.holding import holding_of, keep_clear
from assistant.drawings.holding_picture import picture
from assistant.drawings.letters import width_of, wrapped
from assistant.drawings.picture import BIG, CAP, Item, Picture, Text, rectangle
from assistant.joinery.model import Carriage, CarriageKind, Zero
from assistant.joinery.settings import reading
from assistant.joinery.sizes import ListRow, RowKind
from assistant.joinery.units import plain_length
from assistant.plans.model import Job, Setup
from assistant.session.asked import question_of
from assistant.session.due import CheckStep, PassStep, Step, steps
from assistant.session.table import numbered
from assistant.session.turn import prompt, way_prompt
from assistant.wording import dial
from assistant.wording.halves import to_the_stop, which_half
from assistant.wording.prompts import Words

TICK = 4.2
ROW = 6.6
# A setup with more boxes than this never fits on one page. BEGINNING is the room it needs to start on a page, mm.
MOST_WHOLE, BEGINNING = 160, 80.0
SET_TO = "set to"
FIGURE, BESIDE = 0.5, 5.0
"""Of the figure's size, so that its smallest letters can be read at arm's length; its distance from the text, mm."""
HOW = (
    "Work down the boxes in order and tick each one when you have done it. Skip none. For each pass: set the "
    "carriage, start the saw, cut, draw right back clear of the blade, tick. Settings are absolute: never add them up."
)
ON_PAPER = (
    "On paper you do the counting yourself. If you are unsure about a box, stop. Switch the saw off and isolate it, "
    "then try the stopped blade in the last kerf, at the setting for that kerf, before you go on."
)
TURNED_OVER = (
    "Turn the board end over end: same edge {stop}, other face to the backing. Never spin it on its face: that "
    "mirrors the pattern."
)


def cut_sheet(job: Job, boards: Sequence[ListRow], sheet: Sheet) -> Flow:
    """The pages of the cut sheet."""
    flow = Flow("cut sheet", sheet)
    words = Words(job)
    flow.paragraph("Cut sheet", cap=5.0, bold=True, gap=3)
    flow.paragraph(words.one(prompt("cautions")), bold=True)
    flow.paragraph(HOW)
    flow.paragraph(ON_PAPER, gap=4)
    _figures(flow, job)
    _to_prepare(flow, job, boards)
    stage = 0
    for number, group in groupby(steps(job), key=lambda step: step.setup.number):
        setup, steps_of = job.setups[number - 1], list(group)
        if setup.stage != stage and len(job.stages) > 1:
            if stage:
                flow.paragraph(words.one(prompt("stage over", stage=stage)), bold=True)
            stage = setup.stage
            flow.add(Picture((), 0, 3), 0)
            # A stage's heading is never left behind at the foot of the page before.
            flow.need(_height(job, words, setup, steps_of, flow) + 14)
            flow.paragraph(f"Stage {stage}: {job.stages[stage - 1]}", cap=BIG, bold=True)
        flow.need(_height(job, words, setup, steps_of, flow))
        _setup(flow, job, words, setup, steps_of)
    _tick(flow, words.one(prompt("finished")))
    return flow


def _figures(flow: Flow, job: Job) -> None:
    unit, carriage = job.carriage.unit, job.carriage
    place = "just outside" if carriage.zero == Zero.OUTSIDE else "flush inside"
    if carriage.kind == CarriageKind.HANDWHEEL:
        settings = f"full turns from zero + mark, {carriage.divisions} marks a turn. Up means towards larger settings"
    else:
        settings = "steps from zero" if carriage.kind == CarriageKind.STEPS else f"in {unit}"
    flow.paragraph(f"Kerf {plain_length(job.kerf, unit)}, clearance {plain_length(job.clearance, unit)}.", gap=0)
    flow.paragraph(f"At zero the kerf lies {place} the reference edge. Settings: {settings}.", gap=0)
    flow.paragraph(f"{len(job.order)} setups, {job.total_passes} passes.", gap=3)
    for line in job.warnings:
        flow.paragraph(f"Warning: {line}", gap=1)


def _to_prepare(flow: Flow, job: Job, boards: Sequence[ListRow]) -> None:
    unit = job.carriage.unit
    flow.paragraph("Boards to prepare. Mark the reference edge and one face of each.", bold=True, gap=1)
    for row in boards:
        length = "" if row.length is None else f", {plain_length(row.length, unit)} long"
        blank = " blank of lining wood, at least this size" if row.kind == RowKind.BLANK else ""
        size = f"{plain_length(row.width, unit)} wide, {plain_length(row.thickness, unit)} thick{length}"
        _tick(flow, f"{row.count} x {row.name}{blank} (part {row.part}): {size}")


def _setup(flow: Flow, job: Job, words: Words, setup: Setup, due: Sequence[Step]) -> None:
    flow.add(Picture((), 0, 2), 0)
    last = setup.first_copy + setup.copies - 1
    which = f"{setup.first_copy}" if setup.copies == 1 else f"{setup.first_copy} to {last}, clamped together"
    end = "" if job.slotted else f", end {setup.end}"
    number = numbered(setup.number, job.order.index(setup.number) + 1, len(job.order))
    heading = f"Setup {number}: {setup.board} {which}; part {setup.part}{end}{which_half(setup)}"
    flow.paragraph(heading, cap=BIG, bold=True, gap=0)
    held = words.one(way_prompt(job, setup.number))
    holding = holding_of(job, setup)
    stop = to_the_stop(job.carriage.register, half=setup.half)
    turned = f" {TURNED_OVER.format(stop=stop)}" if holding.turned else ""
    figure = picture(holding).scaled(FIGURE)
    room = flow.sheet.inner - figure.width - BESIDE
    clear = keep_clear(setup, holding.reach, holding.height)
    column = [_ticked(f"Clamped: {held}.{turned}", room), _lines(clear, room)]
    # Figures are in digits, as a session shows them on a screen. Numbers in words are for the ear.
    in_figures = Words(job, figures=True)

    def question(step: CheckStep, width: float) -> Picture:
        asked = in_figures.one(question_of(job, setup, step.check, step.tried))
        return _ticked(f"{step.check.name}: {asked}", width)

    left = list(due)
    # The first checks go beside the figure, as many as have room there.
    while left and isinstance(left[0], CheckStep):
        following = question(left[0], room)
        if sum(each.height for each in (*column, following)) > figure.height:
            break
        column.append(following)
        del left[0]
    flow.add(_beside(column, figure), 1)
    for _, group in groupby(left, key=type):
        steps_of = list(group)
        for step in steps_of:
            if isinstance(step, CheckStep):
                flow.add(question(step, flow.sheet.inner), 0)
        if passes := [step for step in steps_of if isinstance(step, PassStep)]:
            _passes(flow, job.carriage, passes)


def _height(job: Job, words: Words, setup: Setup, due: Sequence[Step], flow: Flow) -> float:
    """The room to ask for, mm: the whole setup if one page can hold it, so that it isn't split, else its beginning."""
    if len(due) > MOST_WHOLE:
        return BEGINNING
    trial = Flow(flow.name, flow.sheet)
    trial.new_page()
    _setup(trial, job, words, setup, due)
    return BEGINNING if len(trial.pages) > 1 else trial.sheet.room - trial.left


def _tick(flow: Flow, text: str) -> None:
    flow.add(_ticked(text, flow.sheet.inner), 0)


def _ticked(text: str, width: float) -> Picture:
    """A box to tick, with the text beside it in as many lines as it needs."""
    lines = wrapped(text, CAP, width - TICK - 3)
    high = max(5.4 * len(lines), 5.4) + 0.8
    items: list[Item] = [rectangle(0, high - TICK - 0.6, TICK, high - 0.6)]
    items += [Text((TICK + 3, high - 4.4 - 5.4 * n), line, CAP) for n, line in enumerate(lines)]
    return Picture(tuple(items), width, high)


def _lines(text: str, width: float) -> Picture:
    """Bold text in as many lines as it needs."""
    lines = wrapped(text, CAP, width, True)
    high = 5.4 * len(lines) + 1.4
    items = [Text((0, high - 4.4 - 5.4 * n), line, CAP, bold=True) for n, line in enumerate(lines)]
    return Picture(tuple(items), width, high)


def _beside(column: Sequence[Picture], figure: Picture) -> Picture:
    """A column of text, and a figure at its right."""
    width = max(each.width for each in column)
    high = max(sum(each.height for each in column), figure.height)
    items: list[Item] = figure.at(width + BESIDE, high - figure.height)
    top = high
    for each in column:
        items += each.at(0, top - each.height)
        top -= each.height
    return Picture(tuple(items), width + BESIDE + figure.width, high)


def _passes(flow: Flow, carriage: Carriage, due: Sequence[PassStep]) -> None:
    table = []
    for step in due:
        number, socket, setting = step.pass_.number, step.pass_.socket, step.pass_.setting
        # Where the carriage stands at that point already, there is nothing to turn first.
        if step.approach is not None and step.approach != step.previous:
            first, last = dial.ways(step.previous, step.approach, setting)
            before = f"Before pass {number}: {first} to {reading(carriage, step.approach)}"
            _tick(flow, f"{before}, so that the carriage then comes {last} to the setting.")
        table.append((f"{number}", f"socket {socket}", reading(carriage, setting), _move(step, carriage)))
    widths = column_widths(table)
    # Settings are printed in large figures.
    widths[2] = max(width_of(SET_TO, CAP, True), *(width_of(row[2], BIG, True) for row in table))
    right = TICK + 2 + widths[0] + 3 + widths[1] + 3 + widths[2]
    head = (Text((0, 1.3), "pass", CAP, bold=True), Text((right, 1.3), SET_TO, CAP, "end", bold=True))
    flow.grid([_row(row, widths) for row in table], Picture(head, right, 5.6), gap=1)


def _row(texts: Sequence[str], widths: Sequence[float]) -> Picture:
    """One row: box, pass, socket, setting (in large figures), and how far to turn a handwheel."""
    items: list[Item] = [rectangle(0, 0.9, TICK, 0.9 + TICK)]
    x = TICK + 2.0
    for n, (text, width) in enumerate(zip(texts, widths, strict=True)):
        cap, bold = (BIG, True) if n == 2 else (CAP, False)
        at = x + width if n in (0, 2) else x
        if text:
            items.append(Text((at, 1.5), text, cap, "end" if n in (0, 2) else "start", bold=bold))
        x += width + (3 if width else 0)
    return Picture(tuple(items), x - 3, ROW)


def _move(step: PassStep, carriage: Carriage) -> str:
    """How far to turn a handwheel, from where it is or from the point before the setting; "" for other carriages."""
    if not dial.has_dial(carriage):
        return ""
    before = step.previous if step.approach is None else step.approach
    move = dial.shown_move(carriage, before or Fraction(0), step.pass_.setting)
    return f"{move} from zero" if before is None else move
