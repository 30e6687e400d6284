"""Checks that a vosk model folder is complete, without loading it: a broken model can end the process.

Besides presence and sizes, it reads the headers of the graphs. They say how many states and arcs must follow, which
shows a file that was cut short.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

FST_MAGIC = 0x7EB2FDD6  # OpenFst's binary files
STATE_BYTES, ARC_BYTES = 20, 16  # of a constant FST on disk, standard arcs
ADD_ON_MAGIC_BYTES = 4  # between a wrapper's header and the header inside it
REACH_BYTES = 12  # a state's empty interval set in a look-ahead wrapper
KALDI_BINARY = b"\x00B"
# The acoustic model and both parts of the run-time graph. Without HCLr and Gr vosk ignores the grammar, with only a
# warning, and listens for everything.
NEEDED = {
    "am/final.mdl": 100_000,
    "graph/HCLr.fst": 10_000,
    "graph/Gr.fst": 1_000,
    "graph/disambig_tid.int": 1,
    "conf/mfcc.conf": 1,
    "conf/model.conf": 1,
}
IVECTOR = ("final.dubm", "final.ie", "final.mat", "global_cmvn.stats", "online_cmvn.conf", "splice.conf")


@dataclass(frozen=True, slots=True)
class FileFault:
    """One thing wrong with a model's file. file: relative to the model folder. what: a plain clause."""

    file: str
    what: str

    def __str__(self) -> str:
        return f"{self.file}: {self.what}"


def model_faults(folder: Path) -> list[FileFault]:
    """Everything wrong with the folder; empty if it is safe to load."""
    if not folder.is_dir():
        return [FileFault(".", "there is no such folder")]
    needed = dict(NEEDED)
    if (folder / "ivector").is_dir():
        needed |= {f"ivector/{name}": 1 for name in IVECTOR}
    faults = [fault for name, least in needed.items() if (fault := _file_fault(folder, name, least))]
    broken = {fault.file for fault in faults}
    for name, check in (("graph/HCLr.fst", _fst_fault), ("graph/Gr.fst", _fst_fault), ("am/final.mdl", _kaldi_fault)):
        if name not in broken and (what := check(folder / name)):
            faults.append(FileFault(name, what))
    return faults


def _file_fault(folder: Path, name: str, least: int) -> FileFault | None:
    try:
        size = (folder / name).stat().st_size
    except OSError:
        return FileFault(name, "is missing")
    return FileFault(name, f"is cut short ({size} bytes)") if size < least else None


def _kaldi_fault(path: Path) -> str:
    with path.open("rb") as file:
        head = file.read(len(KALDI_BINARY))
    if head != KALDI_BINARY:
        return "is not an acoustic model"
    return "" if _ends_in_priors(path) else "is cut short"


def _ends_in_priors(path: Path) -> bool:
    """Whether the file ends as an nnet3 model must: with a vector of priors, `FV ` + size + one figure per state.

    The vector can be empty.
    """
    with path.open("rb") as file:
        file.seek(0, 2)
        size = file.tell()
        file.seek(max(0, size - 1_000_000))
        tail = file.read()
    at = tail.rfind(b"FV \x04")
    while at >= 0:
        if at + 8 <= len(tail):
            (count,) = struct.unpack_from("<i", tail, at + 4)
            if count >= 0 and at + 8 + 4 * count == len(tail):
                return True
        at = tail.rfind(b"FV \x04", 0, at)
    return False


def _fst_fault(path: Path) -> str:
    """What is wrong with an OpenFst file; "" for nothing. Looks inside a look-ahead wrapper.

    Of a kind of graph other than "const" only the header is checked; the trial load in the child finds the rest.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        data = file.read(4096)
    offset = wrapped = 0
    try:
        kind, states, arcs, offset = _fst_header(data, offset)
        while kind.endswith("lookahead"):
            wrapped += 1
            kind, states, arcs, offset = _fst_header(data, offset + ADD_ON_MAGIC_BYTES)
    except (struct.error, ValueError):
        return "is not a run-time graph"
    if kind != "const":
        return ""
    least = offset + states * (STATE_BYTES + wrapped * REACH_BYTES) + arcs * ARC_BYTES
    return f"is cut short ({size} of at least {least} bytes)" if size < least else ""


def _fst_header(data: bytes, offset: int) -> tuple[str, int, int, int]:
    """The kind, states, arcs and the offset after the header. Raises ValueError or struct.error."""
    (magic,) = struct.unpack_from("<I", data, offset)
    if magic != FST_MAGIC:
        raise ValueError("no FST header")
    offset += 4
    names = []
    for _ in range(2):
        (length,) = struct.unpack_from("<i", data, offset)
        if not 0 <= length <= 64:
            raise ValueError("no FST header")
        names.append(data[offset + 4 : offset + 4 + length].decode("ascii"))
        offset += 4 + length
    _version, _flags, _properties, _start, states, arcs = struct.unpack_from("<iiQqqq", data, offset)
    return names[0], states, arcs, offset + 40
