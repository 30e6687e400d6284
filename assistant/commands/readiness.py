"""What works on this machine, part by part, each with what mends it. Nothing here raises."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from assistant.commands import ready_controls, ready_place, ready_software, ready_sound
from assistant.commands.ready_line import BROKEN, Line, Probe, gathered, pip, plain
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.model import PedalSettings, Shop, VoiceSettings

SHOP_FILE, ANSWERS = "shop file", "your answers"
CALIBRATIONS = ("kerf", "screw", "zero", "backlash", "square")
# The screen's order.
ORDER = (
    *("python", "packages", "voice", *ready_sound.PARTS, "noise", "recogniser", "pedal", "terminal keys", "display"),
    *(ANSWERS, SHOP_FILE, *CALIBRATIONS, "journal", "disk", "clock"),
)
NO_VOICE = "put it right, or go without: cut --no-voice"
SOUND_S = ready_sound.LONGEST_S + 1  # its child has a time of its own


def survey(shop_path: Path | None) -> list[Line]:
    """Every part of a session on this machine, in the order of the screen."""
    shop_line, shop = _shop(shop_path)
    found = {line.part: line for line in (shop_line, *gathered(_probes(shop)))}
    ways = ("pedal", "terminal keys", "microphone", "level", "recogniser")
    found[ANSWERS] = ready_controls.answers(*(found[part] for part in ways))
    return [found[part] for part in ORDER]


def exit_code(lines: Sequence[Line]) -> int:
    """0: each works or stands in. 2: the shop file is bad, and nothing else. 3: anything else is broken."""
    broken = {line.part for line in lines if line.state == BROKEN}
    if not broken:
        return 0
    return 2 if broken == {SHOP_FILE} else 3


def _shop(path: Path | None) -> tuple[Line, Shop | None]:
    """On this thread: what the shop file says decides what the others look at."""
    try:
        from assistant.commands.ready_shop import shop_file

        return shop_file(path)
    except Exception as error:
        return Line(SHOP_FILE, BROKEN, f"could not be looked at: {plain(error)}", "see that it can be read"), None


def _probes(shop: Shop | None) -> list[Probe]:
    voice = shop.voice if shop else VoiceSettings()
    settings = shop.pedal if shop else PedalSettings()
    software, controls, place = ready_software, ready_controls, ready_place
    return [
        _one("python", lambda: software.python(sys.version_info[:3]), "install Python anew"),
        _one("packages", software.packages, "install Kerfcall anew"),
        _one("voice", lambda: software.voice(voice), NO_VOICE),
        Probe(ready_sound.PARTS, lambda: ready_sound.sound(voice.loudspeaker), NO_VOICE, SOUND_S),
        _one("noise", lambda: software.noise(voice), pip("numpy")),
        _one("recogniser", lambda: software.recogniser(voice, shop.checks if shop else DEFAULT_CHECKS), NO_VOICE),
        _one("pedal", lambda: controls.pedal(settings), "put it right, or go without: cut --no-pedal"),
        _one("terminal keys", controls.terminal, "start from another terminal"),
        _one("display", controls.display, "go without: cut --plain"),
        Probe(CALIBRATIONS, lambda: _ages(shop), "move the history beside the shop file away"),
        _one("journal", place.journal, "name another folder with --state DIR"),
        _one("disk", place.disk, "see that the disk answers"),
        _one("clock", place.clock, "set date, time and time zone"),
    ]


def _one(part: str, look: Callable[[], Line], mend: str) -> Probe:
    return Probe((part,), lambda: [look()], mend)


def _ages(shop: Shop | None) -> Sequence[Line]:
    from assistant.commands.ready_shop import ages

    return ages(shop)
