"""The plain path: checks must be confirmed, the setting is called, the pass recorded, the next setup begun."""

from __future__ import annotations

from dataclasses import replace

from assistant.plans.checks import FIXED
from assistant.plans.job_json import fraction_text
from assistant.plans.model import Job, When
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.asked import check_prompts, end_prompts, question_prompt
from assistant.session.checks import first_due, is_due
from assistant.session.kinds import By, Klass
from assistant.session.state import CHECKS, CUTTING, FINISHED, RESUMING, STANDING_BY, State
from assistant.session.turn import Turn, prompt, way_to


def advance(turn: Turn, after_gate: bool = True) -> None:
    """Open the next due check or, when none is due, call the setting.

    after_gate: the blade is presumed to stand still, so the first call is made in full.
    """
    index = first_due(turn.state)
    if index is None:
        if turn.state.setup_complete:
            _end_setup(turn)
        else:
            call_setting(turn, in_full=after_gate)
        return
    check = turn.state.the_job.checks[index]
    turn.fact(f.CheckOpened(turn.state.setup, check.name))
    turn.ask(Klass.CHECK, *check_prompts(turn.state))
    turn.effect(e.Prepare(_after_check(turn.state)))


def setting_prompt(state: State, pass_: int, in_full: bool) -> e.Prompt:
    """The setting of a pass.

    Its figure `repeated`: this or another setting was called and not cut, so nobody knows whether the carriage has
    moved.
    """
    to = state.pattern.passes[pass_ - 1]
    repeated = pass_ == state.cursor
    previous, below = way_to(state, to, repeated)
    return prompt(
        "setting in full" if in_full else "setting",
        pass_=pass_,
        setting=to.setting,
        previous=previous,
        repeated=repeated,
        approach=below,
    )


def call_setting(turn: Turn, in_full: bool) -> None:
    state = turn.state
    number = state.next_pass()
    setting = state.pattern.passes[number - 1].setting
    spoken = setting_prompt(state, number, in_full)
    turn.fact(f.SettingCalled(state.setup, number, fraction_text(setting)))
    turn.ask(Klass.SETTING, spoken)
    turn.effect(e.Prepare(_after_setting(turn.state)))


def _after_setting(state: State) -> tuple[tuple[e.Prompt, ...], ...]:
    """What may have to be said next: this setting again, the next setting, or the question once all is cut."""
    again = (setting_prompt(state, state.cursor, in_full=False),)
    after = replace(state, cut=state.cut | 1 << (state.cursor - 1))
    following = after.next_pass()
    if following:
        return again, (setting_prompt(state, following, in_full=False),)
    index = first_due(after)
    return (again,) if index is None else (again, check_prompts(after, index))


def _after_check(state: State) -> tuple[tuple[e.Prompt, ...], ...]:
    """The check after this one, or the first setting, or what follows the setup."""
    following = range((state.open_check or 0) + 1, len(state.the_job.checks))
    index = next((i for i in following if is_due(state, i)), None)
    if index is not None:
        return (check_prompts(state, index),)
    if not state.setup_complete:
        return ((setting_prompt(state, state.next_pass(), in_full=True),),)
    if state.setup < len(state.the_job.setups):
        return ((*_stage_over(state), clamp_prompt(state.the_job, state.setup + 1)),)
    return (end_prompts(state, prompt("finished")),)


def clamp_prompt(job: Job, number: int) -> e.Prompt:
    """What to clamp for setup `number`: board, part, end, edge against the stop, face against the backing."""
    setup = job.setups[number - 1]
    same_board = [s for s in job.setups if (s.board, s.part) == (setup.board, setup.part)]
    return prompt(
        "clamp",
        setup=number,
        setups=len(job.setups),
        board=setup.board,
        part=setup.part,
        end=setup.end,
        copies=setup.copies,
        first_copy=setup.first_copy,
        of=max(s.first_copy + s.copies - 1 for s in same_board),
        stop_side=job.carriage.stop_side,
        register=job.carriage.register,
        layout=job.layout,
    )


def begin_setup(turn: Turn, number: int, *before: e.Prompt) -> None:
    turn.fact(f.SetupStarted(number))
    turn.say(Klass.CLAMP, *before, clamp_prompt(turn.state.the_job, number))
    advance(turn)


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
    """What must be done before the next stage, if this setup is the last of its stage."""
    setups = state.the_job.setups
    if state.setup == len(setups) or setups[state.setup].stage == state.the_setup.stage:
        return ()
    return (prompt("stage over", stage=state.the_setup.stage),)


def cut_pass(turn: Turn, by: By) -> None:
    """Record the called pass as cut and go on: the next pass, or the question once all is cut."""
    state = turn.state
    turn.fact(f.PassCut(state.setup, state.cursor, by))
    advance(turn, after_gate=first_due(turn.state) is not None)


def _end_setup(turn: Turn) -> None:
    """All is cut and counted, and the blade stands still: only now is the next board named, or the session ends."""
    state = turn.state
    turn.fact(f.SetupDone(state.setup))
    if state.setup < len(state.the_job.setups):
        begin_setup(turn, state.setup + 1, *_stage_over(state))
        return
    turn.fact(f.Finished())
    turn.say(Klass.END, *end_prompts(state, prompt("finished")))


def say_again(turn: Turn, waits: bool = False) -> None:
    """What is asked or called now, once more. waits: it doesn't cut off current speech."""
    state = turn.state
    if state.question:
        turn.ask(Klass.QUESTION, question_prompt(state), waits=waits)
    elif state.mode == CHECKS and state.open_check is not None:
        lead = () if state.touched and not _clamped_afresh(state) else (clamp_prompt(state.the_job, state.setup),)
        turn.ask(Klass.CHECK, *lead, *check_prompts(state), waits=waits)
    elif state.mode == CUTTING:
        turn.ask(Klass.SETTING, prompt("again"), setting_prompt(state, state.cursor, in_full=False), waits=waits)
    elif state.mode == STANDING_BY:
        turn.say(Klass.ANSWER, where_prompt(state), prompt("standing by"))
    elif state.mode == FINISHED:
        turn.say(Klass.END, *end_prompts(state, prompt("finished")))


def _clamped_afresh(state: State) -> bool:
    """Whether the question is asked again because the board was put against the stop again."""
    index = state.open_check or 0
    check = state.the_job.checks[index]
    return bool(state.redo >> index & 1) and check.when == When.SETUP and check.name not in FIXED


def where_prompt(state: State) -> e.Prompt:
    setup = state.the_setup
    return prompt(
        "where",
        setup=state.setup,
        setups=len(state.the_job.setups),
        board=setup.board,
        end=setup.end,
        pass_=0 if state.mode == FINISHED else state.next_pass(),
        passes=state.passes,
        resuming=state.mode == RESUMING,
    )
