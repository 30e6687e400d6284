"""Writes one value into a shop file: atomically, leaving everything else as it was, and so that it can be undone.

The history lies beside the shop file, as `shop.history.jsonl`: a line of JSON for each calibration, appended
before the shop file is touched. The shop file is written as a new file beside the old one, read back and checked,
synced, and put in place by one rename. So an interruption at any step leaves either the old file or the new one,
whole. If the history has a value that the shop file doesn't, the value was never written.
"""

from __future__ import annotations

import contextlib
import json
import os
import stat
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from assistant import files
from assistant.errors import BadInput, CouldNotRun, Fault, NoSuchPart
from assistant.plans.document import read_document
from assistant.plans.members import member
from assistant.plans.shop_file import try_shop

VERSION = 1


class EntryKind(StrEnum):
    """What a line of a history is about."""

    KERF = "kerf"
    SCREW = "screw"
    ZERO = "zero"
    BACKLASH = "backlash"
    JOINT = "joint"
    BLADE = "blade"
    """Another blade was fitted."""
    SQUARE = "square"
    """How far the cut is out of square."""


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One line of a history.

    n: from 1. utc: when. blade: its name, "" for the first. key: of the shop file, e.g. "blade.kerf", or "" if no key
    holds the value. before, after: the value's TOML text there, None if the key was, or must become, absent. undoes:
    the number of the entry taken back, or 0. data: what else is known, JSON-ready.
    """

    n: int
    utc: str
    kind: EntryKind
    blade: str
    key: str
    before: str | None
    after: str | None
    undoes: int
    data: Mapping[str, Any]


def history_path(shop: Path) -> Path:
    """Where the history of this shop file is."""
    # Of the file itself, so that a link to it leads to the same history.
    return shop.resolve().with_suffix(".history.jsonl")


def read_history(shop: Path) -> list[HistoryEntry]:
    """Every entry, oldest first; [] if there is none. A line that an interruption cut short is skipped.

    Raises CouldNotRun if the file can't be read, or if it holds a line that Kerfcall didn't write.
    """
    path = history_path(shop)
    try:
        lines = path.read_bytes().split(b"\n")
    except FileNotFoundError:
        return []
    except OSError as error:
        raise CouldNotRun(f"{path.name} can't be read: {error.strerror}; check that you may read it") from error
    entries = []
    for n, line in enumerate(lines, 1):
        try:
            fields = json.loads(line)
        except ValueError:
            continue  # the line was cut short by an interruption, or is the empty one after the last line's end
        try:
            if fields.pop("version") != VERSION:
                raise ValueError("an unknown version")
            entry = HistoryEntry(**fields)
            entries.append(replace(entry, kind=member(EntryKind, entry.kind)))
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            mend = "remove that line, or move the file away to begin a new history"
            raise CouldNotRun(f"{path.name}, line {n} is damaged; {mend}") from error
    return entries


def append_to_history(shop: Path, entry: HistoryEntry) -> None:
    """Append to the history and sync it to the disk. Raises CouldNotRun if that fails."""
    path = history_path(shop)
    text = json.dumps({"version": VERSION, **asdict(entry)}) + "\n"
    try:
        with path.open("a+b") as file:
            if file.seek(0, os.SEEK_END):
                file.seek(-1, os.SEEK_END)
                # End a line that was cut short, so that the new entry has a line to itself.
                if file.read(1) != b"\n":
                    text = "\n" + text
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise CouldNotRun(f"{path.name} can't be written: {error.strerror}; nothing was changed") from error


def value_text(shop: Path, key: str) -> str | None:
    """The TOML text of a key exactly as the shop file has it ('3.18', '"1/8 in"'), None if it is absent."""
    item: Any = _parsed(shop)[0]
    for part in key.split("."):
        if part not in item:
            return None
        item = item[part]
    return str(item.as_string())


def record(
    shop: Path, kind: EntryKind, utc: str, blade: str, data: Mapping[str, Any], *, key: str = "", value: str = ""
) -> HistoryEntry:
    """Note a calibration, and write its value to the shop file if a key is given.

    value: the TOML text to write there. Raises BadInput if the shop file would then have a fault,
    CouldNotRun if it can't be written, NoSuchPart without tomlkit.
    """
    before = value_text(shop, key) if key else None
    new = bytes_with(shop, key, value) if key else None
    entry = HistoryEntry(len(read_history(shop)) + 1, utc, kind, blade, key, before, value if key else None, 0, data)
    # The history comes first. If the shop file is then not replaced, `_never_written` finds that out; the other way
    # round, a value in the shop file would have no entry to take it back by.
    with _about_to_replace(shop, new):
        append_to_history(shop, entry)
    return entry


def undo(shop: Path, kind: EntryKind, utc: str) -> HistoryEntry:
    """Take back the last calibration of this kind in force, restoring the old value's text exactly.

    Returns the entry that notes it. Raises BadInput if there is none, or if the value was changed by hand since.
    """
    entries = read_history(shop)
    last = next((e for e in reversed(in_force(shop, entries)) if e.kind == kind), None)
    if last is None:
        what, mend = f"there is no {kind} calibration to take back", "--history shows what there is"
        raise BadInput([Fault(what, "", history_path(shop).name, mend)])
    new = None
    if last.key:
        now = value_text(shop, last.key)
        if now != last.after:
            mend = f"change it by hand: before the calibration it was {last.before or 'absent'}"
            what = f"is no longer {last.after}, the calibrated value"
            raise BadInput([Fault(what, now or "absent", f"{shop.name}: {last.key}", mend)])
        new = bytes_with(shop, last.key, last.before)
    entry = HistoryEntry(len(entries) + 1, utc, kind, last.blade, last.key, last.after, last.before, last.n, {})
    with _about_to_replace(shop, new):
        append_to_history(shop, entry)
    return entry


def in_force(shop: Path, entries: list[HistoryEntry]) -> list[HistoryEntry]:
    """The entries in force, oldest first: neither taken back, nor left unwritten by an interruption."""
    entries = [e for e in entries if not _never_written(shop, entries, e)]
    taken_back = {e.undoes for e in entries if e.undoes}
    return [e for e in entries if not e.undoes and e.n not in taken_back]


def _never_written(shop: Path, entries: list[HistoryEntry], entry: HistoryEntry) -> bool:
    """Whether the shop file never got this entry's value: the next entry, or the file now, still has the old one."""
    if not entry.key or entry.before == entry.after:
        return False
    later = next((e for e in entries if e.key == entry.key and e.n > entry.n), None)
    if later is not None:
        return later.before == entry.before
    try:
        return value_text(shop, entry.key) == entry.before
    except BadInput:
        return False


def _tomlkit() -> Any:
    try:
        import tomlkit
    except ImportError as error:
        raise NoSuchPart("the library that writes shop files is missing: pip install tomlkit") from error
    return tomlkit


def _parsed(shop: Path) -> tuple[Any, bytes]:
    """(the document with its comments, its bytes). Raises BadInput if the file is not valid TOML."""
    document = read_document(shop)
    if document.tree is None:
        raise BadInput(document.faults)
    data = shop.read_bytes()
    return _tomlkit().parse(data.decode("utf-8-sig")), data


def bytes_with(path: Path, key: str, value: str | None) -> bytes:
    """A TOML file's bytes with this value at the key, or without the key. Comments, order and line ends are kept.

    key: with its table, e.g. "blade.kerf". value: TOML text. Raises BadInput if the file is not valid TOML, NoSuchPart
    without tomlkit.
    """
    tomlkit = _tomlkit()
    document, data = _parsed(path)
    *tables, name = key.split(".")
    table = document
    for part in tables:
        if part not in table:
            table[part] = tomlkit.table()
        table = table[part]
    if value is None:
        table.pop(name, None)
    else:
        table[name] = tomlkit.value(value)
    # The byte order mark was removed for tomlkit, so it is put back.
    mark = b"\xef\xbb\xbf" if data.startswith(b"\xef\xbb\xbf") else b""
    return mark + tomlkit.dumps(document).encode()


@contextlib.contextmanager
def _about_to_replace(shop: Path, data: bytes | None) -> Iterator[None]:
    """Inside, the new file lies beside the shop file, synced and free of faults. At the end it takes its place."""
    if data is None:
        yield
        return
    # A link stays a link: the file that it leads to is replaced.
    real = shop.resolve()
    try:
        with files.prepared(real, data, stat.S_IMODE(real.stat().st_mode)) as new:
            read, faults = try_shop(new)
            if read is None:
                raise BadInput([Fault(f.what, f.value, f.where.replace(new.name, real.name), f.mend) for f in faults])
            yield
    except OSError as error:
        raise CouldNotRun(f"{real.name} can't be written: {error.strerror}; it was not changed") from error
