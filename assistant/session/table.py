"""The job as a table: a row for each setup, with how far it has got."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from assistant.plans.model import Job
from assistant.session.kinds import SetupStatus
from assistant.session.order import coming
from assistant.session.state import ENDED_EARLY, FINISHED, State

IN_WORDS = {
    SetupStatus.TO_CUT: "to cut",
    SetupStatus.BEGUN: "begun",
    SetupStatus.CUT: "cut",
    SetupStatus.REDO: "to cut again",
    SetupStatus.SPOILT: "spoilt",
}
REPLACED = "replaced"
"""In words, that other setups have taken this one's place in the order."""
LEAST_BOARD = 8  # columns for a board's name


class Column(StrEnum):
    """A column of the table, by its heading."""

    SETUP = "setup"
    PLACE = ""
    """Whether the setup is cut now, or next."""
    BOARD = "board"
    PART = "part"
    END = "end"
    STAGE = "stage"
    CUT = "cut"
    SLOTS = "slots"
    SOCKETS = "sockets"
    STATUS = "status"


@dataclass(frozen=True, slots=True)
class JobStanding:
    """How far each setup has got. cuts, status: as in `State`. clamped: the setup whose board is in the clamps.

    next: the setup that follows. Each is 0 for none: once the session is over, nothing is taken to be clamped.
    """

    cuts: tuple[int, ...]
    status: tuple[SetupStatus, ...]
    clamped: int = 0
    next: int = 0


@dataclass(frozen=True, slots=True)
class SetupRow:
    """One setup. number: for good, from 1. copies: which of several boards it is, "2 of 4"; "" for the only one.

    end: 0 for a slotted board, which has no ends to turn. cut, passes: of this setup. status: in words.
    """

    number: int
    board: str
    copies: str
    part: str
    end: int
    stage: int
    cut: int
    passes: int
    sockets: int
    status: str
    clamped: bool
    next: bool


def standing_of(state: State) -> JobStanding:
    """The standing of a session that has started."""
    over = state.mode in (FINISHED, ENDED_EARLY)
    return JobStanding(state.cuts, state.status, 0 if over else state.setup, 0 if over else coming(state))


def which_of(job: Job, number: int) -> str:
    """Which of several equal boards setup `number` cuts: "2 of 4", "1 to 3 of 4 together"; "" if there is only one."""
    setup = job.setups[number - 1]
    of = max(s.first_copy + s.copies - 1 for s in job.setups if (s.board, s.part) == (setup.board, setup.part))
    last = setup.first_copy + setup.copies - 1
    if of == 1:
        return ""
    return f"{setup.first_copy} of {of}" if setup.copies == 1 else f"{setup.first_copy} to {last} of {of} together"


def numbered(setup: int, place: int, of: int) -> str:
    """A setup's number among so many: "3 of 8"; "9 (5 of 9)" where it is cut in another place; 0: in none, "9".

    A number stays for good, so what joins the job later, or follows what was spoilt, is cut in another place.
    """
    if place == setup:
        return f"{setup} of {of}"
    return f"{setup} ({place} of {of})" if place else str(setup)


def rows_of(job: Job, standing: JobStanding) -> tuple[SetupRow, ...]:
    """In the order of cutting; after that those that count no more."""
    counted = [n for n in job.order if standing.status[n - 1] != SetupStatus.SPOILT]
    others = [each.number for each in job.setups if each.number not in counted]
    return tuple(_row(job, standing, number) for number in (*counted, *others))


def _row(job: Job, standing: JobStanding, number: int) -> SetupRow:
    setup, pattern, status = job.setups[number - 1], job.pattern_of(number), standing.status[number - 1]
    replaced = number not in job.order and status != SetupStatus.SPOILT
    return SetupRow(
        number=number,
        board=setup.board,
        copies=which_of(job, number),
        part=setup.part,
        end=0 if job.slotted else setup.end,
        stage=setup.stage,
        cut=standing.cuts[number - 1].bit_count(),
        passes=len(pattern.passes),
        sockets=len(pattern.sockets),
        status=REPLACED if replaced else IN_WORDS[status],
        clamped=number == standing.clamped,
        next=number == standing.next,
    )


def as_json(rows: Sequence[SetupRow]) -> list[dict[str, Any]]:
    """The same rows for JSON; names as in `SetupRow`, but for "setup", its number."""
    return [
        {
            "setup": row.number,
            "board": row.board,
            "copies": row.copies,
            "part": row.part,
            "end": row.end,
            "stage": row.stage,
            "cut": row.cut,
            "passes": row.passes,
            "sockets": row.sockets,
            "status": row.status,
            "clamped": row.clamped,
            "next": row.next,
        }
        for row in rows
    ]


def in_lines(
    job: Job, rows: Sequence[SetupRow], columns: int | None = None, width: Callable[[str], int] = len
) -> tuple[str, tuple[str, ...]]:
    """The heading and a line for each row, all of one layout.

    Stages and ends have columns only where a job has more than one. columns: the most that a line may take, for which
    boards' names are cut short; None for no limit. width: of a text, in columns.
    """
    heads = [column for column in Column if column != (Column.SOCKETS if job.slotted else Column.SLOTS)]
    if job.slotted:
        heads.remove(Column.END)
    if len(job.stages) == 1:
        heads.remove(Column.STAGE)
    lines: list[list[str]] = [[*heads], *([_cell(row, head) for head in heads] for row in rows)]
    widths = [max(width(line[place]) for line in lines) for place in range(len(heads))]
    board = heads.index(Column.BOARD)
    if columns is not None:
        over = max(0, sum(widths) + 2 * (len(widths) - 1) - columns)
        widths[board] = max(min(widths[board], LEAST_BOARD), widths[board] - over)
    texts = []
    for line in lines:
        line[board] = _short(line[board], widths[board], width)
        cells = [_padded(cell, wide, width) for cell, wide in zip(line, widths, strict=True)]
        texts.append("  ".join(cells).rstrip())
    return texts[0], tuple(texts[1:])


def _cell(row: SetupRow, head: Column) -> str:
    match head:
        case Column.SETUP:
            return str(row.number)
        case Column.PLACE:
            return "now" if row.clamped else "next" if row.next else ""
        case Column.BOARD:
            return ", ".join(filter(None, (row.board, row.copies)))
        case Column.CUT:
            return f"{row.cut} of {row.passes}"
        case Column.SLOTS:
            return str(row.sockets)
    return str(getattr(row, head))


def _padded(text: str, wide: int, width: Callable[[str], int]) -> str:
    space = " " * (wide - width(text))
    return space + text if text.isdecimal() else text + space


def _short(text: str, wide: int, width: Callable[[str], int]) -> str:
    if width(text) <= wide:
        return text
    # Not >: the ellipsis takes a column.
    while width(text) >= wide:
        text = text[:-1]
    return f"{text}…"
