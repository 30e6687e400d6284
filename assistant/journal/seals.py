"""Checksums of the journal's contents: one for every fact, in a chain, and one for every session's row.

A seal is the first 32 hexadecimal digits of SHA-256 over these values, in UTF-8, with a line feed between them:

of a fact   the seal of the fact before it in the session ("" for the first); session; n, at and version in 24 bytes,
            big-endian (64-bit integer, IEEE 754 binary64, 64-bit integer); utc; kind; body
of a row    seq; id; title; plan_digest; plan_path; started_utc; state; program_version; last; head

Each fact's seal depends on all seals before it, and the row says where the chain ends. So any change, removal,
insertion or change of order is noticed. Seals protect against damage, not against a person who computes new ones.
"""

from __future__ import annotations

import struct
from hashlib import sha256

START = b""
"""The seal before the first fact's."""

_DIGITS = 32
_numbers = struct.Struct(">qdq").pack


def fact_seal(
    before: bytes,
    session: bytes,
    n: object,
    at: object,
    utc: bytes | None,
    kind: bytes | None,
    version: object,
    body: bytes | None,
) -> bytes:
    """The seal of one fact, with text as bytes. Wrong types, which only an old journal can hold, get a seal too."""
    try:
        data = b"\n".join((before, session, _numbers(n, at, version), utc, kind, body))  # type: ignore[arg-type]
    except (struct.error, TypeError):
        data = b"\n".join((before, session, _text(f"{n}\n{at!r}\n{version}"), utc or b"", kind or b"", body or b""))
    return sha256(data).hexdigest()[:_DIGITS].encode()


def row_seal(seq: object, texts: tuple[bytes | None, ...], last: object, head: bytes | None) -> bytes:
    """The seal of a session's row. texts: id, title, plan_digest, plan_path, started_utc, state, program_version."""
    data = b"\n".join((_text(seq), *(text or b"" for text in texts), _text(last), head or b""))
    return sha256(data).hexdigest()[:_DIGITS].encode()


def _text(value: object) -> bytes:
    return f"{value}".encode("utf-8", "surrogatepass")
