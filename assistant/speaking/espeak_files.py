"""Finds espeak-ng's library and data, and makes a data path that is short enough for it.

The library keeps its data path in a fixed buffer: 130 characters work, 145 fail. Without data it would end the whole
process; see `espeak.py`.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from assistant.errors import NoSuchPart

LONGEST_DATA_PATH = 120
# About 0.8 MB with the English voices: enough to speak, and quickly copied.
ENGLISH = ("phontab", "phondata", "phonindex", "intonations", "en_dict")
ENGLISH_VOICES = {"lang/gmw": "en*", "voices/!v": "f*"}
_SYSTEM_LIBRARIES = {
    "linux": ("libespeak-ng.so.1",),
    "darwin": ("/opt/homebrew/lib/libespeak-ng.1.dylib", "/usr/local/lib/libespeak-ng.1.dylib"),
    "win32": (r"C:\Program Files\eSpeak NG\libespeak-ng.dll",),
}


@dataclass(frozen=True, slots=True)
class LibraryPlace:
    """A library to try. data: its data folder; None for the folder it was built with. origin: for the screen."""

    library: str
    data: Path | None
    origin: str


def places() -> list[LibraryPlace]:
    """The places to look, best first: the espeakng-loader wheel, then the system's own library."""
    found: list[LibraryPlace] = []
    try:
        import espeakng_loader

        data = Path(espeakng_loader.get_data_path())
        found.append(LibraryPlace(espeakng_loader.get_library_path(), data, "from the espeakng-loader wheel"))
    except (ImportError, RuntimeError):
        pass
    system = _SYSTEM_LIBRARIES.get(sys.platform, ())
    return found + [LibraryPlace(name, None, "the system's own") for name in system]


def short_data_folder(data: Path, cache: Path | None = None) -> Path:
    """`data` itself if its path is short enough, else a copy of its English part in the user's cache folder.

    Raises NoSuchPart when no place with a short enough path can be written.
    """
    if _fits(data):
        return data
    if cache is not None:
        bases = [cache]
    else:
        from platformdirs import user_cache_dir

        # The temporary folder is everybody's, and another user's copy there may not be ours to read.
        user = str(os.getuid()) if hasattr(os, "getuid") else "voice"
        bases = [Path(user_cache_dir("kerfcall", appauthor=False)), Path(tempfile.gettempdir()) / f"kerfcall-{user}"]
    # Another release's data has other sizes, and so gets a separate copy.
    sizes = [(name, (data / name).stat().st_size) for name in ENGLISH]
    fingerprint = hashlib.sha256(repr((str(data), sizes)).encode()).hexdigest()[:8]
    problems = []
    for base in bases:
        copy = base / f"espeak-{fingerprint}" / "espeak-ng-data"
        if not _fits(copy):
            problems.append(f"the path {copy} is too long as well")
            continue
        try:
            _copy_english(data, copy)
            return copy
        except OSError as error:
            problems.append(str(error))
    raise NoSuchPart(
        f"the path of the voice's data folder {data} is longer than the {LONGEST_DATA_PATH} characters that its "
        f"library can take, and no copy with a shorter path could be made ({'; '.join(problems)}); install Kerfcall "
        "into a shorter path"
    )


def _fits(path: Path) -> bool:
    return len(os.fsencode(path)) <= LONGEST_DATA_PATH


def _copy_english(data: Path, copy: Path) -> None:
    """Copies what English needs. It copies beside the final place and renames, so that no part copy is ever used."""
    if copy.is_dir():
        return
    copy.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    unfinished = Path(tempfile.mkdtemp(dir=copy.parent))
    for name in ENGLISH:
        shutil.copy(data / name, unfinished / name)
    for folder, names in ENGLISH_VOICES.items():
        (unfinished / folder).mkdir(parents=True)
        for voice in (data / folder).glob(names):
            shutil.copy(voice, unfinished / folder / voice.name)
    try:
        unfinished.rename(copy)
    except OSError:
        # Another process was quicker, and its copy is just as good.
        shutil.rmtree(unfinished, ignore_errors=True)
        if not copy.is_dir():
            raise
