"""A new shop file: from the answers to a few questions to its text, with comments.

Pure. The shop file's own reader judges every answer, so a question refuses exactly what a shop file refuses.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, replace
from pathlib import Path

from assistant.errors import Fault
from assistant.joinery.model import CarriageKind, StopSide, Zero
from assistant.joinery.settings import Reads
from assistant.joinery.units import Unit
from assistant.plans.document import cleaned
from assistant.plans.pedal_keys import AUTO
from assistant.plans.shop_file import shop_of_text

NO_PEDAL = "none"
UNITS: dict[str, str] = {Unit.MM: "millimetres", Unit.INCH: "inches"}
YES_NO = YES, NO = "yes", "no"
COMMENT_AT = 32  # column

# The carriage at zero, seen from above: the blade (##), and a board whose reference edge is on the stop's side.
_AT_ZERO: dict[tuple[str, str], str] = {
    (Zero.OUTSIDE, StopSide.LEFT): """\
  ##
  ##+----------------
  ##|  board
  ##+----------------
    ^ reference edge""",
    (Zero.INSIDE, StopSide.LEFT): """\
  ##
  ##-----------------
  ##   board
  ##-----------------
  ^ reference edge""",
    (Zero.OUTSIDE, StopSide.RIGHT): """\
                   ##
  ----------------+##
           board  |##
  ----------------+##
   reference edge ^""",
    (Zero.INSIDE, StopSide.RIGHT): """\
                   ##
  -----------------##
           board   ##
  -----------------##
     reference edge ^""",
}
_ZERO_MEANS = {
    Zero.OUTSIDE: "the reference edge touches the side of the blade. A cut at zero takes no wood.",
    Zero.INSIDE: (
        "the reference edge is level with the far side of the blade. A cut at zero takes one kerf off the edge."
    ),
}


@dataclass(frozen=True, slots=True)
class Answers:
    """What was answered, as text; "" where there is no answer yet.

    A length may name its unit, else it is in `unit`. pitch: how far one turn of the handwheel moves the carriage;
    threads_per_inch says the same in another way. pedal_key: the key that the pedal sends, or "none". pedal_device: the
    pedal's own, "" for any. kerf: as measured. kerf_printed: the width printed on the blade. voice: "yes" or "no".
    """

    unit: str = ""
    carriage: str = ""
    resolution: str = ""
    pitch: str = ""
    threads_per_inch: str = ""
    divisions: str = ""
    steps_per_mm: str = ""
    stop_side: str = ""
    zero: str = ""
    pedal_key: str = ""
    pedal_device: str = ""
    kerf: str = ""
    kerf_printed: str = ""
    voice: str = ""


# Where the shop file holds each answer.
KEYS = {
    "unit": "unit",
    "carriage": "carriage.kind",
    "resolution": "carriage.resolution",
    "pitch": "carriage.pitch",
    "threads_per_inch": "carriage.threads_per_inch",
    "divisions": "carriage.divisions",
    "steps_per_mm": "carriage.steps_per_mm",
    "stop_side": "carriage.stop_side",
    "zero": "carriage.zero",
    "pedal_key": "pedal.key",
    "pedal_device": "pedal.device",
    "kerf": "blade.kerf",
    "kerf_printed": "blade.kerf",
}
USUAL = {
    "unit": Unit.MM,
    "carriage": CarriageKind.READOUT,
    "stop_side": StopSide.LEFT,
    "zero": Zero.OUTSIDE,
    "pedal_key": "page_down",
    "voice": YES,
}
USUAL_RESOLUTION: dict[str, str] = {Unit.MM: "0.01", Unit.INCH: "0.001"}
# Only to judge one answer while others are still missing.
_FILLED: dict[str, dict[str, str]] = {
    CarriageKind.READOUT: {},
    CarriageKind.HANDWHEEL: {"pitch": "1 mm", "divisions": "100"},
    CarriageKind.STEPS: {"steps_per_mm": "100"},
}


def with_usual(answers: Answers) -> Answers:
    """The same, with the usual answer wherever there is none and a usual one exists."""
    usual = {name: value for name, value in USUAL.items() if not getattr(answers, name)}
    full = replace(answers, **usual)
    if full.carriage == CarriageKind.READOUT and not full.resolution:
        full = replace(full, resolution=USUAL_RESOLUTION.get(full.unit, USUAL_RESOLUTION[Unit.MM]))
    return full


def missing(answers: Answers) -> list[str]:
    """The names of the answers that nobody can guess and that are not given."""
    names = [] if answers.kerf or answers.kerf_printed else ["kerf"]
    if answers.carriage == CarriageKind.HANDWHEEL:
        names += [] if answers.pitch or answers.threads_per_inch else ["pitch"]
        names += [] if answers.divisions else ["divisions"]
    elif answers.carriage == CarriageKind.STEPS and not answers.steps_per_mm:
        names.append("steps_per_mm")
    return names


def faults_of(answers: Answers) -> dict[str, Fault]:
    """What is wrong with the answers given, by the name of the answer; missing ones are no fault here.

    A fault's `where` is the key of the shop file.
    """
    full = with_usual(answers)
    filled = {name: value for name, value in _FILLED.get(full.carriage, {}).items() if name in missing(full)}
    if not (full.kerf or full.kerf_printed):
        filled["kerf_printed"] = "3 mm"
    faults: dict[str, Fault] = {}
    for fault in shop_of_text(shop_text(replace(full, **filled)), Path("shop.toml"))[1]:
        key = fault.where.partition(": ")[2]
        names = [name for name, at in KEYS.items() if at == key and getattr(answers, name)]
        # What the reader says of another key comes of the kerf: the only answer that defaults are held against.
        faults.setdefault(names[0] if names else "kerf" if answers.kerf else "kerf_printed", fault)
    return faults


def shop_text(answers: Answers) -> str:
    """The shop file, TOML with comments. Answers without a value take their usual one; the rest are left out."""
    of = with_usual(answers)
    lines = [
        "# Kerfcall's shop file: what belongs to the machine.",
        f"# A length without a unit is in {UNITS.get(of.unit, of.unit)}. The README lists every key.",
        _line("unit", of.unit),
        "",
        "[blade]",
        *_kerf_lines(of),
        "",
        "[carriage]",
        _line("kind", of.carriage, "readout, handwheel or steps"),
        *_screw_lines(of),
        _line("stop_side", of.stop_side, "which side the stop is on as you stand at the saw"),
        _line("zero", of.zero, _ZERO_COMMENTS.get(of.zero, "")),
        "# travel = [0, 400]             # least and greatest setting; without this line there is no limit",
        "",
        "[pedal]",
        *_pedal_lines(of),
    ]
    if of.voice == NO or of.carriage == CarriageKind.HANDWHEEL:
        lines += ["", "[voice]"]
    if of.carriage == CarriageKind.HANDWHEEL:
        lines.append(_line("reads", Reads.TURNS, "a setting is called as turns and marks of the handwheel"))
    if of.voice == NO:
        lines.append("# No voice: cut with `kerfcall cut PLAN --no-voice`.")
    return "\n".join(lines) + "\n"


_ZERO_COMMENTS: dict[str, str] = {
    Zero.OUTSIDE: "at zero the reference edge touches the side of the blade",
    Zero.INSIDE: "at zero the reference edge is level with the far side of the blade",
}


def _kerf_lines(of: Answers) -> list[str]:
    if of.kerf:
        return [_line("kerf", of.kerf, "the width this blade really cuts")]
    # True before and after: the comment stays when the value is changed.
    comment = "printed on the blade: not calibrated until you run `kerfcall calibrate kerf`"
    return [_line("kerf", of.kerf_printed, comment)]


def _screw_lines(of: Answers) -> list[str]:
    comments = {
        "resolution": "the smallest step that the readout shows",
        "pitch": "how far one turn of the handwheel moves the carriage",
        "threads_per_inch": "the screw's threads per inch",
        "divisions": "marks around the handwheel",
        "steps_per_mm": "steps that move the carriage one millimetre",
    }
    return [_line(name, getattr(of, name), comment) for name, comment in comments.items() if getattr(of, name)]


def _pedal_lines(of: Answers) -> list[str]:
    if of.pedal_key == NO_PEDAL:
        return ["# No pedal: the keys of the terminal replace it. Cut with `kerfcall cut PLAN --no-pedal`."]
    lines = [_line("key", of.pedal_key, "the key that the pedal sends")]
    if of.pedal_device and of.pedal_device != AUTO:
        lines.append(_line("device", of.pedal_device, "the pedal's own device, which a session reads alone"))
    return lines


def _line(key: str, text: str, comment: str = "") -> str:
    """One key of a TOML file. text: a plain number stays one, everything else goes in quotes."""
    # TOML refuses a number with a zero in front, such as 03.
    number = re.fullmatch(r"(?:0|[1-9][0-9]*)(?:\.[0-9]+)?", text)
    # A string of JSON is one of TOML too, but ensure_ascii would write 😀 as two surrogates, which TOML refuses.
    value = text if number else json.dumps(cleaned(text), ensure_ascii=False)
    line = f"{key} = {value}"
    return f"{line:<{COMMENT_AT - 1}} # {comment}" if comment else line


def picture(stop_side: str) -> str:
    """What the two zeros mean, in letters. stop_side: "left" or "right", as the operator sees it."""
    return "\n".join(f'"{zero}": {means}\n{_AT_ZERO[zero, stop_side]}' for zero, means in _ZERO_MEANS.items())
