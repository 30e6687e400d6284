"""The rules of the shop while boards are chosen, cut again, spoilt and added: two machines, an outer and an inner one.

The outer one changes the job: it goes on with another board, cuts an end or a socket again, spoils, adds, ends early,
opens again, dies and comes back. What happens within a setup is none of it, a part or all, done as a careful operator
does it. Every way in which it enters a setup is noted. The inner one then walks that setup from there under every
event, as `test_rules` walks whole jobs. The second bookkeeper and the witness watch both. `test_stateful` tries the
product of the two at random.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest

from assistant.plans.intents import Intent
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Check, Job, Plan
from assistant.session import facts as f
from assistant.session import turn
from assistant.session.apply import apply
from assistant.session.checks import is_due
from assistant.session.events import Gesture, Heard, Resume, Start
from assistant.session.kinds import JobChange, SetupStatus
from assistant.session.rework import change_job
from assistant.session.state import State
from assistant.session.turn import Turn
from tests.session.driver import UTC
from tests.session.jobs import HEIGHT, few_checks, job, plan
from tests.session.test_rules import (
    ONE_PASS,
    TWO_PASSES,
    Node,
    can_go_on,
    events,
    is_walked,
    look_at,
    made_once,
    place,
    replayed,
    step,
    views_made_once,
    went_out,
    with_restart,
)
from tests.session.watcher import Watcher
from tests.witness import Witness

__all__ = ["views_made_once"]
pytestmark = pytest.mark.timeout(1500)

MOST_ADDED = 2
"""Setups that are added, at the most: what holds for one spoilt board and one copy holds for the next."""
JOBS: dict[str, tuple[Plan, tuple[Check, ...], object]] = {
    "two boards of a pass each": (plan(18, 6, count=2, ends=1, parts="A"), few_checks(), ONE_PASS),
    "three boards of a pass each": (plan(18, 6, count=3, ends=1, parts="A"), few_checks(), ONE_PASS),
    "two ends of two passes each": (plan(18, 6, ends=2, parts="A"), few_checks(), TWO_PASSES),
    "two parts of different depths": (plan(12, 6, ends=1), few_checks(HEIGHT), TWO_PASSES),
}


@dataclass(frozen=True)
class Entry:
    """A way into a setup. due: the checks that are due there. cut: its passes that are cut already.

    shallow: those whose kerfs are there, but not deep enough.
    """

    cut: int
    shallow: int
    passes: int
    due: frozenset[str]
    to_register: bool
    turned: bool


def entry_of(state: State) -> Entry:
    due = frozenset(check.name for n, check in enumerate(state.the_job.checks) if is_due(state, n))
    shallow, turned = state.shallow[state.setup - 1], state.the_job.is_turned(state.setup)
    return Entry(state.cut, shallow, state.passes, due, state.to_register, turned)


def outside(state: State) -> object:
    """The state as the outer machine sees it: each setup that counts, whatever its number, and how this one stands."""
    job = state.the_job
    rows = tuple(
        (
            (job.setups[n - 1].pattern, job.setups[n - 1].end, n == state.setup),
            (state.cuts[n - 1], state.shallow[n - 1], state.status[n - 1]),
        )
        for n in state.counted
    )
    here = () if state.mode in ("finished", "ended early") else entry_of(state)
    return state.mode, rows, here, state.touched, state.saw_runs, len(job.setups)


def answered(node: Node) -> Node:
    """What a careful operator does next: everything waited for, then a tap for a pass and a long press for the rest."""
    at = max(node.state.at, node.state.opening.out_at or 0.0) + 12
    gesture = "tap" if node.state.effective_mode == "cutting" else "hold"
    return went_out(step(node, Gesture(at, UTC, gesture, at))[0])


def begun(a_job: Job) -> Node:
    return went_out(step(Node(State(), Watcher(a_job), Witness(), ()), Start(0.0, UTC, a_job))[0])


def said(node: Node, intent: Intent, argument: str | int | None = None) -> Node:
    at = max(node.state.at, node.state.opening.out_at or 0.0) + 12
    return went_out(step(node, Heard(at, UTC, intent, argument, "", at, node.state.generation, "keys"))[0])


def settled(node: Node) -> Node:
    """Through whatever is asked about a board on its way out, or after an interruption, to the setup's own business."""
    for _ in range(20):
        state = node.state
        if state.mode in ("finished", "ended early") or (state.touched and not (state.leaves or state.question)):
            return node
        if not (state.leaves or state.question) and state.open_check is not None:
            return node
        node = answered(node)
    raise AssertionError("it never comes to rest")


def cut_some(node: Node, all_: bool) -> Node | None:
    """One pass of this setup, or all of it and its end; None where only the last one is left to be cut."""
    setup, left = node.state.setup, node.state.passes - node.state.cut_here
    if node.state.mode == "finished" or (not all_ and left < 2):
        return None
    for _ in range(60):
        node = answered(node)
        now = node.state
        if now.mode == "finished" or now.setup != setup or (not all_ and now.passes - now.cut_here < left):
            return node
    raise AssertionError("a careful operator gets nowhere")


def changes(state: State, planned: int) -> Iterator[tuple[Intent, str | int]]:
    """Every change that can be asked for here, possible or not."""
    setups = len(state.the_job.setups)
    for number in range(1, setups + 1):
        yield Intent.BOARD, number
        yield Intent.REDO, number
        yield Intent.SOCKET, f"{number}.1"
        if setups < planned + MOST_ADDED:
            yield Intent.SPOILT, number
            yield Intent.COPY, number


def not_deep_enough(node: Node) -> Node | None:
    """Told of the end in the clamps, and all of it agreed to; None where nothing can be told now."""
    told = said(said(node, Intent.STAND_BY), Intent.MISHAP, Mishap.SHALLOW)
    if told.state.question is None:
        return None
    while told.state.question is not None:
        told = answered(told)
    return settled(answered(told))


def reopened(node: Node) -> Node:
    """As `kerfcall job --reopen` does it, in a session that was left; then it is resumed."""
    by_command = Turn(node.state, Resume(node.state.at + 60, UTC))
    by_command.fact(f.Reopened())
    watcher, state = node.watcher.copy(), node.state
    records = by_command.decision(None).records
    for record in records:
        state = apply(state, record)
        watcher.read(record.fact)
    return Node(state, watcher, node.witness.copy(), (*node.records, *records))


def resumed(node: Node) -> Node:
    again = replayed(node)
    return settled(went_out(step(again, Resume(again.state.at + 60, UTC))[0]))


def next_places(node: Node, planned: int, too_shallow: bool) -> Iterator[tuple[str, Node]]:
    state = node.state
    if state.mode == "ended early":
        yield "reopened", resumed(reopened(node))
        return
    for all_ in (False, True):
        after = cut_some(node, all_)
        if after is not None:
            yield "cut", settled(after)
    for intent, argument in changes(state, planned):
        asked = said(node, intent, argument)
        if asked.state.question is None:
            continue  # it was refused in words, or means nothing now
        no = said(asked, Intent.NO)
        kept = ("cuts", "status", "job", "chosen", "setup")
        assert all(getattr(no.state, name) == getattr(state, name) for name in kept), "no changes nothing"
        yield str(intent), settled(answered(asked))
    if state.mode != "finished":
        shallow = not_deep_enough(node) if too_shallow else None
        if shallow is not None:
            yield "not deep enough", shallow
        yield "dies", resumed(node)
        ended = said(node, Intent.END)
        if ended.state.question is not None:
            yield "ends", answered(ended)


def outer(a_job: Job, most: int, too_shallow: bool) -> tuple[int, dict[Entry, Node], set[str]]:
    """Every place that changes of the job lead to; how each setup was entered; the kinds of facts seen.

    too_shallow: at any time the operator may find that the ends cut so far are not deep enough.
    """
    first = settled(begun(a_job))
    seen, waiting = {outside(first.state)}, deque([first])
    entries: dict[Entry, Node] = {entry_of(first.state): first}
    kinds: set[str] = set()
    while waiting:
        node = waiting.popleft()
        for _, after in next_places(node, len(a_job.setups), too_shallow):
            kinds |= {record.fact.kind for record in after.records[len(node.records) :]}
            state = after.state
            assert state.mode == "ended early" or not state.leaves, "what leaves has left"
            counting = [n for n in state.the_job.order if state.status[n - 1] != SetupStatus.SPOILT]
            assert state.passes_in_all == sum(len(state.the_job.pattern_of(n).passes) for n in counting)
            assert state.mode != "finished" or state.left_in_all == 0
            if state.mode not in ("finished", "ended early"):
                entries.setdefault(entry_of(state), after)
            if (key := outside(state)) not in seen:
                seen.add(key)
                waiting.append(after)
        assert len(seen) <= most, "more places than this job should have"
    return len(seen), entries, kinds


def inner(start: Node, most: int) -> int:
    """Every place of this setup that any event leads to, from the way in which it was entered to the next setup."""
    seen, waiting = {place(start.state)}, deque([start])
    setup = start.state.setup
    while waiting:
        node = waiting.popleft()
        for label, event in with_restart(node, events(node.state)):
            base = replayed(node) if label == "restart" else node
            after, kept, effects = step(base, event)
            look_at(label, event, base.state, after.state, kept, effects)
            if after is base:
                continue
            after = went_out(after)
            if not is_walked(after.state, (), after.state.the_job):
                continue
            over = after.state.setup != setup or after.state.mode in ("finished", "ended early")
            if not over and (key := place(after.state)) not in seen:
                seen.add(key)
                waiting.append(after)
        can_go_on(node.state)
        assert len(seen) <= most, "more places than this setup should have"
    return len(seen)


def walked(name: str, most_entries: int | None, too_shallow: bool = False) -> None:
    a_plan, checks, kerf = JOBS[name]
    made = job(a_plan, checks, kerf=kerf)  # type: ignore[arg-type]
    made = replace(made, voice=replace(made.voice, tone=True))
    places, entries, kinds = outer(made, most=60_000, too_shallow=too_shallow)
    chosen = list(entries.values())[:most_entries]
    inside = [inner(start, most=20_000) for start in chosen]
    print(f"\n{name}: {places} places outside, {len(entries)} ways in, of {len(chosen)} {sum(inside)} places inside")
    expected = {"job_extended", "board_chosen", "setup_reopened", "board_spoilt", "reopened"}
    expected |= {"reregistered"} if kerf == TWO_PASSES else set()  # a single pass leaves nothing to go on with
    assert kinds >= expected, f"the outer walk never saw {expected - kinds}"


def test_the_rules_hold_whatever_becomes_of_the_job(capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        walked("two boards of a pass each", most_entries=2)


@pytest.mark.long
def test_the_rules_hold_whatever_becomes_of_ends_that_are_not_deep_enough(capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        walked("two boards of a pass each", most_entries=None, too_shallow=True)


@pytest.mark.long
def test_the_rules_hold_in_each_setup_however_it_was_entered(capsys: pytest.CaptureFixture[str]) -> None:
    """The other jobs take minutes each: `python -m tests.session.test_rework_rules` walks them all."""
    with capsys.disabled():
        walked("three boards of a pass each", most_entries=None)


def test_a_command_makes_the_changes_that_a_session_makes() -> None:
    """The facts are the same, so a session that was left and changed goes on as if it had been changed from within."""
    node = settled(begun(job(plan(18, 6, count=3, ends=1, parts="A"), few_checks(), kerf=ONE_PASS)))
    live = answered(said(node, Intent.SPOILT))
    by_command = Turn(node.state, Resume(node.state.at, UTC))
    change_job(by_command, JobChange.SPOILT, node.state.setup)
    made = [record.fact for record in by_command.decision(None).records]
    assert made == [record.fact for record in live.records[len(node.records) :]][: len(made)]


if __name__ == "__main__":
    turn.view = made_once(turn.view)
    for job_name in JOBS:
        walked(job_name, most_entries=None)
