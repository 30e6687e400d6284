"""What `ready` checks about the clocks, and whether there is any way to answer a session."""

from __future__ import annotations

import os
import re
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

from assistant import RELEASED
from assistant.errors import JournalError
from assistant.health import BROKEN, LIMITED, WORKS, Finding
from assistant.journal.health import last_entry, state_folder

ANSWERS = "your answers"
COARSE_S = 0.02  # a coarser clock can't tell a tap from a double tap well
SET_CLOCK = "set the date and time"
SET_ZONE = "set the time zone, on Linux with: timedatectl set-timezone Area/City"
# POSIX's own way to write a zone: names, offsets and rules, e.g. CET-1CEST,M3.5.0,M10.5.0/3
RULE = re.compile(r"(<[-+0-9A-Za-z]+>|[A-Za-z]{3,})[-+]?\d")


def clock(now: Callable[[], float] = time.time, last: Callable[[], str | None] | None = None) -> Finding:
    """The wall clock dates the journal and the calibrations; the session itself runs on the steady one.

    now: seconds since 1970. last: the journal's newest entry, ISO 8601.
    """
    moment = datetime.fromtimestamp(now(), UTC)
    zone = zone_name(os.environ)
    data = {"utc": f"{moment:%Y-%m-%dT%H:%M:%SZ}", "zone": zone or None}
    steady = f"the steady clock times the session: the wall clock says {moment:%Y-%m-%d %H:%M} UTC"
    if moment < datetime.fromisoformat(RELEASED).replace(tzinfo=UTC):
        return Finding("clock", LIMITED, f"{steady}, before this release ({RELEASED})", SET_CLOCK, data)
    newest = None
    with suppress(OSError, JournalError, ValueError, OverflowError):  # a journal that can't be read has its own line
        written = last() if last is not None else last_entry(state_folder())
        newest = datetime.fromisoformat(written).astimezone(UTC) if written else None
    if newest is not None and moment < newest - timedelta(minutes=1):
        text = f"{steady}, before the journal's last entry ({newest:%Y-%m-%d %H:%M})"
        return Finding("clock", LIMITED, text, SET_CLOCK, data)
    resolution_s = time.get_clock_info("monotonic").resolution
    coarse = f"; the steady clock is coarse: {1000 * resolution_s:.0f} ms" if resolution_s > COARSE_S else ""
    text = f"{moment.astimezone():%Y-%m-%d %H:%M} {zone or 'UTC'}{coarse}"
    if not zone:
        return Finding("clock", LIMITED, f"{text}: the time zone is not known: using UTC", SET_ZONE, data)
    return Finding("clock", WORKS, text, "", data)


def zone_name(environ: Mapping[str, str], local: Path = Path("/etc/localtime")) -> str:
    """This system's time zone, "" if none is set: libraries then silently use UTC."""
    asked = environ.get("TZ", "").removeprefix(":")
    if asked:
        return asked if _is_zone(asked) else ""
    if sys.platform == "win32":
        return time.tzname[0]
    if not local.exists():
        return ""
    # It is a link to the zone's file, whose path ends in the zone's name.
    _, found, name = os.path.realpath(local).partition("zoneinfo/")
    return name if found else time.tzname[0]


def _is_zone(name: str) -> bool:
    from zoneinfo import ZoneInfo

    if RULE.match(name) or Path(name).is_absolute():
        return RULE.match(name) is not None or Path(name).exists()
    try:
        ZoneInfo(name)
    except (KeyError, OSError, ValueError):  # no such zone, or a name that is no place in the zones' folder
        return False
    return True


def answers(foot: Finding, keys: Finding, microphone: Finding, level: Finding, recogniser: Finding) -> Finding:
    """Whether there is any way at all to answer a session: by foot, by key, or by a voice that is heard throughout."""
    ways = [name for name, line in (("pedal", foot), ("terminal keys", keys)) if line.state == WORKS]
    if all(line.state == WORKS for line in (microphone, level, recogniser)):
        ways.append("voice")
    data = {"by": ways}
    if ways:
        return Finding(ANSWERS, WORKS, f"by {', '.join(ways)}", "", data)
    text = "neither pedal, terminal keys nor voice"
    return Finding(ANSWERS, BROKEN, text, "start from a terminal, and use its keys", data)
