"""What is said of a driven carriage.

No sentence about a failure holds "cut" or "ready": half heard, it would sound like leave to go on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import Protocol

from assistant.plans.model import Job
from assistant.session.kinds import MoveKind
from assistant.wording.joining import MOST_NAMED, YES_NO, Figures, listed, sentence


class DriveWords(Protocol):
    """What these sentences need of `prompts.Words`."""

    job: Job

    def count(self, number: int) -> str: ...

    def length(self, mm: Fraction) -> str: ...

    def position(self, setting: Fraction) -> str: ...


REACHED = "setting reached"
HOW_TO_CUT = "Start the saw, cut, draw right back and tap."
BY_HAND = (
    "Motor off. Zero the carriage by hand: reference edge at zero, and with a bar, the bar out again. Motor on, and "
    "try the zero once more, since the motor may jump a step. Then long press."
)


def _reached(words: DriveWords, figures: Figures) -> str:
    """Where it stands, and that the pass may be cut."""
    how = f"{HOW_TO_CUT} " if figures["in_full"] else ""
    return f"{how}Standing at {words.position(figures['setting'])}. Cut."


def way(words: DriveWords, figures: Figures) -> str:
    """Which way it will go, and where to: "up to 15.44", "down, then up to 12.34"."""
    to = figures["to"]
    if figures["what"] != MoveKind.SETTING:
        return "down to the home switch" + ("" if to is None else f", then up to {words.position(to)}")
    return f"{'down, then ' if figures['down'] else ''}up to {words.position(to)}"


def _move(words: DriveWords, figures: Figures) -> str:
    """What it will do once it is let go, and how to let it; its direction comes last."""
    if figures["by_hand"]:
        return BY_HAND
    parts = []
    if figures["halted"]:
        parts.append(f"Halted at {words.position(figures['stands'])}.")
    if figures["saw_off"]:
        parts.append("Saw off, blade still, hands off carriage and work.")
        if figures["clamped"] and figures["what"] != MoveKind.SETTING:
            parts.append("Leave the board clamped.")
    elif not figures["tap"]:
        parts.append("Draw right back, hands off.")
    if figures["tap"]:
        parts.append(f"Draw right back, then tap: {way(words, figures)}.")
    else:
        on = "Hold the pedal down to go on" if figures["halted"] else "Hold the pedal down until it stands"
        parts.append(f"{on}: {way(words, figures)}.")
    return " ".join(parts)


def _passes(words: DriveWords, numbers: Sequence[int]) -> str:
    """In words, such as "passes 1 to 9". numbers: ascending."""
    first, last = words.count(numbers[0]), words.count(numbers[-1])
    if len(numbers) == 1:
        return f"pass {first}"
    if numbers[-1] - numbers[0] == len(numbers) - 1 and len(numbers) > 2:
        return f"passes {first} to {last}"
    if len(numbers) > MOST_NAMED:
        return f"{words.count(len(numbers))} passes from {first} to {last}"
    return f"passes {listed([words.count(number) for number in numbers])}"


def _ask_move(words: DriveWords, figures: Figures) -> str:
    saw = "Saw off, blade still, hands off?" if figures["saw_off"] else "Drawn right back, hands off?"
    return f"{saw} It moves {way(words, figures)} by itself, and any key halts it. Start it? {YES_NO}"


def _found_off(words: DriveWords, figures: Figures) -> str:
    off_by, passes = figures["off_by"], figures["passes"]
    much = "that or more" if figures["beyond"] else "as much"
    doubtful = f" {sentence(_passes(words, passes)).rstrip('.')} of this end may be off by {much}." if passes else ""
    if off_by is None:
        return f"The home switch was not where it should be.{doubtful}"
    amount = words.length(abs(off_by))
    if figures["beyond"]:
        open_yet = f"The home switch had not closed {amount} below its place."
        return f"{open_yet} The carriage slipped or is stuck, or the switch fails.{doubtful}"
    return f"The carriage stood {amount} {'lower' if off_by > 0 else 'higher'} than it read.{doubtful}"


def _ask_off(words: DriveWords, figures: Figures) -> str:
    """What the visit to the home switch found. Nobody is to unclamp before hearing it."""
    found = _found_off(words, figures)
    look = "look at the carriage, the switch and its wires" if figures["beyond"] else "look for what slipped"
    return f"{found} Leave the board clamped, measure, and {look}. Go on? {YES_NO}"


def _not_proved(words: DriveWords, figures: Figures) -> str:
    passes = sentence(_passes(words, figures["passes"])).rstrip(".")
    one = len(figures["passes"]) == 1
    made, it = ("was", "it") if one else ("were", "them")
    return f"{passes} of this end {made} made before its place was lost. Nothing has proved {it}."


SENTENCES: dict[str, Callable[[DriveWords, Figures], str]] = {
    REACHED: _reached,
    "move": _move,
    "ask move": _ask_move,
    "ask off": _ask_off,
    "not proved": _not_proved,
}

TEMPLATES: dict[str, str] = {
    "cautions of the drive": (
        "A motor moves the carriage. Its screw can crush: keep out from between carriage and its ends, and board and "
        "guard. The motor's own red switch is within reach."
    ),
    "hold it down": "Nothing moves by that. Hold the pedal down, and keep it down until it stands.",
    "draw back": "Draw right back, then tap.",
    "sled is out": "Nothing moved: the sled was not drawn right back.",
    "sled not seen": (
        "Not counted: the sled was not seen to go out and come right back. If it did, the sled's switch has failed."
    ),
    "blade may turn": "Nothing moves yet: the blade takes {takes} seconds to stop. Wait, then hold the pedal down.",
    "too old": "Nothing moved: that came too late.",
    "moving": "It moves: that answers nothing.",
}

STANDS = frozenset({"not proved", "too old", "moving", "sled is out"})
"""Prompts that a log keeps whole, as in `prompts.STANDS`."""

RECORDS: dict[str, str | Callable[[DriveWords, Figures], str]] = {
    REACHED: lambda words, figures: (
        f"Standing at {words.position(figures['setting'])}: pass {figures['pass_']} called."
    ),
    "move": lambda words, figures: (
        "Asked: zeroed by hand?" if figures["by_hand"] else f"Asked: may it go {way(words, figures)}?"
    ),
    "ask move": lambda words, figures: f"Asked: may it go {way(words, figures)}, with no pedal held down?",
    "ask off": _found_off,
    "cautions of the drive": "A motor moves the carriage.",
    "hold it down": "Nothing moved: the pedal was not held down.",
    "draw back": "The sled was not drawn right back.",
    "sled not seen": "Not counted: the sled was not seen to go out and come back.",
    "blade may turn": "Nothing moved: the blade may still have been turning.",
}
"""What a log keeps of the others, as in `prompts.RECORDS`."""
