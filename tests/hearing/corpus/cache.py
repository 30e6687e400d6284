"""Keeps made sound between runs, in files named by the hash of what they were made from."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

VERSION = "1"  # of the recipes


def folder() -> Path:
    """KERFCALL_CORPUS, or the user's cache."""
    import platformdirs

    place = os.environ.get("KERFCALL_CORPUS")
    path = Path(place) if place else platformdirs.user_cache_path("kerfcall") / "corpus"
    path.mkdir(parents=True, exist_ok=True)
    return path


def kept(make: Callable[[], bytes], *made_from: str | bytes) -> bytes:
    """The result of `make` for these, from the cache if it is there."""
    digest = hashlib.sha256()
    for part in (VERSION, *made_from):
        data = part.encode() if isinstance(part, str) else part
        digest.update(len(data).to_bytes(8, "big") + data)
    path = folder() / f"{digest.hexdigest()}.raw"
    if path.is_file():
        return path.read_bytes()
    data = make()
    # Whole or not at all, also with two processes at it.
    handle, temporary = tempfile.mkstemp(dir=path.parent)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
    Path(temporary).replace(path)
    return data
