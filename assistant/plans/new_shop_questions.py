"""The questions of `kerfcall init`: asked one after the other until all are answered.

A wrong answer is explained and asked again. Nothing that was answered before is lost.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from assistant.asking import BACK, NO, YES, Ask, ShowLine
from assistant.joinery.model import CarriageKind, StopSide, Zero
from assistant.joinery.units import Unit
from assistant.plans.new_shop import NO_PEDAL, UNITS, USUAL, USUAL_RESOLUTION, YES_NO, Answers, faults_of, picture

CHOICES = {
    "unit": tuple(Unit),
    "carriage": tuple(CarriageKind),
    "stop_side": tuple(StopSide),
    "zero": tuple(Zero),
    "voice": YES_NO,
}
PRESS = "press"
_SAME = {"millimetre": Unit.MM, "millimetres": Unit.MM, "inch": Unit.INCH, "inches": Unit.INCH, '"': Unit.INCH}
_THREADS = ("tpi", "threads", "threads an inch", "threads per inch")

PressedKey = Callable[[], tuple[str, str] | None]
"""Waits for a press. Returns (key, the pedal's own device or ""), or None once it is said why there is none."""


@dataclass(frozen=True, slots=True)
class InitQuestion:
    """name: of the answer. text: what is asked. usual: what Enter alone means, "" where there is no such answer.

    before: what is shown above the question.
    """

    name: str
    text: str
    usual: str = ""
    before: str = ""


def questions(so_far: Answers) -> Iterator[InitQuestion]:
    """All that this machine is asked, in order; which they are depends on the answers so far."""
    unit = so_far.unit or USUAL["unit"]
    of_unit = UNITS[unit]
    yield InitQuestion("unit", "Unit of lengths: mm or in", USUAL["unit"])
    yield InitQuestion("carriage", "How you set the carriage: by readout, handwheel or steps", USUAL["carriage"])
    if so_far.carriage == CarriageKind.HANDWHEEL:
        example = "2 mm" if unit == Unit.MM else "1/16 in"
        if not so_far.threads_per_inch:
            text = f"How far one turn of the handwheel moves the carriage ({example}), or the screw's threads (16 tpi)"
            yield InitQuestion("pitch", text)
        yield InitQuestion("divisions", "Marks around the handwheel (e.g. 100)")
    elif so_far.carriage == CarriageKind.STEPS:
        yield InitQuestion("steps_per_mm", "Steps that move the carriage one millimetre (e.g. 400)")
    else:
        usual = USUAL_RESOLUTION[unit]
        yield InitQuestion("resolution", f"Smallest step that the readout shows, in {of_unit}", usual)
    yield InitQuestion("stop_side", "The stop, as you stand at the saw: left or right", USUAL["stop_side"])
    before = f"What the carriage's zero means, seen from above (## is the blade):\n{picture(so_far.stop_side)}"
    yield InitQuestion("zero", "Zero: outside or inside", USUAL["zero"], before)
    text = f"The pedal: {PRESS}, to press it now; the name of its key; or {NO_PEDAL}, for the terminal's keys"
    yield InitQuestion("pedal_key", text, PRESS)
    if not so_far.kerf_printed:
        kerf = (
            f"Kerf, the width that the blade really cuts, in {of_unit}, if you have measured it (Enter: not measured)"
        )
        yield InitQuestion("kerf", kerf)
    if not so_far.kerf:
        text = f"The width printed on the blade, in {of_unit}; it is marked as not calibrated"
        yield InitQuestion("kerf_printed", text)
    yield InitQuestion("voice", "Voice, to hear settings and to speak: yes or no", USUAL["voice"])


def ask_all(given: Answers, ask: Ask, show: ShowLine, pressed_key: PressedKey) -> Answers:
    """Every answer that is not given yet, asked for. Raises EOFError where the input ends.

    given: what the options said; it is not asked again.
    """
    show(f"Enter takes the answer in [brackets], {BACK} goes back one question, Ctrl-C ends and writes nothing.")
    answers, skipped = given, frozenset[str]()
    asked: list[tuple[Answers, frozenset[str]]] = []  # what was known before each question
    while True:
        due = (q for q in questions(answers) if not getattr(answers, q.name) and q.name not in skipped)
        question = next(due, None)
        if question is None:
            return answers
        if question.before:
            show(question.before)
        reply = ask(f"{question.text}{f' [{question.usual}]' if question.usual else ''}: ").strip()
        if reply == BACK:
            if asked:
                answers, skipped = asked.pop()
            continue
        if not reply and question.name == "kerf":
            asked.append((answers, skipped))
            skipped |= {"kerf"}
            continue
        new = _answered(question, reply or question.usual, answers, show, pressed_key)
        if new is not None:
            asked.append((answers, skipped))
            answers = new


def _answered(
    question: InitQuestion, reply: str, answers: Answers, show: ShowLine, pressed_key: PressedKey
) -> Answers | None:
    """The answers with this one, or None once it is said what is wrong with it."""
    name = question.name
    if not reply:
        show("  Please answer: there is no usual value.")
        return None
    if name in CHOICES:
        chosen = _chosen(name, reply)
        if chosen is None:
            show(f"  Please answer {' or '.join(CHOICES[name])} (got {reply}).")
            return None
        return replace(answers, **{name: chosen})
    if name == "pedal_key":
        return _with_pedal(reply, answers, show, pressed_key)
    if name == "pitch" and (threads := _threads(reply)):
        name, reply = "threads_per_inch", threads
    return _sound(name, replace(answers, **{name: reply}), show)


def _chosen(name: str, reply: str) -> str | None:
    folded = reply.casefold()
    options = CHOICES[name]
    if name == "voice" and folded in YES + NO:
        return YES_NO[folded in NO]
    folded = _SAME.get(folded, folded) if name == "unit" else folded
    found = [option for option in options if option.startswith(folded)]
    return found[0] if len(found) == 1 else None


def _threads(reply: str) -> str:
    """The number of "16 tpi", "" where it says no threads."""
    folded = reply.casefold()
    return next((folded.removesuffix(word).strip() for word in _THREADS if folded.endswith(word)), "")


def _with_pedal(reply: str, answers: Answers, show: ShowLine, pressed_key: PressedKey) -> Answers | None:
    if reply.casefold() == NO_PEDAL:
        return replace(answers, pedal_key=NO_PEDAL)
    if reply.casefold() != PRESS:
        return _sound("pedal_key", replace(answers, pedal_key=reply), show)
    found = pressed_key()
    if found is None:
        return None
    key, device = found
    return _sound("pedal_key", replace(answers, pedal_key=key, pedal_device=device), show)


def _sound(name: str, answers: Answers, show: ShowLine) -> Answers | None:
    """The answers, or None once it is said what the shop file's reader has against the one of this name."""
    fault = faults_of(answers).get(name)
    if fault is None:
        return answers
    got = f" (got {fault.value})" if fault.value else ""
    show(f"  {fault.what}{got}; {fault.mend}")
    return None
