"""Reads a TOML file: its tree, its digest, and the faults found in it so far.

A file is at most 1 MB of UTF-8, with or without a byte order mark. Decimals stay exact. Nothing here raises an
exception for the content of a file. Faults are collected in `Document.faults`, each with file and key, so that those
of a plan and a shop file can be reported together.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from assistant.errors import Fault, WrongFile
from assistant.joinery.units import LengthError, Unit, parse_length

MAX_BYTES = 1_000_000
SHOWN = 60
# A larger integer is no length or count of anything, and Python may be slow or refuse to turn it into digits.
MAX_INTEGER_BITS = 128

# Tables and keys that only one of the two files has: they show which file this is.
OF_A_PLAN = frozenset(
    {"title", "stock", "joint", "boards", "slots", "spaced", "lining", "size", "uncertainty", "climate", "order"}
)
OF_A_SHOP = frozenset(
    {"blade", "carriage", "pedal", "voice", "guard", "checks", "checks_off", "phrases", "pronunciations", "page"}
)
FILE_NAMES = {"plan": "plan", "shop": "shop file"}

# The TOML reader takes time quadratic in the number of parts of a dotted key: half a minute for a key of 40 kB.
_DEEP_KEY = re.compile(r"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){50}""")
# Only the message of tomllib says where the fault is.
_POSITION = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")


def cleaned(text: str) -> str:
    """`text` without control, format and unassigned characters; runs of blanks become one space."""
    kept = (" " if c.isspace() else c for c in text if c.isspace() or unicodedata.category(c)[0] != "C")
    return " ".join("".join(kept).split())


def shown(value: object) -> str:
    """A value as a fault shows it: as the user wrote it, on one line of at most about 60 characters."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{shortened(cleaned(value))}"'
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, int) and value.bit_length() > MAX_INTEGER_BITS:
        # A bit is 0.301 decimal digits.
        return f"a whole number of about {value.bit_length() * 3 // 10} digits"
    return shortened(str(value))


def shortened(text: str) -> str:
    return text if len(text) <= SHOWN else text[: SHOWN - 3] + "..."


@dataclass(slots=True)
class Document:
    """A file that was read. name: as faults call it. digest: SHA-256 of its bytes, hex, or "" if unreadable."""

    name: str
    faults: list[Fault] = field(default_factory=list)
    tree: dict[str, Any] | None = None
    digest: str = ""

    def fault(self, what: str, value: str, key: str, mend: str) -> None:
        self.faults.append(Fault(what, value, f"{self.name}: {key}" if key else self.name, mend))

    def is_wrong_file(self, wanted: str) -> bool:
        """Whether this is the other of the two files. wanted: "plan" or "shop". Notes a fault if it is."""
        kind = _kind_of(self.tree)
        if kind in ("", wanted):
            return False
        other, name = FILE_NAMES[kind], FILE_NAMES[wanted]
        mend = f"give your {name} instead"
        self.faults.append(WrongFile(f"is a {other}, but a {name} is needed here", "", self.name, mend))
        return True

    def adopt(self, faults: Iterable[Fault]) -> None:
        """Add faults whose `where` is only a key, with the file's name put before it."""
        for fault in faults:
            self.fault(fault.what, fault.value, fault.where, fault.mend)


def read_document(path: Path) -> Document:
    """Read and parse a TOML file. Never raises for what it finds: `Document.faults` has it, and tree is None."""
    document = Document(_name_of(path))
    data = _bytes_of(path, document)
    if data is None:
        return document
    document.digest = hashlib.sha256(data).hexdigest()
    try:
        # Skips a byte order mark, which some editors write.
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        mend = "save it as UTF-8 text"
        document.fault("is not UTF-8 text", f"byte {data[error.start]:#04x} at byte {error.start + 1}", "", mend)
        return document
    document.tree = _parsed(text, document)
    return document


def document_of_text(text: str, path: Path) -> Document:
    """The same of a text that is in no file yet. path: where it would be."""
    document = Document(_name_of(path), digest=hashlib.sha256(text.encode()).hexdigest())
    document.tree = _parsed(text, document)
    return document


def _name_of(path: Path) -> str:
    return shortened(cleaned(path.name)) or cleaned(str(path)) or "the file"


def _kind_of(tree: dict[str, Any] | None) -> str:
    """Either "plan" or "shop", judged by its keys; "" if it could be either."""
    of_plan, of_shop = len(OF_A_PLAN & set(tree or ())), len(OF_A_SHOP & set(tree or ()))
    return "" if of_plan == of_shop else "plan" if of_plan > of_shop else "shop"


def kind_of_file(path: Path | None) -> str:
    """Either "plan" or "shop", judged by its keys; "" if it could be either or can't be read."""
    return "" if path is None else _kind_of(read_document(path).tree)


def _bytes_of(path: Path, document: Document) -> bytes | None:
    try:
        if path.is_dir():
            document.fault("is a folder", "", "", "give a file inside it")
        elif path.exists() and not path.is_file():  # reading a pipe might never end
            document.fault("is not a regular file", "", "", "give a TOML file")
        else:
            with path.open("rb") as file:
                # One byte over the limit shows that the file is too long, however long it is.
                data = file.read(MAX_BYTES + 1)
            if len(data) <= MAX_BYTES:
                return data
            mend = "give a plan or shop file: they take a few kB"
            document.fault("is over 1 MB", "more than 1,000,000 bytes", "", mend)
    except FileNotFoundError:
        document.fault(f"there is no such file in {folder_of(path)}", "", "", "check the name and the folder")
    except (OSError, ValueError) as error:
        reason = cleaned(getattr(error, "strerror", None) or str(error))
        mend = "check the file, and that you may read it"
        document.fault(f"can't be read: {reason}", "", "", mend)
    return None


def folder_of(path: Path) -> str:
    """The folder of a file, as faults call it."""
    return "this folder" if path.parent == Path() else cleaned(str(path.parent))


def _parsed(text: str, document: Document) -> dict[str, Any] | None:
    if _DEEP_KEY.search(text):
        _too_deep(document)
        return None
    try:
        # Decimal keeps what was written exactly: as a float, 0.1 would no longer be a tenth.
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        _syntax_fault(text, str(error), document)
    except RecursionError:
        _too_deep(document)
    except (ValueError, ArithmeticError):
        # The number has more digits than Python makes an int of, or an exponent too great for a Decimal.
        document.fault("contains a number too long to read", "", "", "write lengths with at most 40 characters")
    return None


def _too_deep(document: Document) -> None:
    mend = "no list or table in a plan or shop file is nested more than three deep"
    document.fault("is nested too deeply", "", "", mend)


def _with_quotes(line: str) -> str | None:
    """The corrected line, if its only fault is a length without quotes, as in width = 1-3/8; else None."""
    key, _, value = line.partition("=")
    value = value.partition("#")[0].strip()
    try:
        parse_length(value, Unit.MM)
    except LengthError:
        return None
    try:
        tomllib.loads(f"length = {value}")
    except tomllib.TOMLDecodeError:
        pass
    else:
        return None  # the length is a bare number, so the fault is elsewhere in the line
    quote = "'" if '"' in value else '"'
    return f"{key.strip()} = {quote}{value}{quote}"


def _syntax_fault(text: str, message: str, document: Document) -> None:
    found = _POSITION.search(message)
    what = f"is not valid TOML: {cleaned(_POSITION.sub('', message))}"
    mend = "correct that line (put text in quotes, and give each key and each table only once)"
    # Split at TOML's own line ends, not those of str.splitlines, so that the number agrees with an editor's.
    lines = text.replace("\r\n", "\n").split("\n")
    if found is None or found[1] is None:
        document.fault(what, "", f"line {len(lines)}, the end", mend)
        return
    line, column = int(found[1]), int(found[2])
    written = cleaned(lines[line - 1]) if line <= len(lines) else ""
    if (length := _with_quotes(written)) is not None:
        mend = f"put the length in quotes: {length}"
    document.fault(what, shortened(written), f"line {line}, column {column}", mend)
