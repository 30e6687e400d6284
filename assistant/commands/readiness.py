"""What works on this machine, part by part, each with what to do about it. Nothing here raises.

This module lists the rooms' own probes, and the order of the lines on the screen.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from assistant import installed
from assistant.calibrating import health as calibrating
from assistant.carriage import health as carriage
from assistant.health import BROKEN, Finding, one_line, pip
from assistant.hearing import health as hearing
from assistant.hearing import sound_child
from assistant.journal import health as journal
from assistant.pedal import health as pedal
from assistant.plans import health as plans
from assistant.plans.checks import DEFAULT_CHECKS
from assistant.plans.model import PedalSettings, Shop, VoiceSettings
from assistant.probes import Probe, gather
from assistant.runner import health as runner
from assistant.screens import health as screens
from assistant.speaking import health as speaking

SHOP_FILE = "shop file"
SOUND = ("loudspeaker", "microphone", "level")
CALIBRATIONS = ("kerf", "screw", "zero", "backlash", "square")
# The screen's order.
ORDER = (
    *("python", "packages", "voice", *SOUND, "noise", "recogniser", "pedal", "terminal keys", "display"),
    *(runner.ANSWERS, SHOP_FILE, *CALIBRATIONS, "journal", "disk", "clock"),
)
CARRIAGE = carriage.PART
"""Listed, after the shop file, only where a motor turns the carriage's screw."""
CARRIAGE_S = 25.0  # longer than a controller may take to start and list its settings
NO_VOICE = "fix it, or do without: cut --no-voice"
SOUND_S = sound_child.LONGEST_S + 1  # longer than the limit of its child, which reports better what is missing


def exit_code(lines: Sequence[Finding]) -> int:
    """0: each part works or is limited. 2: the shop file is bad, and nothing else. 3: anything else is broken."""
    broken = {line.part for line in lines if line.state == BROKEN}
    if not broken:
        return 0
    return 2 if broken == {SHOP_FILE} else 3


def _shop(path: Path | None) -> tuple[Finding, Shop | None]:
    """Read on this thread, before the probes, because the shop file decides what they check."""
    try:
        from assistant.commands.command_line import with_right_line

        typed = ["ready", *(["--shop", str(path)] if path else [])]
        return plans.shop_file(path, lambda faults: with_right_line(faults, typed, None, path))
    except Exception as error:
        return Finding(
            SHOP_FILE, BROKEN, f"could not be checked: {one_line(error)}", "make sure that it can be read"
        ), None


def survey(shop_path: Path | None) -> list[Finding]:
    """Every part that a session uses on this machine, in the order of the screen."""
    shop_line, shop = _shop(shop_path)
    voice = shop.voice if shop else VoiceSettings()
    settings = shop.pedal if shop else PedalSettings()
    probes = [
        _one("python", lambda: installed.python(sys.version_info[:3]), "reinstall Python"),
        _one("packages", installed.packages, "reinstall Kerfcall"),
        _one("voice", lambda: speaking.voice(voice), NO_VOICE),
        Probe(SOUND, lambda: _sound(voice.loudspeaker), NO_VOICE, SOUND_S),
        _one("noise", lambda: hearing.noise(voice), pip("numpy")),
        _one("recogniser", lambda: hearing.recogniser(voice, shop.checks if shop else DEFAULT_CHECKS), NO_VOICE),
        _one("pedal", lambda: pedal.pedal(settings), "fix it, or do without: cut --no-pedal"),
        _one("terminal keys", screens.terminal, "start from another terminal"),
        _one("display", screens.display, "do without: cut --plain"),
        Probe(CALIBRATIONS, lambda: calibrating.ages(shop), "move the history beside the shop file away"),
        _one("journal", journal.journal, "name another folder with --state DIR"),
        _one("disk", journal.disk, "check that the disk responds"),
        _one("clock", runner.clock, "set the date, the time and the time zone"),
    ]
    driven = shop.carriage if shop is not None and shop.carriage.drive is not None else None
    if driven is not None:
        mend = "look at the controller's supply and its USB lead, or do without: cut --no-drive"
        probes.append(Probe((CARRIAGE,), lambda: [carriage.carriage(driven)], mend, CARRIAGE_S))
    found = {line.part: line for line in (shop_line, *gather(probes))}
    ways = ("pedal", "terminal keys", "microphone", "level", "recogniser")
    found[runner.ANSWERS] = runner.answers(*(found[part] for part in ways))
    return [found[part] for part in order(driven is not None)]


def order(driven: bool) -> tuple[str, ...]:
    """The parts in the screen's order. driven: whether a motor turns the carriage's screw."""
    after = ORDER.index(SHOP_FILE) + 1
    return (*ORDER[:after], CARRIAGE, *ORDER[after:]) if driven else ORDER


def _one(part: str, look: Callable[[], Finding], mend: str) -> Probe:
    return Probe((part,), lambda: [look()], mend)


def _sound(loudspeaker: str) -> Sequence[Finding]:
    devices, level = sound_child.asked()
    return speaking.loudspeaker(devices, loudspeaker), hearing.microphone(devices), hearing.level(devices, level)
