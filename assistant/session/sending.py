"""Proposes what a driven carriage is to do, and sends it off."""

from __future__ import annotations

from dataclasses import replace

from assistant.plans.job_json import fraction_text
from assistant.session import effects as e
from assistant.session import facts as f
from assistant.session.apply import move_id
from assistant.session.driven import move_prompt, passes_of, point_below
from assistant.session.facts import Move
from assistant.session.kinds import Klass, MoveKind
from assistant.session.turn import Turn, prompt


def propose(turn: Turn, move: Move, *before: e.Prompt, halted: bool = False) -> None:
    """Say what the carriage will do, and wait for the operator to let it.

    Before it is homed, say which passes of this end no visit to the switch can prove any more.
    """
    state = turn.state
    if move.what != MoveKind.HOME and not state.driving.known:
        move = Move(MoveKind.HOME, move.then, state.setup)
    if move.what == MoveKind.HOME and state.driving.unproved:
        turn.say(Klass.NOTICE, prompt("not proved", passes=passes_of(state.driving.unproved)))
    turn.fact(f.MoveProposed(replace(move, held=True), halted))
    turn.ask(Klass.MOVE, *before, move_prompt(turn.state))


def begin(turn: Turn, move: Move, held: bool, asked_at: float) -> None:
    """Send it off. asked_at: when the press or phrase that lets it was complete, session time, s."""
    move = replace(move, held=held)
    # Before `MoveAsked`, since `apply` looks up what the move is for. It isn't written: no later run goes on with it.
    turn.fact(f.MoveBegun(move))
    to = "" if move.to is None else fraction_text(move.to)
    turn.fact(f.MoveAsked(move.setup, move.pass_, move.what, to, held))
    state = turn.state
    id = move_id(state.n)
    if move.what == MoveKind.SETTING:
        assert move.to is not None
        turn.effect(e.MoveTo(id, move.to, point_below(state, move), asked_at, held))
    else:
        turn.effect(e.Home(id, move.what == MoveKind.VISIT, asked_at, held))
