"""Looks for loudspeakers and microphones and measures the level, in a child process, for `kerfcall ready`.

A faulty sound driver can crash or hang the process that asks. The child prints a line of JSON for the devices and, if
there is a microphone, a second line for its level. The sound itself never leaves the child. One question to the
library gives both kinds of device, so `speaking/health.py` gets its loudspeakers from here.
"""

from __future__ import annotations

import atexit
import importlib
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from typing import Any

from assistant.errors import NoSuchPart
from assistant.health import importable, one_line
from assistant.patience import Patience, cpu_s_of

# How long the child can take, without moving and in all. It needs time for the devices, for the first sound of a slow
# sound server (`microphone.FIRST_CHUNK_S`) and for the level.
WITHIN_S, LONGEST_S = 8.0, 120.0
LEVEL_S = 1.5
PIECES_PER_S = 10
CHILD = f"import sys; sys.path[:] = {sys.path!r}; from assistant.hearing.sound_child import main; main()"
NO_LIBRARY = "no sound library is installed"


def asked(within_s: float = WITHIN_S) -> tuple[dict[str, Any], dict[str, Any]]:
    """Asks the child; returns its answers about the devices and about the level, {"why": ..} for a missing answer."""
    try:
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
    except OSError as error:
        out, late = b"", one_line(error)
    else:
        out, late = _answer(child, Patience(within_s, LONGEST_S, lambda: cpu_s_of(child.pid)))
    answers = [_object(line) for line in out.splitlines()]
    devices = answers[0] if answers else {"why": f"the sound library {late}"}
    level = answers[1] if len(answers) > 1 else {"why": f"the microphone {late}" if answers else ""}
    return devices, level


def _answer(child: subprocess.Popen[bytes], patience: Patience) -> tuple[bytes, str]:
    """Waits for the child and ends it. Returns what it printed, and what became of it."""
    atexit.register(child.kill)  # when Ctrl-C ends the program, it doesn't wait for this thread
    held, child.stdin = child.stdin, None  # `communicate` would close it, and so end the child
    assert held is not None
    try:
        with held, child:
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
        answer = json.loads(line)
    except ValueError:
        answer = None
    return answer if isinstance(answer, dict) else {"why": "the sound library's answer can't be read"}


# --- in the child


def main() -> None:
    """Prints the devices, then the level."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    devices = found_devices()
    print(json.dumps(devices), flush=True)
    if devices.get("inputs"):
        print(json.dumps(measured()), flush=True)


def _end_with_parent() -> None:
    """A Ctrl-C may end the program before it has noted which child to end."""
    sys.stdin.buffer.read()  # until the program closes it, or is gone
    os._exit(1)


def found_devices() -> dict[str, Any]:
    """The names of outputs and inputs, or {"why"} they can't be found."""
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
    except Exception as error:  # a missing PortAudio is an OSError; PortAudio's own faults have another type
        return {"why": one_line(error)}
    return {
        "outputs": [one["name"] for one in devices if one["max_output_channels"]],
        "inputs": [one["name"] for one in devices if one["max_input_channels"]],
    }


def measured(seconds: float = LEVEL_S, opener: Callable[..., Any] | None = None) -> dict[str, Any]:
    """Measures this much sound from now on; {"why"} if there is none. opener: for tests, see `recorder.Recorder`."""
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
    """The levels of a recording.

    rms, peak: of all of it, dBFS. loudest: the loudest tenth of a second, dBFS. faint: one fifth of the tenths are
    fainter than this, dBFS. clipped: samples. `faint` is not the faintest tenth of all, because a sound server can
    begin with a moment of nothing.
    """
    from assistant.hearing.contract import BYTES_PER_S
    from assistant.hearing.levels import level_of

    step = BYTES_PER_S // PIECES_PER_S
    whole = level_of(pcm16k)
    pieces = sorted(level_of(pcm16k[at : at + step]).rms for at in range(0, len(pcm16k) - step + 1, step))
    pieces = pieces or [whole.rms]
    parts = {"loudest": pieces[-1], "faint": pieces[len(pieces) // 5]}
    return {**parts, "rms": whole.rms, "peak": whole.peak, "clipped": whole.clipped}
