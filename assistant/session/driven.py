"""A driven carriage: whether it may move, where to, and who may let it.

One rule stands above the others: nothing moves unless the operator lets it there and then. A tap lets it go on by one
step, if a switch shows the sled drawn right back. For everything else the pedal is held down, and letting go halts it.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from assistant.joinery.model import Carriage, HomeKind, Register
from assistant.joinery.settings import approach
from assistant.plans.model import Job
from assistant.session import effects as e
from assistant.session.checks import is_out
from assistant.session.effects import prompt
from assistant.session.facts import Move
from assistant.session.kinds import MoveKind, Then
from assistant.session.order import coming
from assistant.session.slip import Trial, first_half_again, trial, wrong_kerfs
from assistant.session.state import CUTTING, HALTED, MOVE_ASKED, State

FARTHEST_STEP = Fraction(25)
"""A tap moves the carriage no farther than this (mm): more is no next pass, and gives nobody time to look."""


def is_driven(job: Job) -> bool:
    return job.carriage.drive is not None


def stands_at(state: State, setting: Fraction) -> bool:
    """Whether the carriage has arrived at this setting, and nothing has cast doubt on it since."""
    return state.driving.known and state.driving.at == setting


def is_sled_seen(state: State) -> bool:
    """Whether the sled was seen to leave its place and to come right back since the pass was called.

    A stray tap, a stuck switch and a broken wire show in this. True where no switch tells.
    """
    drive = state.the_job.carriage.drive
    return drive is None or not drive.clear_input or bool(state.driving.gone and state.driving.clear)


def first_place(state: State, setup: int) -> Move:
    """Where the carriage stands while this setup's board is clamped: at its first setting, or at zero for a bar.

    The second half of an end is clamped where a cut of the first one is tried.
    """
    job = state.the_job
    if job.carriage.register == Register.SETTING_BAR:
        return Move(MoveKind.SETTING, Then.BOARD, setup, 0, Fraction(0))
    if tried := first_half_again(job, job.setups[setup - 1], wrong_kerfs(state, setup)):
        return Move(MoveKind.SETTING, Then.BOARD, setup, 0, tried.setting)
    return Move(MoveKind.SETTING, Then.BOARD, setup, 1, job.pattern_of(setup).passes[0].setting)


def to_next_pass(state: State, then: Then = Then.CALL) -> Move:
    """To the setting of the pass that is called next."""
    number = state.next_pass()
    setting = state.pattern.passes[number - 1].setting
    stands = state.driving.at
    step = (
        state.driving.after_cut
        and then == Then.CALL
        and stands is not None
        and Fraction(0) < setting - stands <= FARTHEST_STEP
    )
    return Move(MoveKind.SETTING, then, state.setup, number, setting, step)


def to_trial(state: State, tried: Trial) -> Move:
    """To where work that may have moved is tried."""
    return Move(MoveKind.SETTING, Then.TRIAL, state.setup, tried.pass_, tried.setting)


def by_tap(carriage: Carriage, move: Move, stands: Fraction | None) -> bool:
    """Whether a tap lets it move; otherwise the pedal is held down.

    stands: the setting at which it has arrived, mm. None: it was halted on its way, and goes on only while held.
    """
    drive = carriage.drive
    return drive is not None and drive.clear_input and move.step and stands is not None


def by_hand(carriage: Carriage, move: Move) -> bool:
    """Whether this is zeroing by hand: nothing moves."""
    drive = carriage.drive
    return move.what == MoveKind.HOME and drive is not None and drive.home == HomeKind.BY_HAND


def visits(state: State) -> bool:
    """Whether the home switch must be visited before the board is taken out: it proves the cuts made since."""
    drive, it = state.the_job.carriage.drive, state.driving
    at_switch = drive is not None and drive.home == HomeKind.SWITCH
    # A lost carriage is homed instead, and homing proves nothing.
    return at_switch and it.known and not it.visited and (state.setup_complete or bool(it.unproved))


def still_from(state: State) -> float | None:
    """When the blade can be taken to stand still, for a move that needs it (s); None: it may turn, or stands still.

    Before this has gone out: as if it went out at the time of the last record.
    """
    move, out_at = state.driving.move, state.opening.out_at
    if move is None or move.step or state.driving.still or by_hand(state.the_job.carriage, move):
        return None
    return (state.at if out_at is None else out_at) + state.the_job.run_down_s


def point_below(state: State, move: Move) -> Fraction:
    """Where the last way to the setting begins, mm: always from the same side."""
    assert move.to is not None
    carriage = state.the_job.carriage
    down = bool(move.pass_) and state.the_job.pattern_of(move.setup).passes[move.pass_ - 1].down
    # Below the least setting there is room down to the home switch, which the drive knows.
    free = carriage if down else replace(carriage, travel=None)
    point = approach(free, move.to + carriage.resolution, move.to, down)
    return move.to if point is None else point


def move_prompt(state: State) -> e.Prompt:
    """What the carriage will do once it is let, with its direction, and how to let it."""
    move = state.driving.move
    assert move is not None
    stands = state.driving.reported
    target = move if move.what == MoveKind.SETTING else after_home(state, move)
    return prompt(
        "move",
        what=move.what,
        to=None if target is None else target.to,
        stands=stands,
        down=stands is not None and move.to is not None and stands > move.to,
        halted=state.mode == HALTED,
        tap=by_tap(state.the_job.carriage, move, state.driving.at),
        by_hand=by_hand(state.the_job.carriage, move),
        saw_off=not move.step,
        # A board that was counted may have been taken out by the time the next one is begun.
        clamped=state.touched and not is_out(state),
    )


def after_home(state: State, move: Move) -> Move | None:
    """Where it goes on to from the home switch, in the same press; None: nowhere."""
    if move.then == Then.END:
        number = coming(state)
        return first_place(state, number) if number else None
    if move.then == Then.BOARD:
        return first_place(state, state.setup)
    if move.then == Then.TRIAL:
        tried = trial(state)
        return to_trial(state, tried) if tried else None
    return None if state.setup_complete or state.leaves else to_next_pass(state, move.then)


def waits_to_call(state: State) -> bool:
    """It waits to move to the setting of the next pass of a board in the clamps, which may be left for a while."""
    move = state.driving.move
    return state.mode in (MOVE_ASKED, HALTED) and move is not None and move.then == Then.CALL


def passes_of(mask: int) -> tuple[int, ...]:
    """The passes whose bits are set, from 1."""
    return tuple(n + 1 for n in range(mask.bit_length()) if mask >> n & 1)


def is_lost_under_a_call(state: State) -> bool:
    """A pass is called, but nobody knows any more where the carriage stands."""
    return is_driven(state.the_job) and state.mode == CUTTING and not state.driving.known
