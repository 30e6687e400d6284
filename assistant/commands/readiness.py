"""What works on this machine, part by part, each with what mends it. Nothing here raises."""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant.errors import KerfcallError
from assistant.plans.model import PedalSettings, Shop, VoiceSettings

WORKS, STANDS_IN, BROKEN = "works", "stands in", "broken"
LEAST_FREE_MB, LITTLE_FREE_MB = 50, 500
DEVICES_WITHIN_S = 15
# In a process of its own: a faulty sound driver can crash or hang the one that asks.
LIST_DEVICES = """
import json, miniaudio
try:
    devices = miniaudio.Devices()
    backend = getattr(devices.backend, "name", str(devices.backend)).upper()
    real = backend != "NULL"
    print(json.dumps([[d["name"] for d in devices.get_playbacks() if real],
                      [d["name"] for d in devices.get_captures() if real]]))
except miniaudio.MiniaudioError:
    print("[[], []]")
"""


@dataclass(frozen=True, slots=True)
class Line:
    """One part. state: works | stands in | broken. mend: what to do, "" where there is nothing to do."""

    part: str
    state: str
    text: str
    mend: str = ""


def survey(shop_path: Path | None) -> list[Line]:
    """Every part of a session on this machine, in the order of the screen."""
    shop_line, shop = shop_file(shop_path)
    voice = shop.voice if shop else VoiceSettings()
    pedal_settings = shop.pedal if shop else PedalSettings()
    loudspeaker, microphone = sound()
    hearing = recogniser(voice)
    foot, keys = pedal(pedal_settings), terminal()
    return [
        python(sys.version_info[:3]),
        required_packages(),
        speech(voice),
        loudspeaker,
        microphone,
        hearing,
        foot,
        keys,
        answers(foot, keys, microphone, hearing),
        shop_line,
        journal_folder(),
        disk(),
        clock(),
    ]


def python(version: tuple[int, ...]) -> Line:
    """Python itself: 3.11 to 3.13."""
    text = ".".join(str(part) for part in version)
    if (3, 11) <= version[:2] <= (3, 13):
        return Line("python", WORKS, text)
    return Line("python", BROKEN, f"{text}; written for 3.11 to 3.13", "install Python 3.11, 3.12 or 3.13")


def required_packages() -> Line:
    """The packages without which nothing runs."""
    missing = [name for name in ("filelock", "numpy", "platformdirs") if not importable(name)]
    if missing:
        return Line("packages", BROKEN, f"missing: {', '.join(missing)}", _pip(*missing))
    here = [name for name in OPTIONAL if importable(name)]
    return Line("packages", WORKS, f"all that are needed; of the optional ones: {', '.join(here) or 'none'}")


OPTIONAL = ("pocketsphinx", "vosk", "miniaudio", "sounddevice", "espeakng_loader", "pyttsx3", "pynput")


def importable(name: str) -> bool:
    """Whether a package is installed; it isn't imported."""
    try:
        return importlib.util.find_spec(name) is not None
    except (ImportError, ValueError):
        return False


def _pip(*names: str) -> str:
    return f"python -m pip install {' '.join(names)}"


def speech(voice: VoiceSettings) -> Line:
    """The voice that speaks the settings."""
    try:
        from assistant.speaking.choose import choose_engine

        choice = choose_engine(voice)
        close = getattr(choice.engine, "close", None)
        if close is not None:
            close()
        return Line("voice", WORKS, choice.line.removeprefix("voice: "))
    except KerfcallError as error:
        return Line("voice", STANDS_IN, f"text on the screen: {error}", _pip("espeakng-loader", "pyttsx3"))
    except Exception as error:
        return Line("voice", STANDS_IN, f"text on the screen: {_plain(error)}", _pip("espeakng-loader", "pyttsx3"))


def sound() -> tuple[Line, Line]:
    """Loudspeaker and microphone, as the sound library lists them."""
    found = _devices()
    if isinstance(found, str):
        text, mend = found, _pip("miniaudio")
        names: tuple[list[str], list[str]] = ([], [])
    else:
        text, mend, names = "", "connect one, and see that the system's sound settings show it", found
    speaker = _device("loudspeaker", names[0], f"text on the screen: {text or 'no loudspeaker found'}", mend)
    microphone = _device("microphone", names[1], f"pedal and keys: {text or 'no microphone found'}", mend)
    return speaker, microphone


def _device(part: str, names: list[str], text: str, mend: str) -> Line:
    if names:
        more = f" and {len(names) - 1} more" if len(names) > 1 else ""
        return Line(part, WORKS, f"{names[0]}{more}")
    return Line(part, STANDS_IN, text, mend)


def _devices() -> tuple[list[str], list[str]] | str:
    """Names of outputs and inputs, or why they can't be listed."""
    if not importable("miniaudio"):
        return _sounddevice_devices() if importable("sounddevice") else "no sound library is installed"
    try:
        done = subprocess.run(
            [sys.executable, "-c", LIST_DEVICES], capture_output=True, text=True, timeout=DEVICES_WITHIN_S, check=True
        )
        outputs, inputs = json.loads(done.stdout)
    except (OSError, subprocess.SubprocessError, ValueError):
        return "the sound library failed to list any device"
    return outputs, inputs


def _sounddevice_devices() -> tuple[list[str], list[str]] | str:
    try:
        devices: Any = importlib.import_module("sounddevice").query_devices()
    except Exception as error:  # PortAudio missing is an OSError, its own faults another kind
        return _plain(error)
    return (
        [one["name"] for one in devices if one["max_output_channels"]],
        [one["name"] for one in devices if one["max_input_channels"]],
    )


def recogniser(voice: VoiceSettings) -> Line:
    """Which recogniser listens, and why."""
    mend = _pip("pocketsphinx")
    try:
        from assistant.hearing.models import choose

        choice = choose(voice)
    except KerfcallError as error:
        return Line("recogniser", STANDS_IN, f"pedal and keys: {error}", mend)
    except Exception as error:
        return Line("recogniser", STANDS_IN, f"pedal and keys: the recogniser did not load: {_plain(error)}", mend)
    if not importable(choice.recogniser):
        return Line("recogniser", STANDS_IN, f"pedal and keys: {choice.recogniser} is not installed", mend)
    if choice.stands_in:
        return Line("recogniser", STANDS_IN, choice.why, "`kerfcall models list` shows which models were found")
    return Line("recogniser", WORKS, choice.why)


def pedal(settings: PedalSettings) -> Line:
    """Whether the pedal's key can be heard wherever the focus is."""
    from assistant.pedal.names import key_from_name
    from assistant.pedal.watch import STANDS_IN as WHAT_STANDS_IN
    from assistant.pedal.watch import KeyWatch

    try:
        key = key_from_name(settings.key)
        KeyWatch(lambda pressed: None, lambda released: None, lambda: None).close()
    except KerfcallError as error:
        said = str(error).removeprefix("The pedal is not heard: ").replace(f"; {WHAT_STANDS_IN}", "").rstrip(".")
        text, _, mend = said.partition(" To mend it: ")
        return Line("pedal", STANDS_IN, f"terminal keys: {text.rstrip('.')}", mend)
    return Line("pedal", WORKS, f"{key.name} is heard in every window (`kerfcall ready --pedal` tries it)")


def terminal() -> Line:
    """Whether the terminal's keys can stand in for pedal and voice."""
    if sys.stdin is not None and not sys.stdin.closed and sys.stdin.isatty():
        return Line("terminal keys", WORKS, "space: tap, d: double tap, h: hold, ?: all keys")
    return Line(
        "terminal keys", STANDS_IN, "pedal or voice: the standard input is no terminal", "start from a terminal"
    )


def answers(foot: Line, keys: Line, microphone: Line, hearing: Line) -> Line:
    """Whether there is any way at all to answer."""
    ways = [name for name, line in (("pedal", foot), ("terminal keys", keys)) if line.state == WORKS]
    if microphone.state == WORKS and hearing.state == WORKS:
        ways.append("voice")
    if ways:
        return Line("your answers", WORKS, f"by {', '.join(ways)}")
    return Line("your answers", BROKEN, "neither pedal, terminal keys nor voice", "start from a terminal: its keys do")


def shop_file(path: Path | None) -> tuple[Line, Shop | None]:
    """The shop file: without a kerf nothing is cut."""
    from assistant.plans.shop_file import default_shop_path, try_shop

    try:
        shop, faults = try_shop(path)
    except OSError as error:
        return Line("shop file", BROKEN, _plain(error), "see that it can be read"), None
    if shop is not None and not faults:
        return Line("shop file", WORKS, f"{path or default_shop_path()}, kerf {float(shop.blade.kerf):.2f} mm"), shop
    text = "; ".join(
        f"{fault.where}: {fault.what}" + (f" (got {fault.value})" if fault.value else "") for fault in faults
    )
    return Line("shop file", BROKEN, text, "; ".join(dict.fromkeys(fault.mend for fault in faults))), None


def _state_folder() -> Path:
    from assistant.journal.store import default_state_dir

    return default_state_dir()


def _standing(folder: Path) -> Path:
    """The folder, or the nearest one above it that is there."""
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return folder


def journal_folder(find: Callable[[], Path] = _state_folder) -> Line:
    """Whether the journal can be written: nothing is announced before it is committed."""
    try:
        folder = find()
        with tempfile.NamedTemporaryFile(dir=_standing(folder), prefix=".kerfcall-"):
            pass
    except OSError as error:
        return Line("journal", BROKEN, _plain(error), "make the folder writable, or name another with --state DIR")
    return Line("journal", WORKS, str(folder))


def disk(find: Callable[[], Path] = _state_folder) -> Line:
    """Room where the journal is kept."""
    try:
        free_mb = shutil.disk_usage(_standing(find())).free // 1_000_000
    except OSError as error:
        return Line("disk", BROKEN, _plain(error), "see that the folder of the journal is there")
    if free_mb < LEAST_FREE_MB:
        return Line("disk", BROKEN, f"{free_mb} MB free", f"free at least {LEAST_FREE_MB} MB")
    little = f"; under {LITTLE_FREE_MB} MB is little" if free_mb < LITTLE_FREE_MB else ""
    return Line("disk", WORKS, f"{free_mb:,} MB free{little}")


def clock(now: Callable[[], float] = time.time) -> Line:
    """The wall clock dates the journal; the session itself runs on the steady one."""
    year = time.gmtime(now()).tm_year
    if year < 2025:
        return Line("clock", STANDS_IN, f"the steady clock: the wall clock says {year}", "set the date and time")
    resolution = time.get_clock_info("monotonic").resolution
    return Line("clock", WORKS, time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(now())) + _coarse(resolution))


def _coarse(resolution_s: float) -> str:
    return f"; the steady clock is coarse: {1000 * resolution_s:.0f} ms" if resolution_s > 0.02 else ""


def _plain(error: BaseException) -> str:
    """One line of a foreign exception, without paths of its code."""
    first = str(error).strip().splitlines()
    if isinstance(error, OSError) and error.strerror:
        return f"{error.strerror}: {os.fspath(error.filename)}" if error.filename else error.strerror
    return first[0] if first else type(error).__name__
