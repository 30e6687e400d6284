"""What is open now: a check, a read-back or a question, with its figures."""

from __future__ import annotations

from assistant.joinery.misplaced import thinned
from assistant.plans.checks import CLAMPS, PIECE_CHECK, SAW_OFF, figures_of
from assistant.plans.mishaps import Mishap
from assistant.plans.model import Check, Job, Setup
from assistant.session import effects as e
from assistant.session.concerned import (
    cut_as_deep,
    cut_less_deep,
    cut_too_shallow,
    kerf_of,
    left_less_deep,
    left_shallow,
    length_of,
    steps_left,
)
from assistant.session.driven import move_prompt, passes_of
from assistant.session.effects import prompt
from assistant.session.kinds import QuestionName, ToMove
from assistant.session.order import opposite
from assistant.session.other_kerf import kerf_changed
from assistant.session.slip import Tried, to_try, trial
from assistant.session.state import CHECKS, STANDING_BY, Question, State

_MOVE = ("setting", "previous", "approach")
_PUT_TO_THE_STOP = (Mishap.DUST, Mishap.CUPPED, Mishap.CHIPPED, Mishap.BLADE)
"""The work comes out of its clamps, to sweep, to be clamped flat or for the backing, and is put to the stop again."""


def asked(state: State) -> e.Prompt | None:
    """The open question, or else the open check; None when nothing is asked."""
    if state.question:
        return question_prompt(state)
    if state.mode == CHECKS and state.open_check is not None:
        return check_prompt(state)
    return None


def check_prompt(state: State, index: int | None = None, again: bool = False) -> e.Prompt:
    """A check's question (the open one's) with its figures, mm, as `plans.checks.figures_of` has them.

    again: "say again" was asked for, which is answered by the whole question. Its figure `whole`: say all of it. So
    clamps are asked about after an interruption, since nothing in this run has said yet what to keep clear.
    """
    chosen = (state.open_check if index is None else index) or 0
    check = state.the_job.checks[chosen]
    whole = again or (check.name == CLAMPS and bool(state.redo >> chosen & 1))
    tried = to_try(state) if check.name == PIECE_CHECK else None
    return question_of(state.the_job, state.the_setup, check, tried, whole=whole)


def question_of(job: Job, setup: Setup, check: Check, tried: Tried | None, whole: bool = False) -> e.Prompt:
    """A check's question in this setup. tried: what the check of the distance piece asks to try. whole: say all."""
    figures = figures_of(job, job.patterns[setup.pattern])
    if setup.half:
        figures["half"] = setup.half
    if tried:
        figures["where"], figures["setting"] = tried
    return prompt("check", name=check.name, say=check.say, whole=whole, end=setup.end, **figures)


def check_prompts(state: State, index: int | None = None, again: bool = False) -> tuple[e.Prompt, ...]:
    """A check's whole announcement. Once all is cut it first names the problems marked in this setup."""
    question = check_prompt(state, index, again)
    passes = tuple(pass_ for setup, pass_ in state.marked if setup == state.setup)
    # Only while it can still be looked at: after this check the board comes out.
    if not passes or dict(question.figures)["name"] != SAW_OFF:
        return (question,)
    return prompt("marked here", passes=passes), question


def end_prompts(state: State, last: e.Prompt) -> tuple[e.Prompt, ...]:
    """What is said when the session is over: every problem marked in it, what two blades left, and then what to do."""
    marked = (prompt("marked in all", places=state.marked),) if state.marked else ()
    steps = steps_left(state)
    return *marked, *((prompt("steps left", steps=steps),) if steps else ()), last


def _cut_off(state: State, setup: int) -> dict[str, object]:
    """How much length goes with an end, mm, and whose setup must lose as much: 0 if not known, None for none."""
    facing = opposite(state, setup)
    return {
        # The end is cut off past the bottoms of its sockets, and that cut takes a kerf as well.
        "off": state.the_job.pattern_of(setup).depth + state.the_job.kerf,
        "facing": None if facing is None else facing.setup,
    }


def _moved(state: State) -> ToMove | None:
    if state.moved in (None, *_PUT_TO_THE_STOP):
        return None
    # A driven carriage has been homed since.
    reads_wrong = state.moved == Mishap.BUMPED and state.the_job.carriage.drive is None and not state.is_zeroed
    return ToMove.CARRIAGE if reads_wrong else ToMove.WORK


def _of_the_mishap(state: State, question: Question) -> dict[str, object]:
    """mishap: what it is about. figure: in its steps. recalled: it was reported before the session went on.

    What the figures of each mean: `wording.mishaps`.
    """
    mishap, figure, job = question.mishap, question.figure, state.the_job
    called = not state.is_cut(question.pass_ or 1)
    # Live it stays unsettled only if it is another blade.
    recalled = state.mode != STANDING_BY or state.unsettled == mishap
    figures: dict[str, object] = {"mishap": mishap, "figure": figure, "called": called, "recalled": recalled}
    if mishap in (Mishap.KERF, Mishap.BLADE):
        figures |= {"kerf": kerf_of(job, figure), "was": job.kerf}
        if question.name == QuestionName.VERDICT:
            changed = kerf_changed(state, kerf_of(job, figure), mishap == Mishap.BLADE)
            figures |= {"laid_out": bool(changed.replaced), "board_out": bool(changed.follows)}
    elif mishap == Mishap.MISPLACED and question.name in (QuestionName.FIGURE, QuestionName.SIDE, QuestionName.VERDICT):
        off_by = figure * length_of(job)
        one = state.pattern.passes[question.pass_ - 1]
        lost = thinned(state.pattern, one, off_by) if question.name == QuestionName.VERDICT else ()
        figures |= {"off_by": off_by, "thinned": lost}
    elif mishap == Mishap.SHALLOW:
        figures |= {"depth": state.pattern.depth, "setups": tuple(cut_too_shallow(state))}
    elif mishap == Mishap.DEEP:
        proud = figure * length_of(job)
        figures |= {"proud": proud, "depth": state.pattern.depth + proud}
        as_deep = tuple(n for n in cut_as_deep(state) if n != state.setup)
        figures |= {"as_deep": as_deep, "setups": tuple(cut_less_deep(state)), "stay": left_less_deep(state)}
    return figures


def card_prompt(state: State) -> e.Prompt | None:
    """What to do after the mishap reported while standing by; None for none.

    cut_so: something was cut too deep. lost, to_cut: wood of a finger was lost to a cut in the wrong place, and its
    right cut is still to be made.
    """
    if state.trouble is None:
        return None
    is_over = state.setup_complete or state.leaves
    tried = state.moved is not None and trial(state) is not None and not is_over
    figures: dict[str, object] = {"mishap": state.trouble, "setup": state.setup, "depth": state.pattern.depth}
    if state.trouble == Mishap.DEEP:
        figures["cut_so"] = bool(cut_as_deep(state))
    if state.trouble == Mishap.MISPLACED:
        named = [cut for cut in state.wrong if cut.setup == state.setup and cut.off_by is not None]
        passes, to_cut = state.pattern.passes, any(not state.is_cut(cut.pass_) for cut in named)
        lost = any(cut.off_by and thinned(state.pattern, passes[cut.pass_ - 1], cut.off_by) for cut in named)
        if not (to_cut or lost):
            return None
        figures |= {"to_cut": to_cut, "lost": lost}
    return prompt("card", **figures, tried=tried, is_over=is_over)


def question_prompt(state: State) -> e.Prompt:
    question = state.question
    if question is None:
        raise ValueError("no question is open")
    tries = trial(state) if question.name == QuestionName.REGISTERED else None
    figures = {} if tries is None else {name: getattr(tries, name) for name in ("where", *_MOVE)}
    half = state.the_job.setups[question.setup - 1].half
    place = {"setup": question.setup, "pass_": question.pass_, **({"half": half} if half else {})}
    if question.name == QuestionName.MOVE:
        return prompt("ask move", **place, **dict(move_prompt(state).figures))
    if question.name == QuestionName.OFF:
        doubtful = passes_of(state.driving.unproved)
        return prompt("ask off", **place, off_by=state.driving.off_by, beyond=state.driving.beyond, passes=doubtful)
    if question.mishap is not None or question.name == QuestionName.WHAT:
        return prompt(f"ask {question.name}", **place, **_of_the_mishap(state, question))
    if question.name == QuestionName.CUT_OFF:
        return prompt("ask cut off", **place, **_cut_off(state, question.setup))
    shallow = left_shallow(state, state.setup) if question.name == QuestionName.REGISTERED else ()
    return prompt(
        f"ask {question.name}",
        **place,
        begun=bool(state.cut) and not state.setup_complete,
        carriage_at=state.carriage_at,
        came_from=state.came_from,
        left=state.left_in_all,
        cut_here=state.cut_here + (len(state.pattern.before) if state.pattern.is_rest else 0) + len(shallow),
        moved=_moved(state),
        same_setup=question.setup == state.setup,
        tolerance=state.the_job.clearance / 4,
        tried=0 if tries is None else tries.pass_,
        **figures,
    )
