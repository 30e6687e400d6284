"""Checksums of what the journal holds: one on every fact, chained, and one on every session's row.

A seal is the first 32 hexadecimal digits of SHA-256 over these, in UTF-8, with a line feed between them:

of a fact   the seal of the fact before it in the session ("" for the first); session; n; at, in the fewest decimal
            digits that read back as the same binary number ("8.0", "1e+16"); version; utc; kind; body
of a row    seq; id; title; plan_digest; plan_path; started_utc; state; program_version; last; head

Each fact's seal rests on all before it, and the row says where the chain ends; so whatever is changed, taken out, put
in or put in another order is noticed. They are against damage, not against somebody who reckons new ones.
"""

from __future__ import annotations

from hashlib import sha256

START = b""
"""What the first fact's seal is chained to."""

_DIGITS = 32


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
    """The seal of one fact, whatever the types of what a table holds; text as its bytes."""
    return _seal(b"\n".join((before, session, _text(f"{n}\n{at!r}\n{version}"), utc or b"", kind or b"", body or b"")))


def row_seal(seq: object, texts: tuple[bytes | None, ...], last: object, head: bytes | None) -> bytes:
    """The seal of a session's row. texts: id, title, plan_digest, plan_path, started_utc, state, program_version."""
    return _seal(b"\n".join((_text(seq), *(text or b"" for text in texts), _text(last), head or b"")))


def _text(value: object) -> bytes:
    return f"{value}".encode("utf-8", "surrogatepass")


def _seal(data: bytes) -> bytes:
    return sha256(data).hexdigest()[:_DIGITS].encode()
