"""Reads rehearsal scripts: one line per event, `SECONDS KIND ARGUMENT`.

# a comment
2.5 heard marigold all clamps are secure       a phrase, looked up in the phrase table
3.0 device microphone lost                     a part is lost, limited or works again (DEVICE_STATES)
4.0 pedal tap                                  tap | double tap | long press
6.0 key +                                      a key of the terminal; again within 0.7 s it counts as kept down
12 interrupt                                   the process ends with no clean-up

With a driven carriage, which is simulated (a long press stays down until the next line of the pedal):
13 pedal release                               let go of what is held down
14 sled away                                   away | back: the switch on the sled
15 carriage reset                              reset | slip MM | jam: the controller starts again, the carriage is
                                               moved by MM without its motor, it is stuck

To go to a pass, type its number, a line for each key: g, 1, 2, enter. So with what went wrong (x, 8, enter), with a
figure that is asked for (#, 1, 5, enter), and with a change of the job: the setup's number, then what to do with it
(j, 2, then enter, r, x or k; for a socket j, 2, u, 3, enter).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from pathlib import Path

from assistant.errors import BadInput, Fault
from assistant.session.kinds import DeviceName, DeviceState, Press

# All keys that do something to the session, alone or after others, as the terminal names them.
KEYS = ("space", "enter", *"dhynscbgwlameqjurkx#+-<>0123456789")
DEVICES = (DeviceName.MICROPHONE, DeviceName.LOUDSPEAKER, DeviceName.PEDAL, DeviceName.RECOGNISER)
DEVICE_STATES = (DeviceState.LOST, DeviceState.STANDS_IN, DeviceState.WORKS)
# As people write gestures, beside the words that journals store.
GESTURES = {**{press.shown: press for press in Press}, **{press.value: press for press in Press}}
RELEASE = "release"
_MISHAP = re.compile(r"reset|jam|slip -?\d{1,3}(\.\d{1,4})?")
LONGEST_S = 7 * 24 * 3600
MOST_BYTES = 1_000_000


class LineKind(StrEnum):
    """What a script line makes happen, as the script writes it."""

    PEDAL = "pedal"
    HEARD = "heard"
    KEY = "key"
    DEVICE = "device"
    INTERRUPT = "interrupt"
    SLED = "sled"
    CARRIAGE = "carriage"


class SledPlace(StrEnum):
    AWAY = "away"
    BACK = "back"


class DriveMishap(StrEnum):
    """What goes wrong with a simulated drive."""

    RESET = "reset"
    """Its controller starts again."""
    SLIP = "slip"
    """The carriage is moved without its motor."""
    JAM = "jam"
    """The carriage is stuck."""


@dataclass(frozen=True, slots=True)
class ScriptLine:
    """A line of a script.

    at_s: seconds from the start of this run. argument: gesture, phrase, key, device and state, place of the sled, or
    mishap; "" for none.
    """

    at_s: float
    kind: LineKind
    argument: str


def read_script(path: Path) -> tuple[ScriptLine, ...]:
    """The script's lines, in order. Raises BadInput with every fault in it, by line."""
    try:
        data = path.read_bytes()
        if len(data) > MOST_BYTES:
            raise BadInput([Fault("the script is too large", f"{len(data)} bytes", str(path), "keep it under 1 MB")])
        # Skips a byte order mark, which some editors write.
        text = data.decode("utf-8-sig")
    except OSError as error:
        mend = "give the path of a rehearsal script"
        raise BadInput([Fault(f"can't be read: {error.strerror}", "", str(path), mend)]) from error
    except UnicodeDecodeError as error:
        raise BadInput([Fault("is not UTF-8 text", "", str(path), "save it as UTF-8")]) from error
    return parse_script(text, str(path))


def parse_script(text: str, name: str) -> tuple[ScriptLine, ...]:
    """Like `read_script`, from text. Faults give `name` as their place."""
    faults: list[Fault] = []
    lines: list[ScriptLine] = []
    for number, raw in enumerate(text.splitlines(), 1):
        stripped = raw.strip()
        if not stripped or stripped.startswith("#"):
            continue
        where = f"{name}: line {number}"
        seconds, _, rest = stripped.partition(" ")
        kind, _, argument = rest.strip().partition(" ")
        argument = " ".join(argument.split())
        at_s = _seconds(seconds)
        if at_s is None:
            mend = f"write seconds from 0 to {LONGEST_S}, such as 4.0"
            faults.append(Fault("does not begin with a time", seconds[:40], where, mend))
        fault = _kind_or_argument_fault(kind, argument, where)
        if fault is not None:
            faults.append(fault)
        if at_s is None or fault is not None:
            continue
        if lines and at_s < lines[-1].at_s:
            faults.append(Fault("goes back in time", f"{at_s:g} s", where, "put the lines in order of time"))
        argument = GESTURES.get(argument, argument) if kind == LineKind.PEDAL else argument
        lines.append(ScriptLine(at_s, LineKind(kind), argument))
    if faults:
        raise BadInput(faults)
    return tuple(lines)


def _seconds(text: str) -> float | None:
    """None if the text is not a time within the limits."""
    try:
        seconds = Decimal(text)
    except InvalidOperation:
        return None
    return float(seconds) if seconds.is_finite() and 0 <= seconds <= LONGEST_S else None


def _kind_or_argument_fault(kind: str, argument: str, where: str) -> Fault | None:
    if kind not in tuple(LineKind):
        return Fault("has an unknown kind of event", kind[:40], where, f"use one of {', '.join(LineKind)}")
    if kind == LineKind.PEDAL and argument not in GESTURES and argument != RELEASE:
        mend = f"use one of {', '.join(press.shown for press in Press)}, {RELEASE}"
        return Fault("has an unknown gesture", argument[:40], where, mend)
    if kind == LineKind.HEARD and not argument:
        return Fault("has nothing to hear", "", where, "write the phrase after 'heard'")
    if kind == LineKind.KEY and argument not in KEYS:
        return Fault("has a key that does nothing in a session", argument[:40], where, f"use one of {' '.join(KEYS)}")
    if kind == LineKind.SLED and argument not in tuple(SledPlace):
        return Fault("has an unknown place of the sled", argument[:40], where, f"use one of {', '.join(SledPlace)}")
    if kind == LineKind.CARRIAGE and not _MISHAP.fullmatch(argument):
        return Fault("has an unknown mishap", argument[:40], where, "use reset, jam, or slip and mm, such as slip 0.1")
    if kind == LineKind.INTERRUPT and argument:
        return Fault("has more than an interrupt", argument[:40], where, "write 'interrupt' alone")
    if kind == LineKind.DEVICE:
        device, _, state = argument.partition(" ")
        if device not in DEVICES or state not in DEVICE_STATES:
            mend = f"write one of {', '.join(DEVICES)}, then one of {', '.join(DEVICE_STATES)}"
            return Fault("names no device and state", argument[:40], where, mend)
    return None
