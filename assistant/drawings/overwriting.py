"""Which files a drawing may overwrite: those that hold a drawing of its kind, and no others."""

from __future__ import annotations

from pathlib import Path

from assistant.errors import Fault

# How a drawing of each kind begins. A DXF file begins with the group code 0, padded to three characters.
BEGINS = {"svg": b"<?xml", "pdf": b"%PDF-", "dxf": b"  0"}


def why_not_written(kind: str, path: Path, where: str) -> Fault | None:
    """The fault that keeps a drawing of this kind from being written to this path, or None. where: names the path."""
    if not path.parent.is_dir():
        return Fault("there is no such folder", str(path.parent), where, "make the folder, or give another")
    if not path.exists():
        return None
    mend = f"give the name of a {kind.upper()} file to write"
    if not path.is_file():
        return Fault("is not a file", str(path), where, mend)
    try:
        with path.open("rb") as file:
            begin = file.read(8)
    except OSError as error:
        return Fault(f"can't be read ({error.strerror})", str(path), where, mend)
    if begin and not begin.startswith(BEGINS[kind]):
        what = f"the file exists, is not {kind.upper()} and was not overwritten"
        return Fault(what, str(path), where, mend)
    return None
