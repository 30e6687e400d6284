"""`kerfcall ready`: the journal, the disk it is on, and the clock that dates it."""

from __future__ import annotations

import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

from assistant import RELEASED
from assistant.commands.ready_line import BROKEN, STANDS_IN, WORKS, Line, plain, short
from assistant.errors import JournalError

LEAST_FREE_MB, LITTLE_FREE_MB = 50, 500
COARSE_S = 0.02
SET_CLOCK = "set the date and time"
SET_ZONE = "set the time zone, on Linux with: timedatectl set-timezone Area/City"
# POSIX's own way to write a zone: names, offsets and rules, e.g. CET-1CEST,M3.5.0,M10.5.0/3
RULE = re.compile(r"(<[-+0-9A-Za-z]+>|[A-Za-z]{3,})[-+]?\d")


def _state_folder() -> Path:
    from assistant.journal.store import default_state_dir

    return default_state_dir()


def standing(folder: Path) -> Path:
    """The folder, or the nearest one above it that is there."""
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return folder


def last_entry(folder: Path) -> str | None:
    """When the newest fact in this folder's journal was written, ISO 8601; None where there is none.

    Raises JournalError where the journal can't be read.
    """
    from assistant.journal.store import Journal, journal_path

    if not journal_path(folder).exists():
        return None
    with Journal.open_beside(folder) as journal:
        return journal.last_utc()


def journal(find: Callable[[], Path] = _state_folder) -> Line:
    """Whether the journal can be read and written: nothing is announced before it is committed."""
    from assistant.journal.store import journal_path

    mend = "make the folder writable, or name another with --state DIR"
    try:
        folder = find()
        with tempfile.NamedTemporaryFile(dir=standing(folder), prefix=".kerfcall-"):
            pass
        file = journal_path(folder)
        if file.exists() and not os.access(file, os.W_OK):
            return Line("journal", BROKEN, f"{short(file)} may not be written", "give yourself the right to write it")
        last = last_entry(folder)
    except OSError as error:
        return Line("journal", BROKEN, plain(error), mend)
    except JournalError as error:
        text, _, what = str(error).partition("; ")
        return Line("journal", BROKEN, text, what or "kerfcall journal repair")
    data = {"folder": str(folder), "last_entry_utc": last}
    return Line("journal", WORKS, f"{short(folder)}, {f'last entry {last[:10]}' if last else 'empty'}", "", data)


def disk(find: Callable[[], Path] = _state_folder) -> Line:
    """Room where the journal is kept."""
    try:
        free_mb = shutil.disk_usage(standing(find())).free // 1_000_000
    except OSError as error:
        return Line("disk", BROKEN, plain(error), "see that the folder of the journal is there")
    data = {"free_mb": free_mb}
    if free_mb < LEAST_FREE_MB:
        return Line("disk", BROKEN, f"{free_mb} MB free", f"free at least {LEAST_FREE_MB} MB", data)
    little = f"; under {LITTLE_FREE_MB} MB is little" if free_mb < LITTLE_FREE_MB else ""
    return Line("disk", WORKS, f"{free_mb:,} MB free{little}", "", data)


def clock(now: Callable[[], float] = time.time, last: Callable[[], str | None] | None = None) -> Line:
    """The wall clock dates the journal and the calibrations; the session itself runs on the steady one.

    now: seconds since 1970. last: the journal's newest entry, ISO 8601.
    """
    moment = datetime.fromtimestamp(now(), UTC)
    zone = zone_name(os.environ)
    data = {"utc": f"{moment:%Y-%m-%dT%H:%M:%SZ}", "zone": zone or None}
    stands_in = f"the steady clock times the session: the wall clock says {moment:%Y-%m-%d %H:%M} UTC"
    if moment < datetime.fromisoformat(RELEASED).replace(tzinfo=UTC):
        return Line("clock", STANDS_IN, f"{stands_in}, before this release ({RELEASED})", SET_CLOCK, data)
    newest = _newest(last)
    if newest is not None and moment < newest - timedelta(minutes=1):
        text = f"{stands_in}, before the journal's last entry ({newest:%Y-%m-%d %H:%M})"
        return Line("clock", STANDS_IN, text, SET_CLOCK, data)
    local = moment.astimezone()
    told = f"{local:%Y-%m-%d %H:%M} {zone or 'UTC'}{_coarse(time.get_clock_info('monotonic').resolution)}"
    if not zone:
        return Line("clock", STANDS_IN, f"{told}: the time zone is not known, UTC stands in", SET_ZONE, data)
    return Line("clock", WORKS, told, "", data)


def _newest(last: Callable[[], str | None] | None) -> datetime | None:
    """The journal's newest entry; a journal that can't be read is told by its own line."""
    try:
        text = last() if last is not None else last_entry(_state_folder())
        return datetime.fromisoformat(text).astimezone(UTC) if text else None
    except (OSError, JournalError, ValueError, OverflowError):
        return None


def zone_name(environ: Mapping[str, str], local: Path = Path("/etc/localtime")) -> str:
    """The time zone of this system, "" where none is set: a library then takes UTC without a word."""
    asked = environ.get("TZ", "").removeprefix(":")
    if asked:
        return asked if _is_zone(asked) else ""
    if sys.platform == "win32":
        return time.tzname[0]
    if not local.exists():
        return ""
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


def _coarse(resolution_s: float) -> str:
    return f"; the steady clock is coarse: {1000 * resolution_s:.0f} ms" if resolution_s > COARSE_S else ""
