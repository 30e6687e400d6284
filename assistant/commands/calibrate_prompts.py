"""What `calibrate` asks at a terminal: the readings, place by place, and yes or no.

No answer loses a reading that was given: what makes no sense is asked again, and where the questions end early, or
nothing comes of the readings, a command line is shown that gives them all again.
"""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Callable, Iterator
from fractions import Fraction

from assistant.commands.calibrate_readings import UNITS, Source
from assistant.joinery.calibration_screen import Reading
from assistant.joinery.units import plain_length

Ask = Callable[[str], str]
Tell = Callable[[str], None]
YES, NO = ("y", "yes"), ("n", "no")
BACK, TAKE_BACK, END = "-", "x", "."
# What a line that gives the readings again repeats, beside the readings.
REPEATED = ("plan", "shop", "csv", "caliper", "caliper_range", "caliper_error", "new_blade", "most_change", "plot")


def asker(to_stderr: bool) -> Ask:
    """`input`, or the same with its questions on stderr, so that stdout holds JSON alone."""
    if not to_stderr:
        return input

    def ask(question: str) -> str:
        print(question, end="", file=sys.stderr, flush=True)
        return input()

    return ask


def agreed(ask: Ask, tell: Tell, question: str) -> bool:
    """Whether the answer is yes, or y, in any case. Anything but yes and no is asked again; Ctrl-C and the end of the
    input are a no."""
    while True:
        try:
            answer = ask(f"{question} Type yes or no: ").strip().casefold()
        except (EOFError, KeyboardInterrupt):
            tell("")
            return False
        if answer in YES + NO:
            return answer in YES
        tell("  Please answer yes or no.")


def from_prompts(source: Source, ask: Ask, tell: Tell, rounds: int = 1) -> None:
    """Ask for each place in turn, so many times over.

    Nothing typed leaves a place out, or keeps the reading it has; "-" goes back to the one before, "x" takes a reading
    back, "." ends. ask raises EOFError where the input ends, which ends the questions too, and KeyboardInterrupt, which
    is passed on. All readings given so far are in the source either way.
    """
    tell(f"Readings in {UNITS[source.unit]}; Enter leaves a place out, - goes back one, . ends.")
    labels = [(turn, label) for turn in range(rounds) for label in source.places]
    taken: dict[tuple[int, str], tuple[str, Reading]] = {}
    n = 0
    try:
        while n < len(labels):
            turn, label = labels[n]
            n += _one(source, ask, tell, taken, turn, label)
    except EOFError:
        tell("")
    finally:
        for at in labels:
            if at in taken:
                text, reading = taken[at]
                source.readings.append(reading)
                source.typed.append(f"{at[1]}={text}")


def _one(
    source: Source, ask: Ask, tell: Tell, taken: dict[tuple[int, str], tuple[str, Reading]], turn: int, label: str
) -> int:
    """Ask for one place. Returns how far to go on: 1, 0 to ask again, -1 back."""
    place, had = source.places[label], taken.get((turn, label))
    keep = f" [{had[0]}; Enter keeps it, {TAKE_BACK} takes it back]" if had else ""
    answer = ask(f"{label}{' once more' if turn else ''}, {place.what}{keep}: ").strip()
    if answer == END:
        raise EOFError
    if answer == BACK:
        return -1 if (turn, label) != (0, next(iter(source.places))) else 0
    if answer.casefold() == TAKE_BACK:
        taken.pop((turn, label), None)
        return 0 if had else 1
    reading = _understood(source, tell, label, answer) if answer else None
    if reading is None:
        return 0 if answer else 1
    while doubt := source.doubt(label, reading.value):
        tell(f"  {plain_length(reading.value, source.unit)}: {doubt}.")
        try:
            reply = ask("  Is it right? Type yes, no, or the right reading: ").strip().casefold()
        except (EOFError, KeyboardInterrupt):
            # It may be right: it stays in the line that gives all readings again.
            tell(f"  {label}={answer} was not confirmed, and is left out.")
            source.typed.append(f"{label}={answer}")
            raise
        if reply in YES:
            break
        if reply in NO:
            return 0
        other = _understood(source, tell, label, reply) if reply else None
        if other is not None:
            answer, reading = reply, other
    taken[turn, label] = (answer, reading)
    return 1


def _understood(source: Source, tell: Tell, label: str, answer: str) -> Reading | None:
    """The reading typed for a place, or None once it is said what is wrong with it."""
    place = source.places[label]
    one = Source([place], source.unit)
    one.add(place.label, answer, "", place.label)
    if one.faults:
        tell("\n".join(f"  {fault.what} (got {fault.value}); {fault.mend}" for fault in one.faults))
        return None
    return one.readings[0]


def again(args: argparse.Namespace, source: Source) -> Iterator[str]:
    """Lines that keep what was typed or dictated: the command that gives it again; none where nothing was."""
    if not source.typed:
        return
    words = ["kerfcall", "calibrate", args.kind]
    for name in REPEATED:
        if getattr(args, name) is not None:
            words += [f"--{name.replace('_', '-')}", str(getattr(args, name))]
    for reading in (*(args.reading or []), *source.typed):
        words += ["--reading", reading]
    if args.json:
        words.append("--json")
    yield "Your readings are not lost. This gives them again; change or add what you need:"
    yield f"  {shlex.join(words)}"


def expected(kind: str, x: Fraction, kerf: Fraction, zero: str) -> Fraction:
    """About what a place of a test board should give, mm: the wood between two cuts, or the distance of a near wall."""
    return x - kerf if kind in ("kerf", "backlash") or zero == "outside" else x
