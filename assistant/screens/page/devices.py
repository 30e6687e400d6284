"""The paired devices: their names and the hash of each one's token, in one file beside the journal.

A token is 256 random bits, given once, to the device. Only its SHA-256 is kept: a token of that length can't be
guessed, so it needs no salt and no slow hash. Several processes share the file. A device revoked in one process is
refused by all at its next request, and its stream ends as soon as the server has seen that. A number is never used
twice, because "device 3" must not come to mean another device.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from assistant import files
from assistant.errors import CouldNotRun
from assistant.journal import private

FILE_NAME = "page-devices.json"
VERSION = 2
TOKEN_BYTES = 32  # 256 bits: nobody guesses it, however many tries the gate lets through
MOST = 20  # more than a shop has; one that is gone is taken out by hand
MOST_NAME = 40


@dataclass(frozen=True, slots=True)
class PairedDevice:
    """A phone or tablet.

    id: a short number, for people. hash: SHA-256 of its token, hex. paired, seen: ISO 8601, UTC.
    """

    id: str
    name: str
    hash: str
    paired: str
    seen: str


@dataclass(slots=True)
class KeptDevices:
    """The file's contents. last: the highest number ever given."""

    devices: list[PairedDevice]
    last: int = 0


class Devices:
    """The paired devices of one state folder. Can be called from any thread; every error is a CouldNotRun."""

    def __init__(self, state_dir: Path, utc: Callable[[], str]):
        self.path = state_dir / FILE_NAME
        self._utc = utc
        self._guard = threading.Lock()
        self._stamp: tuple[int, int, int] | None = None  # of the file as it was when it was read
        self._known: tuple[PairedDevice, ...] = ()

    def all(self) -> tuple[PairedDevice, ...]:
        """In order of pairing; read again when the file has changed."""
        with self._guard:
            try:
                status = os.stat(self.path)
                # The inode as well: each change makes a new file, perhaps as long, within one tick of the clock.
                stamp = status.st_mtime_ns, status.st_size, status.st_ino
            except OSError:
                stamp = None
            if stamp != self._stamp:
                self._known = tuple(self._read().devices) if stamp is not None else ()
                self._stamp = stamp
            return self._known

    def of_token(self, token: str) -> PairedDevice | None:
        """The device that was given this token, or None if there is none or its file can't be read."""
        hashed = _hash(token)
        with suppress(CouldNotRun):
            return next((device for device in self.all() if hmac.compare_digest(device.hash, hashed)), None)
        return None

    def holds(self, device: PairedDevice) -> bool:
        """Whether this device's token is still valid; its number alone opens nothing."""
        with suppress(CouldNotRun):
            return any(other.hash == device.hash for other in self.all())
        return False

    def pair(self, name: str) -> tuple[PairedDevice, str]:
        """A new device and its token. Raises CouldNotRun when there are `MOST` already."""
        token, now = secrets.token_urlsafe(TOKEN_BYTES), self._utc()
        with self._changing() as kept:
            if len(kept.devices) >= MOST:
                raise CouldNotRun(f"{MOST} devices are paired already; remove one with: kerfcall page revoke ID")
            kept.last += 1
            device = PairedDevice(str(kept.last), clean_name(name), _hash(token), now, now)
            kept.devices.append(device)
        return device, token

    def seen(self, device: PairedDevice) -> None:
        """Record that this device is here now."""
        with self._changing() as kept:
            for place, other in enumerate(kept.devices):
                if other.hash == device.hash:
                    kept.devices[place] = replace(other, seen=self._utc())

    def revoke(self, id: str | None) -> tuple[PairedDevice, ...]:
        """Remove the device with this id, or all (None). Returns those removed."""
        with self._changing() as kept:
            gone = tuple(device for device in kept.devices if id in (None, device.id))
            kept.devices = [device for device in kept.devices if device not in gone]
        return gone

    @contextmanager
    def _changing(self) -> Iterator[KeptDevices]:
        """The file's contents, written back at the end; one process at a time."""
        from filelock import FileLock, Timeout

        lock = FileLock(str(self.path.with_name("locks") / "page-devices.lock"), mode=private.FILE)
        try:
            private.make_folder(self.path.parent, tighten_it=False)
            private.make_folder(self.path.with_name("locks"), tighten_it=True)
            with lock.acquire(timeout=5):
                kept = self._read()
                before = replace(kept, devices=list(kept.devices))
                yield kept
                if kept != before:
                    body = json.dumps({"version": VERSION, **asdict(kept)}, indent=1)
                    files.write_whole(self.path, f"{body}\n".encode())  # for its owner only
        except Timeout as error:
            raise CouldNotRun(f"{self.path.name} is in use by another Kerfcall; try again") from error
        except OSError as error:
            raise CouldNotRun(f"can't write {self.path}: {error.strerror or error}") from error

    def _read(self) -> KeptDevices:
        try:
            data = json.loads(self.path.read_bytes())
            if data["version"] not in (1, VERSION):
                raise ValueError(f"version {data['version']!r}")
            devices = [_device(each) for each in data["devices"]]
            highest = max((int(device.id) for device in devices), default=0)
            if data["version"] == 1:
                # Those tokens were in cookies, which every port of this host was sent: they open nothing any more.
                return KeptDevices([], highest)
            if type(data["last"]) is not int or data["last"] < highest:
                raise ValueError(f"last {data['last']!r}")
            return KeptDevices(devices, data["last"])
        except FileNotFoundError:
            return KeptDevices([])
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise CouldNotRun(f"{self.path} can't be read ({error}); delete it, and pair the devices again") from error


def clean_name(name: str) -> str:
    """One line of at most MOST_NAME printable characters; never empty."""
    plain = " ".join("".join(c if c.isprintable() else " " for c in name).split())
    return plain[:MOST_NAME] or "a device"


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def _device(data: object) -> PairedDevice:
    if not isinstance(data, dict) or set(data) != {"id", "name", "hash", "paired", "seen"}:
        raise ValueError("a device is incomplete")
    if not all(isinstance(value, str) for value in data.values()) or not data["id"].isdecimal():
        raise ValueError("a device has a value that is not text")
    return PairedDevice(**data)
