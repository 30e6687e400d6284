"""Checksums of what the journal holds: one on every fact, chained, and one on every session's row.

A seal is the first 32 hexadecimal digits of SHA-256 over these, in UTF-8, with a line feed between them:

of a fact   the seal of the fact before it in the session ("" for the first); session; n, at and version in 24 bytes,
            big-endian (64-bit integer, IEEE 754 binary64, 64-bit integer); utc; kind; body
of a row    seq; id; title; plan_digest; plan_path; started_utc; state; program_version; last; head

Each fact's seal rests on all before it, and the row says where the chain ends; so whatever is changed, taken out, put
in or put in another order is noticed. They are against damage, not against somebody who reckons new ones.
"""

from __future__ import annotations

import struct
from hashlib import sha256

START = b""
"""What the first fact's seal is chained to."""

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
    """The seal of one fact, text as its bytes. Other types, which only an old journal can hold, have one too."""
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
