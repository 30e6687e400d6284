"""Downloads a speech model listed in models.toml into the user's data folder: completely, or not at all.

    <into>/.fetching/NAME.zip.part, .json   the bytes so far, and of which archive; kept when the connection breaks
    <into>/.fetching/NAME.unpacking/        being unpacked; cleared at the next start
    <into>/.fetching/NAME.lock              one process at a time
    <into>/NAME/                            appears by one rename, once size, SHA-256 and files have been checked

A broken download continues as RFC 9110 says, sections 13.1.5 (If-Range), 14.2 (Range) and 15.3.7 (206).
The tests download from a server on the loopback address. The makers' site itself was not reached when this was
written: the address, size and SHA-256 in models.toml were not tried against it.
"""

from __future__ import annotations

import difflib
import errno
import hashlib
import http.client
import json
import os
import re
import shutil
import stat
import time
import tomllib
import urllib.error
import urllib.request
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, NoReturn

from assistant import __version__
from assistant.errors import BadInput, CouldNotRun, Fault
from assistant.hearing.model_files import model_faults

TABLE = Path(__file__).with_name("models.toml")
WORK_FOLDER = ".fetching"
CHUNK = 1 << 16  # bytes
TIMEOUT_S = 30.0  # without a byte, the connection counts as broken
TRIES = 4  # connections in one run
PAUSE_S = 1.0  # between them
UNPACKED_TIMES = 10  # the most an archive can grow; speech models unpack to two or three times their archive's size
MOST_ENTRIES = 10_000
FULL = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}

TellLine = Callable[[str], None]
Progress = Callable[[int, int], None]  # bytes so far, bytes in all


@dataclass(frozen=True, slots=True)
class KnownModel:
    """A row of models.toml. bytes, sha256 (hexadecimal): of the zip archive at `url`."""

    name: str
    recogniser: str
    language: str
    licence: str
    url: str
    bytes: int
    sha256: str


_KEYS: dict[str, tuple[str, str]] = {
    "name": (r"[0-9A-Za-z][0-9A-Za-z._-]{0,99}", "letters, digits, dots and dashes"),
    "recogniser": (r"vosk", '"vosk"'),
    "language": (r"[a-z]{2,3}", "two or three letters"),
    "licence": (r".+", "a licence's name"),
    "url": (r"https?://\S+", "an http or https address"),
    "bytes": (r"[1-9][0-9]{0,11}", "a whole number of bytes"),
    "sha256": (r"[0-9a-f]{64}", "64 hexadecimal digits, lower case"),
}


def known_models(path: Path = TABLE) -> list[KnownModel]:
    """The models that can be downloaded. Raises BadInput with every fault of the table, CouldNotRun without a table."""
    try:
        rows = tomllib.loads(path.read_text(encoding="utf-8")).get("models", [])
    except OSError as error:
        raise CouldNotRun(
            f"the list of models {path} can't be read: {error.strerror}; install Kerfcall again"
        ) from error
    except ValueError as error:
        raise BadInput([Fault("is not TOML", str(error), str(path), "correct the file")]) from error
    faults = [fault for number, row in enumerate(rows, 1) for fault in _row_faults(row, f"{path}: models {number}")]
    if faults:
        raise BadInput(faults)
    return [KnownModel(**{key: row[key] for key in _KEYS}) for row in rows]


def _row_faults(row: dict[str, Any], where: str) -> list[Fault]:
    return [
        Fault(f"{key} is wrong or missing", str(row.get(key, "")), where, f"give {wanted}")
        for key, (pattern, wanted) in _KEYS.items()
        if type(row.get(key)) is not (int if key == "bytes" else str) or not re.fullmatch(pattern, str(row[key]))
    ]


def pick(models: list[KnownModel], name: str | None, language: str) -> KnownModel:
    """The model of that name, or the first of the language. Raises BadInput, naming similar ones."""
    names = [model.name for model in models]
    for model in models:
        if model.name == name or (name is None and model.language == language):
            return model
    if name is None:
        fault = Fault("no model is listed", language, "the language", f"name a model: {', '.join(names)}")
    else:
        near = difflib.get_close_matches(name, names, cutoff=0.4) or names
        fault = Fault("no model of this name is listed", name, "models get", f"did you mean {' or '.join(near)}?")
    raise BadInput([fault])


def is_whole(model: KnownModel, into: Path) -> bool:
    """Whether the model is already in that folder, with no file missing or cut short."""
    return not model_faults(into / model.name)


def fetch(model: KnownModel, into: Path, tell: TellLine, progress: Progress) -> Path:
    """Downloads the model into the folder `into` and returns its own folder there. Replaces a broken one.

    Raises CouldNotRun if another process is downloading it, there is no network, the site refuses, the size or hash is
    wrong, the archive is unsafe, the disk is full or the folder can't be written. <into>/NAME then stays as it was.
    """
    work = into / WORK_FOLDER
    with _disk_words(into):
        work.mkdir(parents=True, exist_ok=True)
    with _lock(work / f"{model.name}.lock", model), _disk_words(into):
        if is_whole(model, into):
            return into / model.name
        part = _Part(model, work)
        staging = work / f"{model.name}.unpacking"
        _remove(staging)
        _remove(work / f"{model.name}.old")
        if part.kept() < model.bytes:
            _download(part, tell, progress)
        try:
            top = _checked_and_unpacked(part, staging, tell)
            _move_in(top, into / model.name, work / f"{model.name}.old")
        finally:
            _remove(staging)
        part.remove()
    return into / model.name


@contextmanager
def _disk_words(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno in FULL:
            text = f"the disk with {folder} is full, and the incomplete files were removed; make room, then try again"
        else:
            text = f"can't write to {folder}: {error.strerror or error}; make the folder writable for your user"
        raise CouldNotRun(text) from error


@contextmanager
def _lock(path: Path, model: KnownModel) -> Iterator[None]:
    from filelock import FileLock

    lock = FileLock(str(path))
    try:
        with _disk_words(path.parent):
            _take(lock, model)
    except NotImplementedError as error:
        raise CouldNotRun(f"files in {path.parent} can't be locked; use a data folder on a local disk") from error
    try:
        yield
    finally:
        lock.release()


def _take(lock: Any, model: KnownModel) -> None:
    from filelock import Timeout

    try:
        lock.acquire(timeout=0)
    except Timeout as error:  # also an OSError, but not the disk's
        raise CouldNotRun(f"another Kerfcall is downloading {model.name}; wait until it is done") from error


def _remove(path: Path) -> None:
    """Removes a file, a link or a whole folder, if it is there."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


class _Part:
    """The part of the archive downloaded so far, and a note saying which archive it belongs to."""

    def __init__(self, model: KnownModel, work: Path):
        self.model = model
        self.path = work / f"{model.name}.zip.part"
        self._note = work / f"{model.name}.json"

    def kept(self) -> int:
        """The bytes so far, to continue from. Removes a part that belongs to another archive."""
        note = self._read_note()
        if (note.get("url"), note.get("sha256")) == (self.model.url, self.model.sha256):
            with suppress(FileNotFoundError):
                size = self.path.stat().st_size
                if size <= self.model.bytes:
                    return size
        self.remove()
        return 0

    def validator(self) -> str | None:
        """The site's mark for this version of the file: a strong entity tag or a date."""
        value = self._read_note().get("validator")
        return value if isinstance(value, str) else None

    def begin(self, validator: str | None) -> None:
        """Starts from nothing, with a new note."""
        self.remove()
        note = {"url": self.model.url, "sha256": self.model.sha256, "validator": validator}
        self._note.write_text(json.dumps(note), encoding="utf-8")

    def remove(self) -> None:
        """Removes both files, if they are there."""
        _remove(self.path)
        _remove(self._note)

    def _read_note(self) -> dict[str, Any]:
        try:
            note = json.loads(self._note.read_text(encoding="utf-8"))
        except (FileNotFoundError, ValueError):
            return {}
        return note if isinstance(note, dict) else {}


class _BrokenOff(Exception):
    """The connection ended early; the next one continues."""


def _download(part: _Part, tell: TellLine, progress: Progress) -> None:
    _need_room(part.path.parent, part.model.bytes - part.kept())
    broken = ""
    for number in range(TRIES):
        if number:
            tell(f"The connection was lost ({broken}). Continuing the download.")
            time.sleep(PAUSE_S)
        try:
            return _one_connection(part, progress)
        except _BrokenOff as error:
            broken = str(error)
        except OSError:
            part.remove()  # writing failed: a part of the file must not fill the disk
            raise
    raise CouldNotRun(f"the connection was lost {TRIES} times ({broken}); {_carry_on_later(part)}")


def _need_room(folder: Path, needed: int) -> None:
    free = shutil.disk_usage(folder).free
    if needed > free:
        raise CouldNotRun(
            f"the disk is too full: the download needs {needed / 1e6:.0f} MB in {folder}, and {free / 1e6:.0f} MB are "
            "free; make room, then try again"
        )


def _carry_on_later(part: _Part) -> str:
    return f"try again later: the {part.kept() / 1e6:.1f} MB downloaded so far are kept"


def _one_connection(part: _Part, progress: Progress) -> None:
    """Appends what this connection delivers. Raises _BrokenOff, CouldNotRun, or OSError when writing fails."""
    model = part.model
    with _answer(part) as answer:
        here = _starting_at(answer, part)
        with part.path.open("ab") as file:
            while block := _next_block(answer):
                here += len(block)
                if here > model.bytes:
                    break
                file.write(block)
                progress(here, model.bytes)
    if here > model.bytes:
        _wrong_size(part, f"more than {model.bytes:,} bytes")
    if here < model.bytes:
        raise _BrokenOff(f"after {here:,} of {model.bytes:,} bytes")


def _next_block(answer: Any) -> bytes:
    try:
        return answer.read(CHUNK)
    except (OSError, http.client.HTTPException) as error:
        raise _BrokenOff(str(error) or type(error).__name__) from error


def _answer(part: _Part) -> Any:
    """The site's answer, open for reading, status 200 or 206."""
    # Compressed on the way, neither a range nor the length would be the file's.
    headers = {"User-Agent": f"kerfcall/{__version__}", "Accept-Encoding": "identity"}
    if kept := part.kept():
        headers["Range"] = f"bytes={kept}-"
        if validator := part.validator():
            headers["If-Range"] = validator
    try:
        return urllib.request.urlopen(urllib.request.Request(part.model.url, headers=headers), timeout=TIMEOUT_S)
    except urllib.error.HTTPError as error:
        with error:
            _refused(part, error.code, bool(kept))
    except (OSError, http.client.HTTPException) as error:
        reason = getattr(error, "reason", error)
        raise CouldNotRun(
            f"{part.model.url} can't be reached ({reason}); connect this computer to the network and "
            + _carry_on_later(part)
        ) from error


def _refused(part: _Part, code: int, carried_on: bool) -> NoReturn:
    if code == 416 and carried_on:
        part.remove()
        raise _BrokenOff("the site refused to continue") from None
    if code in (404, 410):
        raise CouldNotRun(
            f"{part.model.url} is no longer there (HTTP {code}); look on its makers' site and put the "
            f"new address into {TABLE}"
        ) from None
    raise CouldNotRun(f"the site refused {part.model.url} (HTTP {code}); {_carry_on_later(part)}") from None


def _starting_at(answer: Any, part: _Part) -> int:
    """The number of bytes already here that this answer continues; 0 when the site sends the whole file."""
    if answer.status == 206:
        kept = part.kept()
        if _range(answer) == (kept, part.model.bytes):
            return kept
        part.remove()
        raise _BrokenOff("the site continued from the wrong place")
    length = answer.headers.get("Content-Length")
    if length is not None and length != str(part.model.bytes):
        _wrong_size(part, f"{length} bytes")
    part.begin(_validator(answer))
    return 0


def _range(answer: Any) -> tuple[int, int] | None:
    found = re.fullmatch(r"bytes (\d{1,15})-\d{1,15}/(\d{1,15})", answer.headers.get("Content-Range", ""))
    return (int(found[1]), int(found[2])) if found else None


def _validator(answer: Any) -> str | None:
    tag = answer.headers.get("ETag")
    # RFC 9110, section 13.1.5: If-Range takes no weak tag.
    return tag if tag and not tag.startswith("W/") else answer.headers.get("Last-Modified")


def _wrong_size(part: _Part, got: str) -> None:
    part.remove()
    raise CouldNotRun(
        f"{part.model.url} has the wrong size: {got}, but {TABLE} says {part.model.bytes:,}; the download was "
        "removed. The makers have perhaps changed the file: look for a newer Kerfcall"
    )


def _checked_and_unpacked(part: _Part, staging: Path, tell: TellLine) -> Path:
    """Checks the archive and unpacks it into `staging`; returns the model's folder in there.

    One file handle serves both, so that the bytes unpacked are the bytes checked.
    """
    with part.path.open("rb") as file:
        found = hashlib.file_digest(file, "sha256").hexdigest()
        if found == part.model.sha256:
            tell("Size and SHA-256 are right. Unpacking.")
            try:
                top = unpack(file, staging, UNPACKED_TIMES * part.model.bytes)
                faults = [str(fault) for fault in model_faults(top)]
            except BadInput as error:
                faults = [str(fault) for fault in error.faults]
            if not faults:
                return top
            problem = "the archive can't be used: " + "; ".join(faults)
        else:
            problem = f"wrong SHA-256: {found}, but {TABLE} says {part.model.sha256}"
    part.remove()
    raise CouldNotRun(
        f"{part.model.url}: {problem}; the file was removed. Try again, or report it to Kerfcall's makers"
    )


def _move_in(folder: Path, target: Path, old: Path) -> None:
    """Moves the model into place by one rename. A broken model of that name makes way, and returns if that fails."""
    if os.path.lexists(target):
        os.rename(target, old)
    try:
        os.rename(folder, target)
    except OSError:
        if os.path.lexists(old):
            os.rename(old, target)
        raise
    # The new model is in place. If the old one can't be removed now, the next start removes it.
    with suppress(OSError):
        _remove(old)


def unpack(archive: BinaryIO, into: Path, limit: int) -> Path:
    """Unpacks a zip archive of one folder into the new folder `into`; returns that one folder.

    limit: the most bytes that it can unpack to. Raises BadInput, before anything is written, with every unsafe entry:
    absolute or climbing names, links, devices, encrypted or duplicate entries, too much data; or for damage.
    """
    try:
        with zipfile.ZipFile(archive) as opened:
            entries = opened.infolist()
            if faults := _archive_faults(entries, limit):
                raise BadInput(faults)
            into.mkdir(parents=True)
            _need_room(into, sum(entry.file_size for entry in entries))
            for entry in entries:
                _unpack_one(opened, entry, into)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput([Fault("is damaged", str(error), "the archive", "download it again")]) from error
    return into / entries[0].filename.split("/")[0]


def _archive_faults(entries: list[zipfile.ZipInfo], limit: int) -> list[Fault]:
    faults = [fault for entry in entries if (fault := _entry_fault(entry))]
    # Two names that differ only in their case are one file on Windows and macOS.
    names = [entry.filename.rstrip("/").casefold() for entry in entries]
    files = {name for name, entry in zip(names, entries, strict=True) if not entry.is_dir()}
    within = {name.rsplit("/", depth)[0] for name in names for depth in range(1, name.count("/") + 1)}
    size = sum(entry.file_size for entry in entries)
    whole = "the archive"
    if len(entries) > MOST_ENTRIES:
        faults.append(Fault("has too many entries", f"{len(entries)}", whole, f"at most {MOST_ENTRIES}"))
    if size > limit:
        faults.append(Fault("is too large when unpacked", f"{size} bytes", whole, f"at most {limit} bytes"))
    if len(set(names)) < len(names) or files & within:
        faults.append(Fault("has the same name twice", "", whole, "each name once"))
    if len({name.split("/")[0] for name in names}) != 1 or not within:
        faults.append(Fault("is not a single folder", "", whole, "one folder with everything in it"))
    return faults


def _entry_fault(entry: zipfile.ZipInfo) -> Fault | None:
    # The name exactly as it is in the archive: zipfile cuts `filename` at a NUL and converts separators.
    name = entry.orig_filename
    # The upper half is the file's mode if a Unix system made the archive, else 0.
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if re.search(r"[\\:\x00-\x1f]", name) or any(step in ("", ".", "..") for step in name.removesuffix("/").split("/")):
        what = "has a name that leads outside the folder"
    elif kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        what = "is a link or a device"
    elif entry.flag_bits & 0x1:
        what = "is encrypted"
    else:
        return None
    return Fault(what, repr(name), "the archive", "plain files and folders only")


def _unpack_one(opened: zipfile.ZipFile, entry: zipfile.ZipInfo, into: Path) -> None:
    target = into / entry.filename
    if entry.is_dir():
        target.mkdir(parents=True, exist_ok=True)
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    with opened.open(entry) as source, target.open("xb") as file:
        shutil.copyfileobj(source, file, CHUNK)
        if file.tell() != entry.file_size:
            what = "is shorter than it should be"
            raise BadInput([Fault(what, repr(entry.filename), "the archive", "download it again")])
        # On the disk before the rename, so that a model in place is complete even after a power cut.
        file.flush()
        os.fsync(file.fileno())
