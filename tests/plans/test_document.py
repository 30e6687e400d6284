"""Reading TOML files: any faulty content gives a fault with file, key, value and fix, never a traceback."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from assistant.plans.document import MAX_BYTES, Document, cleaned, read_document, shown
from tests.plans.files import write


def _text_of(document: Document) -> list[str]:
    return [str(fault) for fault in document.faults]


def test_byte_order_mark_and_windows_line_ends_are_taken(tmp_path: Path) -> None:
    document = read_document(write(tmp_path, b"\xef\xbb\xbfa = 1\r\nb = 2\r\n", "x.toml"))
    assert document.tree == {"a": 1, "b": 2}
    assert not document.faults


def test_the_digest_is_the_sha256_of_the_bytes(tmp_path: Path) -> None:
    data = b"\xef\xbb\xbfa = 1\r\n"
    assert read_document(write(tmp_path, data, "x.toml")).digest == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"\xff\xfea", "x.toml: is not UTF-8 text (got byte 0xff at byte 1); save it as UTF-8 text"),
        (b"a = " + b"[" * 50_000, "x.toml: is nested too deeply; no list or table"),
        (b"a." * 20_000 + b"b = 1", "x.toml: is nested too deeply; no list or table"),
        (b"a = " + b"9" * 5000, "x.toml: contains a number too long to read; write lengths with at most 40 characters"),
        (b"a = 1e99999999999999999999", "x.toml: contains a number too long to read"),
        (b"a" * (MAX_BYTES + 1), "x.toml: is over 1 MB (got more than 1,000,000 bytes)"),
        (
            b"a = 1\nb = = 2",
            "x.toml: line 2, column 5: is not valid TOML: Invalid value (got b = = 2); correct that line",
        ),
        (b"a = 1\na = 2\n", "x.toml: line 2, column 6: is not valid TOML: Cannot overwrite a value (got a = 2)"),
        (b"\x00\x01", "x.toml: line 1, column 1: is not valid TOML"),
        (b'a = "x', "x.toml: line 1, the end: is not valid TOML"),
    ],
)
def test_unreadable_content_is_one_fault(tmp_path: Path, data: bytes, expected: str) -> None:
    document = read_document(write(tmp_path, data, "x.toml"))
    assert document.tree is None
    assert len(document.faults) == 1
    assert _text_of(document)[0].startswith(expected)


@pytest.mark.parametrize(
    ("line", "quoted"),
    [
        ("a = 1-3/8  # of an inch", 'a = "1-3/8"'),
        ("a = 3½", 'a = "3½"'),
        ('a = 9"', "a = '9\"'"),
        ("a = 12 mm", 'a = "12 mm"'),
    ],
)
def test_a_length_without_its_quotes_is_recognised(tmp_path: Path, line: str, quoted: str) -> None:
    (text,) = _text_of(read_document(write(tmp_path, f"b = 2\n{line}\n".encode(), "x.toml")))
    assert text.startswith("x.toml: line 2, column ") and text.endswith(f"put the length in quotes: {quoted}")


def test_a_file_of_just_1_mb_is_read(tmp_path: Path) -> None:
    assert read_document(write(tmp_path, b"#" * MAX_BYTES, "x.toml")).tree == {}


def test_a_missing_file_a_folder_and_an_odd_name_are_faults(tmp_path: Path) -> None:
    missing = read_document(tmp_path / "gone.toml")
    assert _text_of(missing) == [f"gone.toml: there is no such file in {tmp_path}; check the name and the folder"]
    here = _text_of(read_document(Path("gone.toml")))
    assert here == ["gone.toml: there is no such file in this folder; check the name and the folder"]
    assert "is a folder" in _text_of(read_document(tmp_path))[0]
    assert "can't be read" in _text_of(read_document(Path("a\0b")))[0]
    assert "can't be read" in _text_of(read_document(tmp_path / ("x" * 5000)))[0]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_is_refused_without_waiting_for_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "is not a regular file" in _text_of(read_document(tmp_path / "pipe"))[0]


READ_AS_NOBODY = """
import os, sys
from pathlib import Path
from assistant.plans.document import read_document
if os.geteuid() == 0:
    os.setuid(65534)
print(*read_document(Path(sys.argv[1])).faults)
"""


@pytest.mark.skipif(os.name != "posix", reason="rights as on POSIX systems")
def test_an_unreadable_file_is_a_fault() -> None:
    """Read by a child process without privileges, because permissions don't bind the superuser."""
    with tempfile.TemporaryDirectory() as folder:
        os.chmod(folder, 0o755)
        path = write(Path(folder), b"", "x.toml")
        path.chmod(0)
        command = [sys.executable, "-c", READ_AS_NOBODY, str(path)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert "can't be read: " in done.stdout, done.stderr


def test_titles_lose_control_characters() -> None:
    assert cleaned("\x1b[31mNesting\n tea\ttrays\u202e\x00 ") == "[31mNesting tea trays"


def test_values_are_shown_on_one_short_line() -> None:
    assert shown("a\nb") == '"a b"'
    assert shown(True) == "true"
    assert len(shown("x" * 500)) < 70
    assert shown(16**6000) == "a whole number of about 7200 digits"
