"""What went wrong: the questions of each mishap, asked while standing by, and the facts that follow from the answers.

An operator who stands by says what happened, or chooses it: by tapping through the list, at the terminal or on the
bench page. First everything is made safe, and that is journalled with whatever follows from it in any case
(`aftermath`). What the other answers add is journalled as soon as they are given, so an interruption between two
questions loses nothing but the open one.
"""

from __future__ import annotations

from collections.abc import Mapping

from assistant.errors import BadInput
from assistant.plans.job_json import fraction_text
from assistant.plans.mishaps import Mishap
from assistant.session import aftermath
from assistant.session import facts as f
from assistant.session.asked import card_prompt
from assistant.session.calling import advance, ask
from assistant.session.concerned import (
    another_blade_cut_it,
    can_be_matched,
    cannot_be,
    cut_as_deep,
    cut_less_deep,
    cut_too_shallow,
    deepest,
    figure_below,
    greatest,
    has_cuts,
    kerf_of,
    kerfs_here,
    length_of,
    patterns_of_this_depth,
    places,
    taken_for_this_one,
)
from assistant.session.detours import follow_change, nothing_changed
from assistant.session.driven import passes_of
from assistant.session.effects import prompt
from assistant.session.kinds import By, JobChange, Klass, QuestionName
from assistant.session.order import setups_of_end
from assistant.session.other_kerf import BOARD_BEGUN, BegunByAnother, Growth, is_fresh, kerf_changed
from assistant.session.rework import all_passes, change_job, refusal, setups_of_board
from assistant.session.state import STANDING_BY, Question, State
from assistant.session.turn import Turn

_KERF = (Mishap.KERF, Mishap.BLADE)
_JUDGED = (Mishap.CUPPED, Mishap.CHIPPED, Mishap.SWAPPED)
_TAPS_ROUND = 20
"""By tapping, a kerf goes up by so many steps, and then on from as many below."""


NO_IS_AN_ANSWER = frozenset(
    {
        QuestionName.SURE,
        QuestionName.WHICH,
        QuestionName.SIDE,
        QuestionName.VERDICT,
        QuestionName.SPOILT,
        QuestionName.LOWERED,
        QuestionName.TOUCHED,
    }
)
"""The questions to which no doesn't mean that nothing changes."""


def is_of_a_mishap(question: Question) -> bool:
    return question.mishap is not None or question.name == QuestionName.WHAT


def tell(turn: Turn, mishap: Mishap | None) -> None:
    """Ask whether this is what happened, and for everything to be made safe. None: ask what happened.

    While another blade's kerf is still to be given, that comes first, whatever else is reported.
    """
    if turn.state.unsettled == Mishap.BLADE:
        mishap = Mishap.BLADE
    name = QuestionName.WHAT if mishap is None else QuestionName.SAFE
    ask(turn, name, turn.state.setup, turn.state.cursor, mishap=mishap)


def tapped(turn: Turn, question: Question) -> bool:
    """A tap while this is asked: the next mishap, or one more. Whether it meant anything."""
    match question.name:
        case QuestionName.WHAT:
            tell(turn, next(iter(Mishap)))
        case QuestionName.SAFE:
            every = list(Mishap)
            assert question.mishap is not None
            tell(turn, every[(every.index(question.mishap) + 1) % len(every)])
        case QuestionName.FIGURE:
            _ask_figure(turn, question, _one_more(turn.state, question))
        case _:
            return False
    return True


def _one_more(state: State, question: Question) -> int:
    if question.mishap in _KERF:
        start = figure_below(state.the_job)
        figure = question.figure or start
        return figure + 1 if figure < start + _TAPS_ROUND else max(1, start - _TAPS_ROUND)
    return question.figure % greatest(state, question) + 1


def take_figure(turn: Turn, question: Question, figure: int) -> None:
    """Ask the same again, with this figure so far; without one if it can't be, which is said."""
    wrong = cannot_be(turn.state, question, figure)
    if wrong is not None:
        turn.lead(wrong)
    _ask_figure(turn, question, 0 if wrong is not None else figure)


def _ask_figure(turn: Turn, question: Question, figure: int) -> None:
    ask(turn, QuestionName.FIGURE, question.setup, question.pass_, mishap=question.mishap, figure=figure)


def answer(turn: Turn, question: Question, yes: bool, by: By) -> None:
    """What follows from the answer to a question about a mishap, which is closed already."""
    if question.name == QuestionName.SAFE and turn.state.mode != STANDING_BY:
        turn.fact(f.StoodBy(by))  # asked once more after an interruption
    match question.name:
        case QuestionName.WHAT if yes:
            turn.lead(prompt("tap to choose"))
            tell(turn, None)
        case QuestionName.SAFE if yes:
            _made_safe(turn, question)
        case QuestionName.SAFE if question.mishap == Mishap.OVERSHOT:
            # Something was cut there after all.
            tell(turn, Mishap.MISPLACED)
        case QuestionName.SAFE if turn.state.unsettled == Mishap.BLADE:
            _ask_old_blade(turn)
        case QuestionName.SAFE:
            # Whoever is still at the plug must not take it that the matter is closed.
            turn.lead(prompt("not reported"))
            nothing_changed(turn)
        case QuestionName.SURE:
            _sure(turn, question, yes)
        case QuestionName.WHICH:
            _which(turn, question, yes)
        case QuestionName.FIGURE if yes:
            _figure_given(turn, question)
        case QuestionName.FIGURE if question.mishap == Mishap.BLADE:
            _ask_old_blade(turn)
        case QuestionName.OLD_BLADE:
            _old_blade(turn, question, yes)
        case QuestionName.SPOILT:
            _spoilt(turn, question, yes, by)
        case QuestionName.SIDE:
            figure = -question.figure if yes else question.figure
            if (wrong := cannot_be(turn.state, question, figure)) is not None:
                turn.lead(wrong)
                _ask_figure(turn, question, 0)
                return
            ask(turn, QuestionName.VERDICT, question.setup, question.pass_, mishap=question.mishap, figure=figure)
        case QuestionName.VERDICT:
            _judged(turn, question, yes)
        case QuestionName.LOWERED:
            ask(turn, QuestionName.TOUCHED, question.setup, 0, mishap=question.mishap, figure=int(yes))
        case QuestionName.TOUCHED:
            turn.fact(f.CameBack(question.setup, bool(question.figure), yes))
            turn.fact(f.CarriedOn(by))
            advance(turn)
        case _:
            nothing_changed(turn)


def _made_safe(turn: Turn, question: Question) -> None:
    mishap, state = question.mishap, turn.state
    assert mishap is not None
    turn.fact(f.WentWrong(question.setup, question.pass_, mishap))
    if another_blade_cut_it(state, mishap):
        turn.lead(prompt("pass of another blade"))
        turn.fact(f.CutsSure(turn.state.setup))
        _done(turn)
    elif aftermath.OF[mishap].unsure:
        _ask_place(turn, QuestionName.SURE, mishap, kerfs_here(state))
    elif mishap == Mishap.MISPLACED:
        _ask_place(turn, QuestionName.WHICH, mishap, places(state))
    elif mishap == Mishap.DEEP and cut_as_deep(state) and not can_be_matched(state):
        turn.lead(prompt("too high to match", highest=deepest(state)[0]))
        _stays_deep(turn, state.setup)
    elif mishap in (Mishap.MISSED, *_KERF) or (mishap == Mishap.DEEP and cut_as_deep(state)):
        ask(turn, QuestionName.FIGURE, state.setup, state.cursor, mishap=mishap)
    elif mishap in _JUDGED or (mishap == Mishap.SHALLOW and cut_too_shallow(state)):
        ask(turn, QuestionName.VERDICT, state.setup, state.cursor, mishap=mishap)
    else:
        if aftermath.OF[mishap].asks_on:
            turn.fact(f.CutsSure(turn.state.setup))
        _done(turn)


def _ask_place(turn: Turn, name: QuestionName, mishap: Mishap, among: list[int]) -> None:
    """Ask about the first of these passes, or end where there is none."""
    if among:
        ask(turn, name, turn.state.setup, among[0], mishap=mishap)
    else:
        turn.fact(f.CutsSure(turn.state.setup))
        _done(turn)


def _after(pass_: int, among: list[int]) -> list[int]:
    return among[among.index(pass_) + 1 :] if pass_ in among else among


def _sure(turn: Turn, question: Question, yes: bool) -> None:
    """A pass that was cut after the work had moved is cut again, and so perhaps was the one before it."""
    left = [] if yes else _after(question.pass_, kerfs_here(turn.state))
    if not yes:
        turn.fact(f.SteppedBack(question.setup, question.pass_))
    if left:
        ask(turn, QuestionName.SURE, question.setup, left[0], mishap=question.mishap)
        return
    turn.fact(f.CutsSure(turn.state.setup))
    if turn.state.mode == STANDING_BY:
        _done(turn)
    else:
        advance(turn)  # asked once more after an interruption


def _which(turn: Turn, question: Question, yes: bool) -> None:
    assert question.mishap is not None
    if question.mishap == Mishap.SWAPPED:
        _which_board(turn, question, yes)
    elif yes:
        ask(turn, QuestionName.FIGURE, question.setup, question.pass_, mishap=question.mishap)
    elif left := _after(question.pass_, places(turn.state)):
        _ask_place(turn, QuestionName.WHICH, question.mishap, left)
    else:
        nothing_changed(turn)


def _which_board(turn: Turn, question: Question, yes: bool) -> None:
    """Whether it is this board that was taken for the one called: then it is spoilt, with what was cut well into it."""
    if yes:
        why_not = refusal(turn.state, JobChange.SPOILT, question.setup)
        if why_not is None:
            change_job(turn, JobChange.SPOILT, question.setup)
        else:
            turn.lead(why_not)
        _with_another_board(turn, turn.state.setup)
        return
    _ask_which_board(turn, _after(question.setup, taken_for_this_one(turn.state)))


def _ask_which_board(turn: Turn, among: list[int]) -> None:
    """Ask about the first of these boards; without any, none that was put aside has to be cut again."""
    if among:
        ask(turn, QuestionName.WHICH, among[0], 0, mishap=Mishap.SWAPPED)
    else:
        _with_another_board(turn, turn.state.setup)


def _figure_given(turn: Turn, question: Question) -> None:
    state, mishap = turn.state, question.mishap
    wrong = None
    if mishap not in _KERF:
        wrong = cannot_be(state, question, question.figure) if question.figure else prompt("no figure yet")
    else:
        try:
            kerf_changed(state, kerf_of(state.the_job, question.figure), mishap == Mishap.BLADE)
        except BadInput as error:
            # A board is given up only where no more than that is in the way.
            fault = next((one for one in error.faults if one.mend != BOARD_BEGUN), error.faults[0])
            wrong = prompt("kerf won't do", why=fault.what, mend=fault.mend)
            if isinstance(error, BegunByAnother) and mishap == Mishap.BLADE:
                turn.lead(wrong)
                _ask_old_blade(turn, error.setup)
                return
    if wrong is not None:
        turn.lead(wrong)
        _ask_figure(turn, question, 0)
        return
    name = QuestionName.SIDE if mishap == Mishap.MISPLACED else QuestionName.VERDICT
    ask(turn, name, question.setup, question.pass_, mishap=mishap, figure=question.figure)


def _judged(turn: Turn, question: Question, yes: bool) -> None:
    """What was read back is done; or the board is spoilt, where that is the other way out."""
    state, mishap, figure = turn.state, question.mishap, question.figure
    if not yes:
        if mishap == Mishap.SWAPPED:
            _ask_which_board(turn, taken_for_this_one(state))
        elif mishap == Mishap.DEEP:
            _stays_deep(turn, question.setup)
        elif mishap in (Mishap.MISPLACED, Mishap.SHALLOW, *_JUDGED):
            _ask_spoilt(turn, question.setup, mishap)
        elif mishap == Mishap.BLADE:
            _ask_figure(turn, question, 0)
        else:
            nothing_changed(turn)
        return
    match mishap:
        case Mishap.MISPLACED:
            off_by = figure * length_of(state.the_job)
            turn.fact(f.KerfMisplaced(question.setup, question.pass_, fraction_text(off_by)))
            if state.is_cut(question.pass_):
                turn.fact(f.SteppedBack(question.setup, question.pass_))
        case Mishap.SHALLOW:
            _cut_deeper(turn, cut_too_shallow(state))
        case Mishap.DEEP:
            depth = state.pattern.depth + figure * length_of(state.the_job)
            turn.fact(f.DepthSet(patterns_of_this_depth(state), fraction_text(depth)))
            _cut_deeper(turn, cut_less_deep(state))
        case Mishap.MISSED:
            turn.fact(f.Jumped(question.setup, figure))
        case Mishap.KERF | Mishap.BLADE:
            changed = kerf_changed(state, kerf_of(state.the_job, figure), mishap == Mishap.BLADE)
            turn.fact(changed.fact)
            if changed.follows:
                # The board in the clamps goes on as another setup, so it is clamped and tried again.
                # The other card is about work that stays in its clamps.
                card = card_prompt(turn.state) if mishap == Mishap.BLADE else None
                turn.fact(f.BoardChosen(changed.follows))
                turn.lead(*((card,) if card else ()))
                advance(turn)
                return
    _done(turn)


def _ask_old_blade(turn: Turn, begun: int = 0) -> None:
    """Ask whether the old blade is back. begun: a setup that it has begun, and another kerf can't go on with."""
    setup = begun or turn.state.setup
    ask(turn, QuestionName.OLD_BLADE, setup, 0, mishap=Mishap.BLADE, figure=int(bool(begun)))


def _old_blade(turn: Turn, question: Question, yes: bool) -> None:
    """Without it, only the kerf is left to be given; or the board for which it won't do is spoilt."""
    if yes:
        turn.fact(f.OldBladeBack(turn.state.setup))
        turn.lead(prompt("old kerf counts"))
        _done(turn)
    elif question.figure:
        _ask_spoilt(turn, question.setup, Mishap.BLADE)
    else:
        _ask_kerf(turn)


def _ask_kerf(turn: Turn) -> None:
    ask(turn, QuestionName.FIGURE, turn.state.setup, turn.state.cursor, mishap=Mishap.BLADE)


def _ask_spoilt(turn: Turn, setup: int, mishap: Mishap) -> None:
    """Ask for good whether this board is spoilt, unless it can't be."""
    why_not = refusal(turn.state, JobChange.SPOILT, setup, settles=mishap)
    if why_not is None:
        ask(turn, QuestionName.SPOILT, setup, 0, mishap=mishap)
    elif mishap == Mishap.BLADE:
        turn.lead(why_not)
        _ask_kerf(turn)
    else:
        turn.say(Klass.ANSWER, why_not)


def _spoilt(turn: Turn, question: Question, yes: bool, by: By) -> None:
    if yes:
        change_job(turn, JobChange.SPOILT, question.setup)
    if question.mishap == Mishap.BLADE:
        if turn.state.mode != STANDING_BY:
            turn.fact(f.StoodBy(by))  # its board was the one in the clamps
        _ask_kerf(turn)
    elif yes:
        follow_change(turn)
    else:
        nothing_changed(turn)


def _stays_deep(turn: Turn, setup: int) -> None:
    """Mark every end that was cut too deep; those of the board that is spoilt lose their marks with it."""
    found = cut_as_deep(turn.state)
    for number, mask in found.items():
        turn.fact(f.Noted(number, mask.bit_length(), Mishap.DEEP.means))
    same_board = setups_of_board(turn.state.the_job, setup)
    if others := tuple(number for number in found if number not in same_board):
        turn.lead(prompt("as deep", setups=others))
    _ask_spoilt(turn, setup, Mishap.DEEP)


def _with_another_board(turn: Turn, setup: int) -> None:
    """What was cut is no board of this setup, so all of it is still to be cut, into the board that it names.

    Both halves of an end are in that board. Where another blade has begun, this one begins from the start.
    """
    job = turn.state.the_job
    end, growth = setups_of_end(job, setup), Growth(job)
    for number in end:
        if has_cuts(turn.state, number):
            turn.fact(f.SetupReopened(number, all_passes(job, number), 0, ""))
    if not all(is_fresh(job, number) for number in end):
        growth.lay_out(end)
        turn.fact(growth.fact(Mishap.SWAPPED))
    turn.fact(f.BoardChosen(growth.replaced.get(end[0], end[0])))
    turn.lead(prompt("another board"))
    advance(turn)


def _cut_deeper(turn: Turn, masks: Mapping[int, int]) -> None:
    for number, mask in masks.items():
        turn.fact(f.SetupReopened(number, passes_of(mask), 0, "", deeper=True))


def _done(turn: Turn) -> None:
    """What to do now; nothing goes on before the operator carries on."""
    card = card_prompt(turn.state)
    turn.say(Klass.ANSWER, *((card,) if card else ()), prompt("standing by"))
