"""One turn: the facts and effects gathered in answer to one event, each fact applied as it is made."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assistant.joinery.model import Pass
from assistant.joinery.settings import approach
from assistant.plans.model import Job
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.asked import asked, card_prompt
from assistant.session.checks import BEFORE_A_TRIAL, asks_saw_off, first_due, is_due, runs_down_until
from assistant.session.driven import still_from
from assistant.session.effects import prompt
from assistant.session.events import Event
from assistant.session.kinds import By, Klass
from assistant.session.slip import is_cut_into
from assistant.session.state import CHECKS, CUTTING, HALTED, MOVE_ASKED, STANDING_BY, State
from assistant.session.table import standing_of


@dataclass(frozen=True, slots=True)
class Decision:
    """records: to commit before any effect runs, except passing ones. state: the state after them."""

    records: tuple[f.Record, ...]
    state: State
    effects: tuple[e.Effect, ...]


class Turn:
    """Gathers a decision. `state` is always the state after the facts made so far."""

    def __init__(self, state: State, event: Event):
        self.state = state
        self.event = event
        self._records: list[f.Record] = []
        self._effects: list[e.Effect] = []
        self._held: tuple[e.Prompt, ...] = ()
        self._spoken = 0

    def fact(self, fact: f.Fact) -> None:
        """Apply it in its place; a passing fact takes no number."""
        n = self.state.n if fact.passing else self.state.n + 1
        record = f.Record(n, self.event.at, self.event.utc, fact)
        self.state = apply(self.state, record)
        self._records.append(record)

    def effect(self, effect: e.Effect) -> None:
        self._effects.append(effect)

    def say(self, klass: Klass, *prompts: e.Prompt, waits: bool = False) -> str:
        """One announcement; returns its id. The turn's first cuts off what sounds, unless it waits; others wait."""
        first = self._spoken == 0 and not waits
        self._spoken += 1
        held, self._held = self._held, ()
        id = f"a{self.state.said + self._spoken}"
        self.effect(e.Say(id, (*held, *prompts), klass, replaces=first))
        return id

    def ask(self, klass: Klass, *prompts: e.Prompt, waits: bool = False) -> None:
        """`say`, for what needs an answer."""
        self.fact(f.Carried(self.say(klass, *prompts, waits=waits)))

    def add_notice(self, *prompts: e.Prompt, klass: Klass = Klass.NOTICE) -> None:
        """Speak something unsolicited without cutting anything off."""
        self._spoken += 1
        self.effect(e.Say(f"a{self.state.said + self._spoken}", prompts, klass, replaces=False))

    def lead(self, *prompts: e.Prompt) -> None:
        """Spoken before everything else that this turn says."""
        self._held = (*self._held, *prompts)

    def show(self, line: e.Prompt, klass: Klass = Klass.LINE) -> None:
        self.effect(e.Show(view(self.state, self.event.at), line, klass))

    def release_notices(self) -> None:
        """A gesture or phrase came: kept notices are spoken first, so that a number is spoken last."""
        if self.state.notices:
            self._held = tuple(prompt("device", text=text) for _, text in self.state.notices)
            self.fact(f.NoticesSpoken())

    def decision(self, listen: e.Listen | None) -> Decision:
        """Close the turn. listen: the grammar in force, where it has changed."""
        if self._held:
            self.say(Klass.NOTICE)
        if self._spoken:
            self.fact(f.Announced(self._spoken))
        if listen is not None:
            self.effect(listen)
            self.effect(e.Show(view(self.state, self.event.at)))
        return Decision(tuple(self._records), self.state, tuple(self._effects))


def view(state: State, at: float | None = None) -> e.View:
    """The snapshot that every screen shows. at: session time, s; None: the time of the newest record."""
    called = state.setup > 0 and state.cursor > 0 and not state.is_cut(state.cursor)
    job, counted = state.the_job, state.counted
    one = state.pattern.passes[state.cursor - 1] if called else None
    stood_at, below = (None, None) if one is None else way_to(state, one, again=True)
    next_setting, next_check = _after_the_pass(state) if called and state.mode == CUTTING else (None, "")
    checking = state.mode == CHECKS and state.open_check is not None
    due = sum(is_due(state, index) for index in range(len(job.checks))) if checking else 0
    return e.View(
        mode=state.effective_mode,
        setup=state.setup,
        setups=len(counted),
        setups_left=len(state.open_elsewhere),
        pass_=state.cursor if called else 0,
        passes=state.passes if state.setup else 0,
        cut_here=state.cut_here,
        cut_in_all=state.cut_in_all,
        passes_in_all=state.passes_in_all,
        setting=0 if one is None else one.setting,
        check=job.checks[state.open_check].name if state.open_check is not None else "",
        question=state.question.name if state.question else None,
        way=way_prompt(job, state.setup) if state.setup else None,
        cut=state.cut,
        approach=below,
        previous=stood_at,
        asked=asked(state),
        generation=state.generation,
        wait_s=_wait_s(state, state.at if at is None else at),
        check_number=state.answered + 1 if checking else 0,
        checks=state.answered + due if checking else 0,
        next_setting=next_setting,
        next_check=next_check,
        asked_again=_asked_again(state) if state.mode == STANDING_BY else (),
        move=state.driving.move,
        stands=state.driving.at,
        reported=state.driving.reported,
        place=state.place,
        leaves=state.leaves,
        standing=standing_of(state),
        card=card_prompt(state) if state.effective_mode == STANDING_BY else None,
    )


def _asked_again(state: State) -> tuple[str, ...]:
    """What is asked once the session goes on: what was touched, where the work lies, and the checks that are due."""
    # `apply` is pure, so what would follow can simply be tried; who answers changes nothing.
    after = apply(state, f.Record(state.n + 1, state.at, "", f.CarriedOn(By.PEDAL)))
    checks = after.the_job.checks
    due = [check.name for index, check in enumerate(checks) if is_due(after, index)]
    tried = state.moved is not None and not (state.setup_complete or state.leaves)
    # In the order in which `advance` asks.
    first = [name for name in BEFORE_A_TRIAL if tried and is_cut_into(state) and name in due]
    later = (name for name in due if name not in first)
    return (*("what was touched",) * state.on_break, *first, *("where the work lies",) * tried, *later)


def _after_the_pass(state: State) -> tuple[Fraction | None, str]:
    """The setting called once this pass is cut, or the check that is asked first."""
    after = apply(state, f.Record(state.n + 1, state.at, "", f.PassCut(state.setup, state.cursor, By.PEDAL)))
    index, number = first_due(after), after.next_pass()
    if index is not None:
        return None, state.the_job.checks[index].name
    return (state.pattern.passes[number - 1].setting if number else None), ""


def _wait_s(state: State, at: float) -> float:
    if state.mode in (MOVE_ASKED, HALTED):
        from_s = still_from(state)
        return 0.0 if from_s is None else max(0.0, from_s - at)
    if not asks_saw_off(state):
        return 0.0
    stands_at = runs_down_until(state)
    return state.the_job.run_down_s if stands_at is None else max(0.0, stands_at - at)


def way_to(state: State, to: Pass, again: bool) -> tuple[Fraction | None, Fraction | None]:
    """Where the carriage comes from to a pass of this setup, and the point that it goes to before the setting, mm.

    again: it is the pass last called, so that it comes from where it stood before that call; unless the operator has
    read it at its setting since, as `StandsThere` says. Then it only comes up to it again, where it had come down.
    """
    carriage, setting = state.the_job.carriage, to.setting
    comes_from = state.came_from if again and setting == state.carriage_at else state.carriage_at
    play_open = state.play_open and comes_from == setting
    return comes_from, approach(carriage, setting + carriage.resolution if play_open else comes_from, setting, to.down)


def way_prompt(job: Job, setup: int) -> e.Prompt:
    """How the board of this setup is clamped, in short: end, edge to the stop, face to the backing."""
    end, half, side = job.setups[setup - 1].end, job.setups[setup - 1].half, job.carriage.stop_side
    return prompt("way", end=end, stop_side=side, layout=job.layout, half=half)
