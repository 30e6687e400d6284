"""What `carriage` and `calibrate --drive` share: moves with the shop's own drive and pedal, at this terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

from assistant.asking import agreed
from assistant.errors import Fault, NoSuchPart
from assistant.pedal.names import stand_in_key
from assistant.pedal.watch import REPLACED_BY
from assistant.plans.model import Shop
from assistant.runner.clock import LiveClock
from assistant.runner.contracts import LivePedal, Post
from assistant.runner.held_moves import HeldMoves, MovesTerminal, PedalMaker, Reaching
from assistant.screens.line_writer import LineWriter
from assistant.screens.typed_keys import TypedKeys, forget_typing, has_terminal


def held_moves(shop: Shop, pedal: bool = True) -> HeldMoves:
    """For moves with the shop's own drive, and its pedal unless that is not wanted."""

    def drive(clock: LiveClock, post: Post, pedal_down: Callable[[], bool], tick: Callable[[], None]) -> Reaching:
        from assistant.carriage.drive import LiveDrive

        return LiveDrive(clock, post, shop.carriage, pedal_down, tick)

    def listener(clock: LiveClock, post: Post, pressed: Callable[[], None], released: Callable[[], None]) -> LivePedal:
        from assistant.pedal.listener import PedalListener

        try:
            return PedalListener(clock, post, shop.pedal, pressed, released=released)
        except NoSuchPart as error:
            # Here the terminal's keys halt, and have none of the meanings that they have in a session.
            raise NoSuchPart(str(error).replace(f"; {REPLACED_BY}", "")) from error

    made: PedalMaker | None = listener if pedal else None
    lines = partial(LineWriter, sys.stdout)
    terminal = MovesTerminal(has_terminal, print, partial(agreed, input, print), forget_typing, TypedKeys, lines)
    return HeldMoves(shop, terminal, drive, made, stand_in_key(shop.pedal))


def not_driven(shop: Shop) -> Fault:
    """For what only a motor on the screw can do."""
    mend = "give it a [carriage.drive] table with the port of its motion controller, if a motor turns its screw"
    return Fault("the carriage is set by hand", "", f"{Path(shop.path).name}: carriage.drive", mend)
