"""Learns what a pedal sends: the name of the first key pressed, then how that key behaves.

Only the first key's name is kept, and from then on only that key is looked at.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from assistant.pedal.device_watch import DeviceWatch
from assistant.pedal.devices import is_named, nodes_to_learn_from
from assistant.pedal.gestures import GestureMaker, MadeGesture
from assistant.pedal.kernel import KERNEL, MODIFIERS, TYPES_TEXT, Kernel, Node, name_of_code
from assistant.pedal.moves import KeyMove
from assistant.pedal.names import Named, name_of
from assistant.pedal.watch import KeyWatch
from assistant.plans.model import PedalSettings
from assistant.session.kinds import Press

STILL_S = 3.0  # long enough to press again, and for a key that repeats by itself to show it


@dataclass(frozen=True, slots=True)
class LearnedKey:
    """A key, and how it behaved.

    presses: by the foot. repeats: presses added by auto-repeat. longest_down_s: None until a release came.
    """

    key: Named
    presses: int = 0
    repeats: int = 0
    longest_down_s: float | None = None
    gestures: tuple[str, ...] = ()


class Learner:
    """Finds out from the moves of all keys which key came first and what it does. Pure."""

    def __init__(self, settings: PedalSettings, name: Callable[[Any], Named] = name_of) -> None:
        """name: gives a key object's name."""
        self._name = name
        self._maker = GestureMaker(settings.long_press_s, settings.double_tap_s)
        self._code: Any = None
        self._key: Named | None = None
        self._presses = 0
        self._repeats = 0
        self._down_at = 0.0
        self._longest: float | None = None
        self._gestures: list[str] = []

    def move(self, move: KeyMove, key: Any, at: float) -> tuple[Named | None, MadeGesture | None]:
        """Key object `key` moved at `at` (s). Returns the key's name if it is new, and the gesture."""
        new = None
        if self._key is None and move is KeyMove.PRESS and key is not None:
            named = self._name(key)
            if not named.modifier:  # a modifier is part of a chord, such as Ctrl-C
                self._code, self._key, new = key, named, named
        if self._key is None or key != self._code:
            return None, self.time(at)
        due = self.time(at)
        if move is KeyMove.PRESS:
            if self._maker.down:
                self._repeats += not self._maker.bouncing
            else:
                self._presses, self._down_at = self._presses + 1, at
            return new, self._keep(self._maker.press(at)) or due
        if self._maker.down:
            self._longest = max(self._longest or 0.0, at - self._down_at)
        return new, self._keep(self._maker.release(at)) or due

    def time(self, at: float) -> MadeGesture | None:
        """It is `at` (s). Returns the gesture that is now due."""
        made = self._maker.time(at)
        if self._maker.asks(at):  # nothing is confirmed here, so a key without a release so far may count as down
            made = self._maker.level(at, True)
        return self._keep(made)

    @property
    def busy(self) -> bool:
        """Whether the key is down or a gesture is still pending."""
        return self._maker.down or self._maker.deadline() is not None

    def learned(self) -> LearnedKey | None:
        """What is known so far; None before the first press."""
        if self._key is None:
            return None
        return LearnedKey(self._key, self._presses, self._repeats, self._longest, tuple(self._gestures))

    def _keep(self, made: MadeGesture | None) -> MadeGesture | None:
        if made is not None:
            self._gestures.append(made.gesture)
        return made


def learn(
    seconds: float,
    settings: PedalSettings,
    on_key: Callable[[Named], None],
    on_gesture: Callable[[Press], None],
    kernel: Kernel = KERNEL,
) -> LearnedKey | None:
    """Watches the keys until `seconds` have passed, or until nothing has moved for STILL_S after the first press.

    on_key, on_gesture: called at once. None: no key was pressed. Raises NoSuchPart where keys can't be heard. If the
    shop file names the pedal's device, only that device is heard. Without a display it is every device that we may
    read.
    """
    moves: queue.SimpleQueue[tuple[KeyMove, Any, float]] = queue.SimpleQueue()
    nodes = nodes_to_learn_from(settings, kernel)
    learner = Learner(settings, _name_on_device) if nodes else Learner(settings)
    # Grab only a named device: the keyboard may be among the others, and Ctrl-C must work.
    watch = _watch_devices(nodes, moves, kernel, grab=is_named(settings)) if nodes else _watch_display(moves)
    try:
        still_since = time.monotonic()
        end = still_since + seconds
        while (now := time.monotonic()) < end:
            if learner.learned() is not None and not learner.busy and now - still_since > STILL_S:
                break
            named: Named | None = None
            try:
                move, key, at = moves.get(timeout=0.05)
            except queue.Empty:
                made = learner.time(time.monotonic())
            else:
                if move is KeyMove.ENDED:
                    break
                still_since = at
                named, made = learner.move(move, key, at)
            if named is not None:
                on_key(named)
            if made is not None:
                on_gesture(made.gesture)
        return learner.learned()
    finally:
        watch.close()


def _watch_display(moves: queue.SimpleQueue[tuple[KeyMove, Any, float]]) -> KeyWatch:
    def put(move: KeyMove, key: Any = None) -> None:
        moves.put((move, key, time.monotonic()))

    return KeyWatch(partial(put, KeyMove.PRESS), partial(put, KeyMove.RELEASE), partial(put, KeyMove.ENDED))


def _watch_devices(
    nodes: Sequence[Node], moves: queue.SimpleQueue[tuple[KeyMove, Any, float]], kernel: Kernel, grab: bool
) -> DeviceWatch:
    def moved(move: KeyMove, code: int, node: Node, at: float) -> None:
        if move is not KeyMove.DROP:
            moves.put((move, (code, node), at))

    return DeviceWatch(nodes, moved, lambda: moves.put((KeyMove.ENDED, None, time.monotonic())), kernel, grab)


def _name_on_device(key: tuple[int, Node]) -> Named:
    code, node = key
    return Named(name_of_code(code), code in TYPES_TEXT, code in MODIFIERS, node.stable)
