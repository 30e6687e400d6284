"""How a job changes while it is being cut: another board first, an end or a socket again, a spoilt board, a copy.

Each change is asked for, read back, and made of facts alone, so that `kerfcall job` can make it in a session that was
left, just as the session itself does.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace

from assistant.errors import BadInput
from assistant.joinery.model import Pattern
from assistant.plans.job_json import fraction_text
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Job, Setup
from assistant.plans.pieces import BLANK
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.asked import question_prompt
from assistant.session.concerned import has_cuts
from assistant.session.effects import prompt
from assistant.session.events import Event
from assistant.session.kinds import JobChange, QuestionName, SetupStatus
from assistant.session.order import coming, must_wait, opposite, setups_of_end
from assistant.session.other_kerf import Growth, is_fresh, is_of_another_blade
from assistant.session.state import ENDED_EARLY, FINISHED, State
from assistant.session.turn import Turn

QUESTIONS = {
    JobChange.BOARD: QuestionName.BOARD,
    JobChange.END: QuestionName.CUT_OFF,
    JobChange.SOCKET: QuestionName.SOCKET,
    JobChange.SPOILT: QuestionName.SPOILT,
    JobChange.COPY: QuestionName.COPY,
}
CHANGES = {question: change for change, question in QUESTIONS.items()}


def refusal(
    state: State, what: JobChange, setup: int, socket: int = 0, settles: Mishap | None = None
) -> e.Prompt | None:
    """Why this can't be done, or None. setup: whatever number was given; socket: likewise, for `JobChange.SOCKET`.

    settles: the mishap of which it is a way out.
    """
    job = state.the_job
    if state.unsettled not in (None, settles):
        # It was left between two questions, and the change would be taken for the answer that is still to come.
        return prompt("mishap unsettled", mishap=state.unsettled)
    if not 1 <= setup <= len(job.setups):
        return prompt("no such setup", setup=setup, setups=len(job.setups))
    if state.status[setup - 1] == SetupStatus.SPOILT:
        return prompt("board was spoilt", setup=setup)
    if setup not in job.order:
        return prompt("setup replaced", setup=setup)
    mask = state.cuts[setup - 1]
    match what:
        case JobChange.BOARD:
            if not state.is_open(setup):
                return prompt("setup is cut", setup=setup)
            if setup == state.setup and not (state.chosen or is_over(state)):
                return prompt("board is clamped", setup=setup)
            if must_wait(state, setup):
                half = job.setups[setup - 1].half.is_second
                return prompt("half waits" if half else "stage waits", setup=setup)
        case JobChange.END:
            if job.slotted:
                return prompt("slots have no end")
            # The lining is glued in: the end would have to be opened, lined and glued again.
            if len(job.stages) > 1:
                return prompt("lined end")
            if not any(has_cuts(state, n) for n in setups_of_end(job, setup)):
                return prompt("nothing cut yet", setup=setup)
            return _refused_again(job, [setups_of_end(job, n) for n in _ends_cut_off(state, setup)], setup)
        case JobChange.SOCKET:
            sockets = len(job.pattern_of(setup).sockets)
            if not 1 <= socket <= sockets:
                return prompt("no such socket", setup=setup, socket=socket, sockets=sockets)
            passes = passes_of_socket(job, setup, socket)
            if not any(mask >> (n - 1) & 1 for n in passes):
                by_another = any(one.socket == socket for one in job.pattern_of(setup).before)
                return prompt("socket cut before" if by_another else "socket not cut", setup=setup, socket=socket)
            if is_of_another_blade(job, setup):
                if len(setups_of_end(job, setup)) > 1:
                    return prompt("half of another blade", setup=setup)
                return _refused(setup, lambda: Growth(job).go_on(setup, _others_cut(state, setup, passes)))
        case JobChange.SPOILT | JobChange.COPY:
            return _refused(setup, lambda: one_more(job, setups_of_board(job, setup), what))
    return None


def _refused_again(job: Job, ends: Sequence[Sequence[int]], setup: int) -> e.Prompt | None:
    growth = Growth(job)
    return _refused(setup, lambda: [growth.of_end(end) for end in ends])


def _refused(setup: int, made: Callable[[], object]) -> e.Prompt | None:
    """Why this can't be laid out for the kerf of the blade on the saw, or None."""
    try:
        made()
    except BadInput:
        return prompt("kerf does not fit", setup=setup)
    return None


def _others_cut(state: State, setup: int, passes: Collection[int]) -> list[int]:
    """The passes of this setup that are cut, without these."""
    return [n for n in all_passes(state.the_job, setup) if state.cuts[setup - 1] >> (n - 1) & 1 and n not in passes]


def _loses_length(state: State, setup: int) -> tuple[int, ...]:
    """The setups of the end opposite this one's, which must lose as much; () if it could be any of several."""
    facing = opposite(state, setup)
    return setups_of_end(state.the_job, facing.setup) if facing and facing.setup else ()


def _ends_cut_off(state: State, setup: int) -> tuple[int, ...]:
    """A setup of each end that is cut off with this one's: its own, and the same end of the board opposite."""
    other = _loses_length(state, setup)
    return (setup, *other[:1]) if any(has_cuts(state, n) for n in other) else (setup,)


def is_over(state: State) -> bool:
    return state.mode in (FINISHED, ENDED_EARLY)


def passes_of_socket(job: Job, setup: int, socket: int) -> tuple[int, ...]:
    return tuple(one.number for one in job.pattern_of(setup).passes if one.socket == socket)


def setups_of_board(job: Job, setup: int) -> tuple[int, ...]:
    """All setups of the board, or stack of boards, that is clamped in this one: both ends, every stage."""
    this = job.setups[setup - 1]
    same = (this.board, this.first_copy, this.copies)
    return tuple(n for n in job.order if _board(job.setups[n - 1]) == same)


def _board(setup: Setup) -> tuple[str, int, int]:
    return setup.board, setup.first_copy, setup.copies


def read_back(state: State, change: JobChange, setup: int, socket: int) -> e.Prompt:
    """The question with which a change is read back before it is made."""
    asks = Turn(state, Event(state.at, ""))
    asks.fact(f.Asked(QUESTIONS[change], setup, socket))
    return question_prompt(asks.state)


def change_job(turn: Turn, what: JobChange, setup: int, socket: int = 0) -> None:
    """Make the facts of a change that `refusal` allows. A board in the clamps that it concerns comes out."""
    over = is_over(turn.state)
    if over:
        turn.fact(f.Reopened())
    job, here = turn.state.the_job, turn.state.setup
    match what:
        case JobChange.BOARD:
            turn.fact(f.BoardChosen(setup))
        case JobChange.END:
            off = fraction_text(job.pattern_of(setup).depth + job.kerf)
            this, *_ = ends = [setups_of_end(job, number) for number in _ends_cut_off(turn.state, setup)]
            again = [number for end in ends for number in end if has_cuts(turn.state, number)]
            growth = Growth(job)
            for number in again:
                # Both halves of an end go with one cut.
                length = "" if job.setups[number - 1].half.is_second else off
                turn.fact(f.SetupReopened(number, all_passes(job, number), 0, length))
            for end in ends:
                if not all(is_fresh(job, number) for number in end):
                    growth.lay_out(end)
            if growth.replaced:
                turn.fact(growth.fact(what))
            first_of = {number: end[0] for end in ends for number in end}
            # If the board opposite is the one in the clamps, it comes out too, to have its end cut off; also where
            # nothing is cut into it yet, unless it is on its way out in any case.
            comes_out = here in first_of or (here in _loses_length(turn.state, setup) and not turn.state.chosen)
            follows = this[0] if over or comes_out else first_of.get(turn.state.chosen, 0)
            follows = growth.replaced.get(follows, follows)
            if follows not in (0, turn.state.chosen):
                turn.fact(f.BoardChosen(follows))
        case JobChange.SOCKET:
            passes = passes_of_socket(job, setup, socket)
            growth = Growth(job)
            if is_of_another_blade(job, setup):
                growth.go_on(setup, _others_cut(turn.state, setup, passes))
            turn.fact(f.SetupReopened(setup, passes, socket, ""))
            if growth.replaced:
                turn.fact(growth.fact(what))
            if over or {here, turn.state.chosen} & set(growth.replaced):
                turn.fact(f.BoardChosen(growth.replaced.get(setup, setup)))
        case JobChange.SPOILT:
            setups = setups_of_board(job, setup)
            turn.fact(f.BoardSpoilt(setups))
            turn.fact(one_more(job, setups, what))
            if over or here in setups or turn.state.chosen in setups:
                turn.fact(f.BoardChosen(coming(turn.state)))
        case JobChange.COPY:
            turn.fact(one_more(job, setups_of_board(job, setup), what, copies=1))
            if over:
                turn.fact(f.BoardChosen(coming(turn.state)))


def all_passes(job: Job, setup: int) -> tuple[int, ...]:
    return tuple(one.number for one in job.pattern_of(setup).passes)


def one_more(job: Job, setups: tuple[int, ...], why: JobChange, copies: int = 0) -> f.JobExtended:
    """Another board, or stack of boards, like that of these setups. copies: how many; 0: as many as in that stack.

    Each of its setups is cut after the last of its own kind, while the blade is still at that height. Where a board's
    ends are cut one after the other, so are the new board's. What was laid out for another kerf is laid out again.
    Raises BadInput as `Growth.of_end`.
    """
    growth = Growth(job)
    wanted = list(_copied(job, growth, [job.setups[n - 1] for n in setups], copies))
    new = tuple(replace(each, number=len(job.setups) + n) for n, each in enumerate(wanted, start=1))
    order = list(job.order)
    together = {stage for stage in {one.stage for one in new} if _cut_together(job, setups, stage)}
    known, patterns = (*job.setups, *new), (*job.patterns, *growth.patterns)
    for each in new:
        before = known[each.number - 2]
        follows = each.half.is_second or (each.stage in together and before in new and before.stage == each.stage)
        if follows:
            place = order.index(before.number) + 1
        else:
            alike = [n for n in order if _is_alike(known[n - 1], each, patterns, any_end=each.stage in together)]
            place = order.index(alike[-1]) + 1 if alike else len(order)
            # Never between the two halves of an end: the second is cut as soon as the first is.
            while place < len(order) and known[order[place] - 1].half.is_second:
                place += 1
        order.insert(place, each.number)
    return f.JobExtended(tuple(growth.patterns), new, tuple(order), why)


def _cut_together(job: Job, setups: tuple[int, ...], stage: int) -> bool:
    places = [job.order.index(n) for n in setups if job.setups[n - 1].stage == stage]
    return places == list(range(places[0], places[0] + len(places))) if places else False


def _is_alike(one: Setup, other: Setup, patterns: Sequence[Pattern], any_end: bool) -> bool:
    if any_end:
        return (one.stage, one.part) == (other.stage, other.part)
    # Not the pattern itself: another blade cuts the same end by another one.
    depth, depth_of_other = patterns[one.pattern].depth, patterns[other.pattern].depth
    alike = (one.stage, one.part, one.end, one.half) == (other.stage, other.part, other.end, other.half)
    return alike and depth == depth_of_other


def _copied(job: Job, growth: Growth, of: list[Setup], copies: int) -> Iterator[Setup]:
    """The setups of the new board. Those of the blanks for its linings come first: they belong to the first stage."""
    board, copies = of[0].board, copies or of[0].copies
    blanks = [one for one in job.setups if one.board == board + BLANK]
    if blanks:
        most, left = max(one.copies for one in blanks), copies * len({one.end for one in of})
        first = _next_copy(blanks)
        end = [job.setups[n - 1] for n in setups_of_end(job, blanks[0].number)]
        while left:
            together = min(most, left)
            yield from _like_end(growth, end, together, first)
            first, left = first + together, left - together
    first = _next_copy([one for one in job.setups if one.board == board])
    done: set[int] = set()
    for one in of:
        if one.number not in done:
            end = [job.setups[n - 1] for n in setups_of_end(job, one.number)]
            done |= {each.number for each in end}
            yield from _like_end(growth, end, copies, first)


def _like_end(growth: Growth, end: Sequence[Setup], copies: int, first: int) -> Iterator[Setup]:
    """The setups of an end of a new board, like those of this end."""
    for pattern, half in growth.of_end([one.number for one in end]):
        yield replace(end[0], pattern=pattern, half=half, copies=copies, first_copy=first)


def _next_copy(setups: list[Setup]) -> int:
    return max(one.first_copy + one.copies for one in setups)
