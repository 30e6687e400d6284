"""Back, go to pass N and end, which are read back and need a yes or no. Also the questions after resuming."""

from __future__ import annotations

from assistant.plans.job_json import fraction_text
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.asked import end_prompts
from assistant.session.calling import (
    advance,
    ask,
    ask_registered,
    call_setting,
    clamp_prompt,
    say_again,
    setting_prompt,
    where_prompt,
)
from assistant.session.driven import (
    is_driven,
    is_lost_under_a_call,
    to_next_pass,
)
from assistant.session.facts import Move
from assistant.session.kinds import JobChange, Klass, MoveKind, QuestionName, SetupStatus, Then
from assistant.session.other_kerf import is_of_another_blade
from assistant.session.rework import CHANGES, QUESTIONS, change_job, refusal
from assistant.session.sending import propose
from assistant.session.slip import trial
from assistant.session.state import CUTTING, FINISHED, STANDING_BY, Question, State
from assistant.session.turn import Turn, prompt


def back_target(state: State) -> tuple[int, int] | None:
    """The (setup, pass) that "back one pass" means now, or None if there is nothing to go back to."""
    if state.mode == FINISHED:
        return state.setup, state.passes
    if state.cursor > 1:
        # A pass that is called is not cut yet, so "back" means the one before it.
        in_flight = not state.is_cut(state.cursor)
        return state.setup, state.cursor - 1 if in_flight else state.cursor
    if state.cursor == 1 and state.is_cut(1):
        return state.setup, 1
    before = state.previous
    # Until anything is answered here, the board before may still lie in its clamps.
    if state.cursor == 0 and before and not (state.touched or state.cut or state.chosen):
        was_cut = state.status[before - 1] == SetupStatus.CUT
        return (before, len(state.the_job.pattern_of(before).passes)) if was_cut else None
    return None


def ask_back(turn: Turn) -> None:
    target = back_target(turn.state)
    if target is None:
        closed = bool(turn.state.previous)
        turn.say(Klass.ANSWER, prompt("earlier setup closed" if closed else "nothing to go back to"))
        return
    if is_of_another_blade(turn.state.the_job, target[0]):
        turn.say(Klass.ANSWER, prompt("pass of another blade"))
        return
    ask(turn, QuestionName.BACK, *target)


def ask_go_to(turn: Turn, pass_: int) -> None:
    if not 1 <= pass_ <= turn.state.passes:
        turn.say(Klass.ANSWER, prompt("no such pass", pass_=pass_, passes=turn.state.passes))
        return
    if is_of_another_blade(turn.state.the_job, turn.state.setup):
        turn.say(Klass.ANSWER, prompt("pass of another blade"))
        return
    ask(turn, QuestionName.GO_TO, turn.state.setup, pass_)


def ask_end(turn: Turn) -> None:
    ask(turn, QuestionName.END, turn.state.setup, turn.state.next_pass())


def answer_yes(turn: Turn) -> None:
    question = turn.state.question
    if question is None:
        raise ValueError("no question is open")
    # First, or all that follows would open beneath a question that is still open.
    turn.fact(f.Dropped())
    match question.name:
        case QuestionName.BACK:
            _step_back(turn, question)
        case QuestionName.GO_TO:
            turn.fact(f.Jumped(question.setup, question.pass_))
            _call_again(turn)
        case QuestionName.END:
            turn.fact(f.EndedEarly(question.setup, question.pass_))
            ended = prompt("ended early", left=turn.state.left_in_all)
            turn.say(Klass.END, *end_prompts(turn.state, ended))
            turn.effect(e.Close(open_=False))
        case QuestionName.ZEROED:
            turn.fact(f.Zeroed(question.setup))
            ask_clamped(turn)
        case QuestionName.CARRIAGE:
            turn.fact(f.StandsThere())
            ask_clamped(turn)
        case QuestionName.CLAMPED:
            turn.fact(f.StillClamped())
            advance(turn)
        case QuestionName.OFF:
            advance(turn)
        case QuestionName.REGISTERED:
            # Looked up before the fact, which moves the carriage to where the cut was tried.
            tried, named = trial(turn.state), not turn.state.touched
            turn.fact(f.Reregistered(question.setup, fraction_text(tried.setting) if tried else ""))
            if not named:
                turn.say(Klass.CLAMP, clamp_prompt(turn.state, whole=True))
            advance(turn)
        case QuestionName.BOARD | QuestionName.CUT_OFF | QuestionName.SOCKET | QuestionName.SPOILT | QuestionName.COPY:
            change_job(turn, CHANGES[question.name], question.setup, question.pass_)
            follow_change(turn)


def answer_no(turn: Turn) -> None:
    question = turn.state.question
    if question is None:
        raise ValueError("no question is open")
    turn.fact(f.Dropped())
    match question.name:
        case QuestionName.CARRIAGE:
            ask(turn, QuestionName.ZEROED, question.setup, question.pass_)
        case QuestionName.CLAMPED:
            ask_registered(turn)
        case QuestionName.ZEROED | QuestionName.REGISTERED | QuestionName.OFF:
            # The session can't go on without it, so it is asked until the answer is yes.
            ask(turn, question.name, question.setup, question.pass_)
        case QuestionName.CUT_OFF:
            # An end that can't be cut off can't be cut again.
            ask(turn, QuestionName.SPOILT, question.setup, 0)
        case _:
            nothing_changed(turn)


def ask_change(turn: Turn, what: JobChange, setup: int, socket: int = 0) -> None:
    """Read back what is to become of a setup or its board, unless it can't be."""
    why_not = refusal(turn.state, what, setup, socket)
    if why_not is not None:
        turn.say(Klass.ANSWER, why_not)
    else:
        ask(turn, QUESTIONS[what], setup, socket)


def follow_change(turn: Turn) -> None:
    """Go on: with the board in the clamps, or by taking it out of them."""
    state = turn.state
    if state.mode == STANDING_BY:
        turn.say(Klass.ANSWER, prompt("job changed"), prompt("standing by"))
        return
    if state.chosen:
        advance(turn)
        return
    turn.lead(prompt("job changed"))
    _call_again(turn)


def nothing_changed(turn: Turn) -> None:
    """A question got a no or no answer: say that nothing changed, and repeat what is asked or called now."""
    state = turn.state
    unchanged = prompt("nothing changed")
    if is_lost_under_a_call(state):
        propose(turn, to_next_pass(state), unchanged)
        return
    if state.mode == CUTTING:
        turn.ask(Klass.SETTING, unchanged, setting_prompt(state, state.cursor, after_gate=False))
        return
    turn.say(Klass.ANSWER, unchanged)
    say_again(turn, whole=False)


def _step_back(turn: Turn, question: Question) -> None:
    reopened = question.setup != turn.state.setup or turn.state.mode == FINISHED
    turn.fact(f.SteppedBack(question.setup, question.pass_))
    if reopened:
        reopening = prompt("setup reopened", pass_=question.pass_)
        turn.say(Klass.CLAMP, reopening, clamp_prompt(turn.state, whole=True))
        advance(turn)
    else:
        _call_again(turn)


def _call_again(turn: Turn) -> None:
    """Within the setup the work has not been touched, so only checks that were already due come first."""
    if turn.state.mode == CUTTING:
        call_setting(turn, after_gate=False)
    else:
        advance(turn)


def begin_resuming(turn: Turn, notes: tuple[str, ...]) -> None:
    """Record the resumption and open its first question."""
    state = turn.state
    in_flight = state.cursor if state.cursor and not state.is_cut(state.cursor) else 0
    turn.fact(f.Resumed(state.setup, in_flight))
    state = turn.state
    counted, place = len(state.counted), state.place
    begun = prompt("resumed", setup=state.setup, place=place, setups=counted, cut=state.cut_in_all)
    lines = (begun, *(prompt("device", text=note) for note in notes))
    if is_driven(state.the_job):
        # A board that makes room for another is not named once more to be clamped.
        then = Then.CLAMPED if state.touched or state.leaves else Then.BOARD
        propose(turn, Move(MoveKind.HOME, then, state.setup), *lines)
    # No setting was ever called, so there is none at which the carriage could still stand.
    elif state.carriage_at is None:
        ask_clamped(turn, *lines)
    else:
        ask(turn, QuestionName.CARRIAGE, state.setup, in_flight, *lines)


def ask_clamped(turn: Turn, *before: e.Prompt) -> None:
    """Ask whether the work is still clamped. If its clamping was never confirmed, it is clamped from the start.

    If all is cut, it no longer matters whether the work moved: only the cuts must be counted.
    """
    state = turn.state
    if state.leaves:
        turn.say(Klass.CLAMP, *before, prompt("board leaves"))
        advance(turn)
    elif (state.moved or state.to_register and state.touched) and not (before or state.setup_complete):
        # It is tried whatever is said of the clamps, or asked after as it would have been without the interruption.
        advance(turn)
    elif state.setup_complete:
        turn.say(Klass.CLAMP, *before, where_prompt(state))
        advance(turn)
    elif state.touched:
        ask(turn, QuestionName.CLAMPED, state.setup, state.next_pass(), *before)
    else:
        turn.say(Klass.CLAMP, *before, clamp_prompt(state, whole=True))
        advance(turn)
