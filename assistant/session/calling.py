"""The plain path: checks must be confirmed, the setting is called, the pass recorded, the next setup begun."""

from __future__ import annotations

from assistant.plans.checks import FIXED, asks_keep_clear, asks_way, figures_of
from assistant.plans.job_json import fraction_text
from assistant.plans.mishaps import Mishap
from assistant.plans.model import When
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.apply import apply
from assistant.session.asked import card_prompt, check_prompts, end_prompts, question_prompt
from assistant.session.checks import BEFORE_A_TRIAL, due_of, first_due, is_due
from assistant.session.concerned import kerfs_here
from assistant.session.driven import (
    by_tap,
    first_place,
    is_driven,
    is_lost_under_a_call,
    move_prompt,
    stands_at,
    to_next_pass,
    to_trial,
    visits,
)
from assistant.session.facts import Move
from assistant.session.kinds import By, Klass, MoveKind, QuestionName, Then, TurnOver
from assistant.session.order import coming
from assistant.session.sending import begin, propose
from assistant.session.slip import is_cut_into, trial
from assistant.session.state import (
    CHECKS,
    CUTTING,
    FINISHED,
    HALTED,
    MOVE_ASKED,
    RESUMING,
    STANDING_BY,
    State,
)
from assistant.session.turn import Turn, prompt, way_to


def advance(turn: Turn, after_gate: bool = True) -> None:
    """Open the next due check or, when none is due, call the setting.

    after_gate: the blade is presumed to stand still, and anything may have been touched since the last call.
    """
    if turn.state.unsettled:
        ask(turn, QuestionName.SAFE, turn.state.setup, turn.state.cursor, mishap=turn.state.unsettled)
        return
    if turn.state.on_break:
        ask_what_was_touched(turn)
        return
    if turn.state.unread:
        ask(turn, QuestionName.CARRIAGE, turn.state.setup, turn.state.next_pass())
        return
    moved = turn.state.moved and not (turn.state.setup_complete or turn.state.leaves)
    # A board that is all cut, for instance, is not tried any more, and nothing else would ask this.
    if not (moved or turn.state.to_register or turn.state.leaves) and _ask_which_are_good(turn):
        return
    if (moved or turn.state.to_register) and is_cut_into(turn.state):
        for name in BEFORE_A_TRIAL:
            if (index := due_of(turn.state, name)) is not None:
                _open_check(turn, index)
                return
    if moved:
        ask_registered(turn)
        return
    # Before the other checks: putting the work to the stop again makes those about its clamping due once more.
    if turn.state.to_register:
        # Of a board that the operator has gone back to, nobody knows whether it has been out of the clamps.
        if turn.state.touched and not turn.state.doubt:
            ask(turn, QuestionName.CLAMPED, turn.state.setup, turn.state.next_pass())
        else:
            ask_registered(turn)
        return
    index = first_due(turn.state)
    if index is None:
        if turn.state.setup_complete or turn.state.leaves:
            end_setup(turn)
        else:
            call_setting(turn, after_gate)
        return
    _open_check(turn, index)


def _open_check(turn: Turn, index: int) -> None:
    turn.fact(f.CheckOpened(turn.state.setup, turn.state.the_job.checks[index].name))
    turn.ask(Klass.CHECK, *check_prompts(turn.state))
    # Rendered while the operator is busy with this check, so that the next announcement begins at once.
    turn.effect(e.Prepare(_after_check(turn.state)))


def setting_prompt(state: State, pass_: int, after_gate: bool, again: bool = False) -> e.Prompt:
    """The setting of a pass.

    after_gate: as for `advance`. Then, in a run's first setup and on "say again" (again), it is said in full: with what
    to do at the saw. Its figure `repeated`: nobody knows whether the carriage has been moved already, since this or
    another setting was called and not cut, or since it is the first call after a gate.
    """
    to = state.pattern.passes[pass_ - 1]
    if is_driven(state.the_job):
        in_full = after_gate and (again or state.setups_this_run == 1)
        return prompt("setting reached", pass_=pass_, setting=to.setting, in_full=in_full)
    repeated = pass_ == state.cursor
    previous, below = way_to(state, to, repeated)
    return prompt(
        "setting in full" if after_gate and (again or state.setups_this_run == 1) else "setting",
        pass_=pass_,
        setting=to.setting,
        previous=previous,
        repeated=repeated or after_gate,
        approach=below,
    )


def call_setting(turn: Turn, after_gate: bool) -> None:
    state = turn.state
    number = state.next_pass()
    setting = state.pattern.passes[number - 1].setting
    if is_driven(state.the_job) and not stands_at(state, setting):
        propose(turn, to_next_pass(state))
        return
    spoken = setting_prompt(state, number, after_gate)
    turn.fact(f.SettingCalled(state.setup, number, fraction_text(setting)))
    turn.ask(Klass.SETTING, spoken)
    turn.effect(e.Prepare(_after_setting(turn.state)))


def _setting_again(state: State, whole: bool = True) -> tuple[e.Prompt, ...]:
    """The setting called, once more. whole: with what to do at the saw, where it is the first call after a gate."""
    # A check went out just before, so this was the first call after a gate.
    after_gate = state.opening.after == CHECKS
    return prompt("again"), setting_prompt(state, state.cursor, after_gate, again=whole)


def _after_setting(state: State) -> tuple[tuple[e.Prompt, ...], ...]:
    """What may be said next: this setting again, or what follows once it is cut, as the next setting or a check."""
    again = _setting_again(state)
    after = apply(state, f.Record(state.n + 1, state.at, "", f.PassCut(state.setup, state.cursor, By.PEDAL)))
    index, following = first_due(after), after.next_pass()
    if index is not None:
        return again, check_prompts(after, index)
    return (again, (setting_prompt(state, following, after_gate=False),)) if following else (again,)


def _after_check(state: State) -> tuple[tuple[e.Prompt, ...], ...]:
    """The check after this one, or the first setting, or what follows the setup."""
    following = range((state.open_check or 0) + 1, len(state.the_job.checks))
    index = next((i for i in following if is_due(state, i)), None)
    if index is not None:
        return (check_prompts(state, index),)
    if not (state.setup_complete or state.leaves):
        return ((setting_prompt(state, state.next_pass(), after_gate=True),),)
    if number := coming(state):
        begun = apply(state, f.Record(state.n + 1, state.at, "", f.SetupStarted(number)))
        return ((*_stage_over(begun), clamp_prompt(begun)),)
    return (end_prompts(state, prompt("finished")),)


def clamp_prompt(state: State, whole: bool = False) -> e.Prompt:
    """What to clamp now, and what to keep clear of the blade there (mm, exact).

    whole: say all of it. Otherwise it is said in short from a run's third setup on: the board, its end and what has
    changed. What to keep clear is said from the second setup on only where it has changed.

    Its figures: `off`, only where the end loses length first: how much; `joint`: its old joint goes with it. `turn`: a
    `TurnOver`, None where the board need not be turned over. `held`: say how it is held, since no check asks.
    `keep_clear`: say what to keep clear.
    """
    job, setup = state.the_job, state.the_setup
    same_board = [s for s in job.setups if (s.board, s.part) == (setup.board, setup.part)]
    short = not whole and state.setups_this_run >= 3
    before = job.setups[state.previous - 1] if not whole and state.setups_this_run >= 2 and state.previous else None
    figures = figures_of(job, state.pattern)
    as_before = before is not None and figures == figures_of(job, job.pattern_of(before.number))
    turn = None
    if job.is_turned(setup.number):
        turn = TurnOver.WARNED if short and state.turns > 1 else TurnOver.FULL
    off = state.comes_off
    return prompt(
        "clamp",
        setup=setup.number,
        place=state.place,
        setups=len(state.counted),
        board=setup.board,
        part=setup.part,
        end=setup.end,
        copies=setup.copies,
        first_copy=setup.first_copy,
        of=max(s.first_copy + s.copies - 1 for s in same_board),
        stop_side=job.carriage.stop_side,
        register=job.carriage.register,
        layout=job.layout,
        half=setup.half,
        short=short,
        part_changed=short and before is not None and before.part != setup.part,
        turn=turn,
        held=not asks_way(job.checks),
        keep_clear=not (as_before or asks_keep_clear(job.checks) or _asks_keep_clear(state, whole)),
        **({} if off is None else {"off": off.off, "joint": off.joint}),
        **figures,
    )


def _asks_keep_clear(state: State, whole: bool) -> bool:
    """Whether the check that is asked in the same breath as the board is named says itself what to keep clear.

    That is the open one, said again, or else the first that is due. whole: as for `clamp_prompt`.
    """
    said_again = state.open_check is not None
    index = state.open_check if said_again else first_due(state)
    if index is None or state.to_register or state.moved or state.unread:
        return False
    asked = dict(check_prompts(state, index, again=said_again and whole)[-1].figures)
    return bool(asked["whole"]) and "{lowest} to {highest}" in str(asked["say"])


def begin_setup(turn: Turn, number: int) -> None:
    """A driven carriage first goes to where the board is clamped, so that nothing moves while hands are in there."""
    turn.fact(f.SetupStarted(number))
    if is_driven(turn.state.the_job):
        propose(turn, first_place(turn.state, number))
    else:
        name_board(turn)


def name_board(turn: Turn) -> None:
    state = turn.state
    turn.say(Klass.CLAMP, *_stage_over(state), clamp_prompt(state))
    advance(turn)


def ask(
    turn: Turn,
    name: QuestionName,
    setup: int,
    pass_: int,
    *before: e.Prompt,
    mishap: Mishap | None = None,
    figure: int = 0,
) -> None:
    turn.fact(f.Asked(name, setup, pass_, mishap, figure))
    turn.ask(Klass.QUESTION, *before, question_prompt(turn.state))


def ask_what_was_touched(turn: Turn) -> None:
    """After a break, whatever the operator goes on with: first whether the blade was lowered."""
    ask(turn, QuestionName.LOWERED, turn.state.setup, 0, mishap=Mishap.BREAK)


def ask_registered(turn: Turn) -> None:
    """Ask for the work to be put to the stop again. A driven carriage first goes to where that is tried.

    First it must be known which cuts lie where they should: the work is tried in no other.
    """
    if _ask_which_are_good(turn):
        return
    state = turn.state
    tried = trial(state)
    if tried and is_driven(state.the_job) and not stands_at(state, tried.setting):
        propose(turn, to_trial(state, tried))
    else:
        ask(turn, QuestionName.REGISTERED, state.setup, state.next_pass())


def _ask_which_are_good(turn: Turn) -> bool:
    """Ask of the first cut that is in doubt whether it is good. Whether there is any."""
    state = turn.state
    in_doubt = kerfs_here(state) if state.doubt else []
    if in_doubt:
        ask(turn, QuestionName.SURE, state.setup, in_doubt[0], mishap=state.doubt)
    return bool(in_doubt)


def confirm_check(turn: Turn, by: By) -> None:
    state = turn.state
    check = state.the_job.checks[state.open_check or 0]
    turn.fact(f.CheckConfirmed(state.setup, check.name, by))
    after = turn.state
    of_the_stage = [i for i, one in enumerate(after.the_job.checks) if one.when == When.STAGE]
    if check.when == When.STAGE and not any(is_due(after, i) for i in of_the_stage):
        turn.fact(f.StageReady(after.the_setup.stage))
    advance(turn)


def _stage_over(state: State) -> tuple[e.Prompt, ...]:
    """What must be done before this setup, if the one before it was of an earlier stage."""
    before = state.the_job.setups[state.previous - 1].stage if state.previous else state.the_setup.stage
    return (prompt("stage over", stage=before),) if before < state.the_setup.stage else ()


def cut_pass(turn: Turn, by: By, asked_at: float) -> None:
    """Record the called pass as cut and go on: the next pass, or the question once all is cut.

    asked_at: when the answer was complete, s. With a clear input it lets a driven carriage go on as well, unless it
    came from a page.
    """
    if by == By.PAGE:
        # Said first: whoever stands at the saw must not take the next number for the answer to a tap of their own.
        turn.lead(prompt("advanced from the page"))
    turn.fact(f.PassCut(turn.state.setup, turn.state.cursor, by))
    state = turn.state
    gate = first_due(state) is not None
    if is_driven(state.the_job) and not (gate or state.setup_complete) and by != By.PAGE:
        move = to_next_pass(state)
        if state.driving.known and by_tap(state.the_job.carriage, move, state.driving.at):
            begin(turn, move, False, asked_at)
            turn.effect(e.Prepare(((setting_prompt(turn.state, move.pass_, after_gate=False),),)))
            return
    advance(turn, after_gate=gate)


def end_setup(turn: Turn) -> None:
    """The board comes out, and the blade stands still: only now is the next one named, or the session ends.

    All is cut and counted, or the operator goes on with another board. A driven carriage proves its place first, while
    the board is still clamped.
    """
    state = turn.state
    if visits(state):
        propose(turn, Move(MoveKind.VISIT, Then.END, state.setup))
        return
    number = coming(state)
    close_setup(turn)
    if number:
        begin_setup(turn, number)
        return
    turn.fact(f.Finished())
    turn.say(Klass.END, *end_prompts(state, prompt("finished")))


def close_setup(turn: Turn) -> None:
    """A setup that is all cut is over."""
    state = turn.state
    if state.setup_complete and state.is_open(state.setup):
        turn.fact(f.SetupDone(state.setup))


def say_again(turn: Turn, waits: bool = False, whole: bool = True) -> None:
    """What is asked or called now, once more.

    waits: it doesn't cut off what is being said. whole: in full, which is what "say again" asks for.
    """
    state = turn.state
    if state.question:
        turn.ask(Klass.QUESTION, question_prompt(state), waits=waits)
    elif state.mode == CHECKS and state.open_check is not None:
        named = state.touched and not _clamped_again(state)
        lead = () if named or state.chosen else (clamp_prompt(state, whole),)
        turn.ask(Klass.CHECK, *lead, *check_prompts(state, again=whole), waits=waits)
    # Repeating its setting would be of no use: nobody knows where the carriage would set out from.
    elif is_lost_under_a_call(state):
        propose(turn, to_next_pass(state))
    elif state.mode == CUTTING:
        turn.ask(Klass.SETTING, *_setting_again(state, whole), waits=waits)
    elif state.mode in (MOVE_ASKED, HALTED):
        turn.ask(Klass.MOVE, move_prompt(state), waits=waits)
    elif state.mode == STANDING_BY:
        card = card_prompt(state)
        turn.say(Klass.ANSWER, where_prompt(state), *((card,) if card else ()), prompt("standing by"))
    elif state.mode == FINISHED:
        turn.say(Klass.END, *end_prompts(state, prompt("finished")))


def _clamped_again(state: State) -> bool:
    """Whether the check is asked once more because the board was put to the stop again."""
    index = state.open_check or 0
    check = state.the_job.checks[index]
    return bool(state.redo >> index & 1) and check.when == When.SETUP and check.name not in FIXED


def where_prompt(state: State) -> e.Prompt:
    setup = state.the_setup
    return prompt(
        "where",
        setup=state.setup,
        place=state.place,
        setups=len(state.counted),
        board=setup.board,
        end=setup.end,
        pass_=0 if state.mode == FINISHED else state.next_pass(),
        passes=state.passes,
        resuming=state.mode == RESUMING,
    )
