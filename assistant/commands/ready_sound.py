"""`kerfcall ready`: loudspeaker, microphone and its level, looked at in a process of its own.

A faulty sound driver can crash or hang the one that asks. The child prints a line of JSON for the devices and,
where there is a microphone, a second one for its level. The sound itself never leaves it.
"""

from __future__ import annotations

import atexit
import importlib
import json
import subprocess
import sys
from collections.abc import Callable, Sequence
from typing import Any

from assistant.commands.ready_line import STANDS_IN, WORKS, Line, pip, plain
from assistant.commands.ready_software import importable
from assistant.errors import NoSuchPart
from assistant.patience import Patience, cpu_s_of
from assistant.speaking.device import named, not_there

PARTS = ("loudspeaker", "microphone", "level")
# For the child: the devices, the first sound of a slow sound server (`microphone.FIRST_CHUNK_S`), and the level.
# So long without moving, and in all.
WITHIN_S, LONGEST_S = 8.0, 120.0
LEVEL_S = 1.5
PIECES_PER_S = 10
SPOKEN_DB = 12.0  # between the loudest piece and the faint ones: somebody spoke (common practice, no source)
FAINT = -75.0  # dBFS: fainter than a room is through a microphone with its gain up (common practice, no source)
FULL = -0.5  # dBFS, a peak over it is clipping too: a sound server that resamples rounds the flat tops off
BAR_CELLS = 20
CHILD = f"import sys; sys.path[:] = {sys.path!r}; from assistant.commands.ready_sound import main; main()"
NO_MICROPHONE = "pedal and keys"
CONNECT = "connect and choose one"


def sound(loudspeaker: str = "") -> Sequence[Line]:
    """Loudspeaker, microphone and level. loudspeaker: the shop file's."""
    return lines(*asked(), loudspeaker)


def asked(within_s: float = WITHIN_S) -> tuple[dict[str, Any], dict[str, Any]]:
    """What the child told of the devices, and of the level; {"why": ..} where it told nothing."""
    try:
        child = subprocess.Popen([sys.executable, "-c", CHILD], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    except OSError as error:
        out, late = b"", plain(error)
    else:
        out, late = _answer(child, Patience(within_s, LONGEST_S, lambda: cpu_s_of(child.pid)))
    told = [_object(line) for line in out.splitlines()]
    devices = told[0] if told else {"why": f"the sound library {late}"}
    level = told[1] if len(told) > 1 else {"why": f"the microphone {late}" if told else ""}
    return devices, level


def _answer(child: subprocess.Popen[bytes], patience: Patience) -> tuple[bytes, str]:
    """What it has told, and what became of it. It is ended."""
    atexit.register(child.kill)  # this thread is not waited for where Ctrl-C ends the program
    try:
        with child:
            while not patience.over():
                try:
                    return child.communicate(timeout=0.1)[0], "failed"
                except subprocess.TimeoutExpired:
                    continue
            child.kill()
            return child.communicate()[0], patience.why()
    finally:
        atexit.unregister(child.kill)


def _object(line: bytes) -> dict[str, Any]:
    try:
        told = json.loads(line)
    except ValueError:
        told = None
    return told if isinstance(told, dict) else {"why": "the sound library told nothing that can be read"}


def lines(devices: dict[str, Any], level: dict[str, Any], wanted: str = "") -> Sequence[Line]:
    """The three lines. devices: {"outputs", "inputs"}, or {"why"}. level: as from `measured`, or {"why"}. wanted: the
    shop file's loudspeaker."""
    why = str(devices.get("why") or "")
    mend = pip("miniaudio") if why == NO_LIBRARY else CONNECT
    outputs, inputs = devices.get("outputs") or [], devices.get("inputs") or []
    speaker = _chosen(_device("loudspeaker", outputs, f"text on screen: {why or 'none found'}", mend), outputs, wanted)
    microphone = _device("microphone", inputs, f"{NO_MICROPHONE}: {why or 'none found'}", mend)
    if not inputs:
        return speaker, microphone, Line("level", STANDS_IN, "nothing to measure", "see the microphone")
    if "rms" not in level:
        text = f"{NO_MICROPHONE}: {level.get('why') or 'nothing was measured'}"
        return speaker, microphone, Line("level", STANDS_IN, text, CONNECT)
    return speaker, microphone, level_line(level)


def _chosen(line: Line, names: Sequence[str], wanted: str) -> Line:
    """The line with the loudspeaker that the shop file asks for."""
    if not wanted or not names:
        return line
    number = named(wanted, names)
    if number is None:
        return Line(
            line.part, STANDS_IN, not_there(wanted, names), "connect it, or mend [voice] loudspeaker", line.data
        )
    return Line(line.part, WORKS, f"{names[number]}, as the shop file asks", "", line.data)


def _device(part: str, names: Sequence[str], text: str, mend: str) -> Line:
    if not names:
        return Line(part, STANDS_IN, text, mend, {"devices": []})
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return Line(part, WORKS, f"{names[0]}{more}", "", {"devices": list(names)})


def level_line(level: dict[str, Any]) -> Line:
    """What a measured level says of the microphone: silent, clipping, too quiet, or in order."""
    from assistant.hearing.levels import QUIET_SPEECH, SILENT, bar

    rms, loud, faint = (float(level[name]) for name in ("rms", "loudest", "faint"))
    shown = f"{loud:.0f} dBFS {bar(loud, cells=BAR_CELLS)}"
    spoken = loud - faint >= SPOKEN_DB
    data = {"rms_dbfs": rms, "loudest_dbfs": loud, "peak_dbfs": float(level["peak"]), "spoken": spoken}
    if rms <= SILENT:
        mend = "unmute it, or choose another in the system's sound settings"
        return Line("level", STANDS_IN, f"{shown} silent: muted, unplugged, or not the one meant", mend, data)
    if level["clipped"] or float(level["peak"]) > FULL:
        return Line("level", STANDS_IN, f"{shown} clipping", "turn the microphone's gain down", data)
    if spoken and loud < QUIET_SPEECH:
        mend = "bring the microphone nearer to the mouth, or turn its gain up"
        return Line("level", STANDS_IN, f"{shown} too quiet for speech", mend, data)
    if not spoken and loud < FAINT:
        return Line("level", STANDS_IN, f"{shown} too quiet, even for a room", "turn the microphone's gain up", data)
    heard = "speech" if spoken else "the room; nobody spoke" if loud < QUIET_SPEECH else "steady sound"
    return Line("level", WORKS, f"{shown} {heard}", "", data)


# --- in the child

NO_LIBRARY = "no sound library is installed"


def main() -> None:
    """Tell the devices, then the level."""
    devices = found_devices()
    print(json.dumps(devices), flush=True)
    if devices.get("inputs"):
        print(json.dumps(measured()), flush=True)


def found_devices() -> dict[str, Any]:
    """Names of outputs and inputs, or why they can't be told."""
    if not importable("miniaudio"):
        return _of_sounddevice() if importable("sounddevice") else {"why": NO_LIBRARY}
    import miniaudio

    from assistant.hearing.alsa import hush

    hush()
    try:
        devices = miniaudio.Devices()
        backend = getattr(devices.backend, "name", str(devices.backend)).upper()
        if backend == "NULL":
            return {"outputs": [], "inputs": []}
        outputs, inputs = devices.get_playbacks(), devices.get_captures()
    except miniaudio.MiniaudioError:
        return {"outputs": [], "inputs": []}
    return {"outputs": [one["name"] for one in outputs], "inputs": [one["name"] for one in inputs]}


def _of_sounddevice() -> dict[str, Any]:
    try:
        devices: Any = importlib.import_module("sounddevice").query_devices()
    except Exception as error:  # PortAudio missing is an OSError, its own faults another kind
        return {"why": plain(error)}
    return {
        "outputs": [one["name"] for one in devices if one["max_output_channels"]],
        "inputs": [one["name"] for one in devices if one["max_input_channels"]],
    }


def measured(seconds: float = LEVEL_S, opener: Callable[..., Any] | None = None) -> dict[str, Any]:
    """The level of so much sound from now on, or {"why"}. opener: for tests, see `recorder.Recorder`."""
    from assistant.hearing.microphone import open_capture
    from assistant.hearing.recorder import Recorder

    try:
        recorder = Recorder(opener or open_capture)
        try:
            pcm = recorder.seconds(seconds, lambda rms, peak: None)
        finally:
            recorder.close()
    except NoSuchPart as error:
        return {"why": str(error).partition(";")[0]}
    return figures(pcm)


def figures(pcm16k: bytes) -> dict[str, Any]:
    """rms and peak: of all, dBFS. loudest: tenth of a second, faint: the fifth that is fainter, dBFS. clipped: samples.

    Not the faintest of all: a sound server may begin with a moment of nothing.
    """
    from assistant.hearing.contract import BYTES_PER_S
    from assistant.hearing.levels import level_of

    step = BYTES_PER_S // PIECES_PER_S
    whole = level_of(pcm16k)
    pieces = sorted(level_of(pcm16k[at : at + step]).rms for at in range(0, len(pcm16k) - step + 1, step))
    pieces = pieces or [whole.rms]
    told = {"loudest": pieces[-1], "faint": pieces[len(pieces) // 5]}
    return {**told, "rms": whole.rms, "peak": whole.peak, "clipped": whole.clipped}
