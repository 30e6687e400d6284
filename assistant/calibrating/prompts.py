"""Asks for readings at a terminal, place by place.

No answer can lose a reading. An answer that makes no sense is asked for again, and if the questions end early, the
collector has all readings given so far.
"""

from __future__ import annotations

from collections.abc import Callable

from assistant.asking import BACK, NO, YES, Ask, ShowLine
from assistant.calibrating.blunders import Reading
from assistant.calibrating.board import Place
from assistant.calibrating.readings import UNITS, ReadingCollector, name_and_side
from assistant.joinery.units import plain_length

Bring = Callable[[Place], bool]
"""Brings the carriage to a place before it is measured; False: the operator left, and no more is asked."""
TAKE_BACK, END = "x", "."


def from_prompts(
    collector: ReadingCollector, ask: Ask, show: ShowLine, rounds: int = 1, bring: Bring | None = None
) -> None:
    """Ask for each place in turn. rounds: how many times to go through them all. bring: where a motor moves it.

    An empty answer skips a place, or keeps the reading it has. "-" goes back to the place before, "x" takes a reading
    back, "." ends. ask raises EOFError at the end of the input, which also ends the questions, and KeyboardInterrupt,
    which is passed on. Either way the collector gets all readings given so far.
    """
    show(f"Type the readings in {UNITS[collector.unit]}. Enter skips a place, - goes back one place, . ends.")
    labels = [(turn, label) for turn in range(rounds) for label in collector.places]
    taken: dict[tuple[int, str], tuple[str, Reading]] = {}
    n = 0
    try:
        while n < len(labels):
            turn, label = labels[n]
            if bring is not None and not bring(collector.places[label]):
                break
            n += _ask_for_place(collector, ask, show, taken, turn, label)
    except EOFError:
        show("")
    finally:
        for at in labels:
            if at in taken:
                text, reading = taken[at]
                collector.readings.append(reading)
                collector.typed.append(f"{at[1]}={text}")


def _ask_for_place(
    collector: ReadingCollector,
    ask: Ask,
    show: ShowLine,
    taken: dict[tuple[int, str], tuple[str, Reading]],
    turn: int,
    label: str,
) -> int:
    """Ask for one place. Returns how far to go on: 1, 0 to ask again, -1 back."""
    place, had = collector.places[label], taken.get((turn, label))
    keep = f" [{had[0]}; Enter keeps it, {TAKE_BACK} takes it back]" if had else ""
    answer = ask(f"{label}{' again' if turn else ''}, {place.what}{keep}: ").strip()
    if answer == END:
        raise EOFError
    if answer == BACK:
        return -1 if (turn, label) != (0, next(iter(collector.places))) else 0
    if answer.casefold() == TAKE_BACK:
        taken.pop((turn, label), None)
        return 0 if had else 1
    reading = _understood(collector, show, label, answer) if answer else None
    if reading is None:
        return 0 if answer else 1
    while doubt := collector.doubt(label, reading.value):
        show(f"  {plain_length(reading.value, collector.unit)}: {doubt}.")
        try:
            reply = ask("  Is it right? Type yes, no, or the right reading: ").strip().casefold()
        except (EOFError, KeyboardInterrupt):
            # It may be right, so the command line that repeats all readings includes it.
            show(f"  {label}={answer} was not confirmed and is left out.")
            collector.typed.append(f"{label}={answer}")
            raise
        if reply in YES:
            break
        if reply in NO:
            return 0
        other = _understood(collector, show, label, reply) if reply else None
        if other is not None:
            answer, reading = reply, other
    taken[turn, label] = (answer, reading)
    return 1


def _understood(collector: ReadingCollector, show: ShowLine, label: str, answer: str) -> Reading | None:
    """The reading typed for a place, or None after showing what is wrong with it."""
    place = collector.places[label]
    one = ReadingCollector([place], collector.unit)
    name, side = name_and_side(place.label)
    one.add(name, answer, side, place.label)
    if one.faults:
        show("\n".join(f"  {fault.what} (got {fault.value}); {fault.mend}" for fault in one.faults))
        return None
    return one.readings[0]
