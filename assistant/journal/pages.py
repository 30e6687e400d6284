"""Reads rows of the journal straight from the pages of its files, for repair.

SQLite gives up on a table if a page on the way to it is damaged, but every intact leaf page
still has its rows. Layouts: "Database File Format", sqlite.org/fileformat2.html, sections
1.3 (header), 1.6 (b-tree pages), 2.1 (records) and 4 (write-ahead log).
"""

from __future__ import annotations

import struct
import sys
from collections import Counter
from collections.abc import Iterator
from typing import Any

StoredRow = tuple[Any, ...]
_TABLE_LEAF = 0x0D
# Bytes, far beyond any fact: a damaged length must not lead round and round a ring of overflow pages.
_MAX_PAYLOAD = 1 << 26
_LOG_MAGIC = 0x377F0682  # + 1 if the checksums are over big-endian words


class Damaged(Exception):
    """A cell that can't be read."""


def page_size_of(database: bytes, log: bytes) -> int:
    """The page size in bytes: from the database's header, else the log's, else SQLite's default."""
    candidates = []
    if len(database) >= 18:
        (short,) = struct.unpack_from(">H", database, 16)
        # 65,536 doesn't fit into two bytes and is written as 1.
        candidates.append(65536 if short == 1 else short)
    if len(log) >= 12:
        candidates.append(struct.unpack_from(">I", log, 8)[0])
    return next((size for size in candidates if 512 <= size <= 65536 and size & (size - 1) == 0), 4096)


def rows(database: bytes, log: bytes = b"") -> Iterator[tuple[int, StoredRow]]:
    """(rowid, columns) of every readable row in any table leaf: first from committed log pages, the newest first.

    The same row may come more than once. Unreadable rows are skipped.
    """
    size = page_size_of(database, log)
    pages = {
        number: database[start : start + size]
        for number, start in enumerate(range(0, len(database), size), start=1)
        if len(database) - start >= size
    }
    frames = list(committed_frames(log, size))
    newest = {**pages, **dict(frames)}
    for number, page in reversed(frames):
        yield from _leaf_rows(number, page, newest)
    for number, page in pages.items():
        # With the overflow pages of its own time, not the log's newer ones.
        yield from _leaf_rows(number, page, pages)


def rows_not_committed(database: bytes, log: bytes) -> Iterator[tuple[int, StoredRow]]:
    """(rowid, columns) from log frames that are damaged, or whose commit is: only a seal can prove such rows."""
    size = page_size_of(database, log)
    frames = [(number, page) for number, page, committed in _frames(log, size) if not committed]
    newest = {number: page for number, page, _ in _frames(log, size)}
    for number, page in reversed(frames):
        yield from _leaf_rows(number, page, newest)


def committed_frames(log: bytes, size: int) -> Iterator[tuple[int, bytes]]:
    """(page number, page) of the log's committed frames with a valid checksum."""
    return ((number, page) for number, page, committed in _frames(log, size) if committed)


def _frames(log: bytes, size: int) -> Iterator[tuple[int, bytes, bool]]:
    """(page number, page, whether it is whole and committed) of the log's frames.

    Each frame's checksum is computed from the stored checksum of the frame before it. So a damaged frame
    spoils only itself, whereas SQLite would ignore everything after it.
    """
    # The log's header takes 32 bytes, a frame's 24.
    whole = size + 24
    starts = range(32, len(log) - whole + 1, whole)
    heads = [struct.unpack_from(">6I", log, start) for start in starts]
    if not heads:
        return
    magic, salts, before = struct.unpack_from(">I", log)[0], struct.unpack_from(">2I", log, 16), _seed(log)
    order = ">" if magic == _LOG_MAGIC + 1 else "<" if magic == _LOG_MAGIC else "<>"[sys.byteorder == "big"]
    if checksum(log[:24], (0, 0), order) != before:
        # The log's header is damaged itself; what most frames say is right.
        salts = Counter(head[2:4] for head in heads).most_common(1)[0][0]
    # Frames left over from before the log was last restarted differ in both salts.
    current = [pair for pair in zip(starts, heads, strict=True) if any(_of_this_log(pair[1], salts))]
    waiting: list[tuple[int, bytes, bool]] = []
    for start, head in current:
        page = log[start + 24 : start + whole]
        whole_frame = checksum(log[start : start + 8] + page, before, order) == head[4:6]
        waiting.append((head[0], page, whole_frame))
        # Only the last frame of a commit gives the database's size; it is 0 in all others. If the log's very last frame
        # is damaged, it may be a commit that was never acknowledged.
        if head[1] and (whole_frame or start != current[-1][0]):
            yield from waiting
            waiting = []
        before = head[4:6]
    yield from ((number, page, False) for number, page, _ in waiting)


def _seed(log: bytes) -> tuple[int, ...]:
    """The checksum of the log's own header, from which that of the first frame is computed."""
    return struct.unpack_from(">2I", log, 24)


def _of_this_log(head: tuple[int, ...], salts: tuple[int, ...]) -> tuple[bool, bool]:
    """Whether each of a frame's two salts is the log's: both are, unless the frame was damaged or is older."""
    return head[2] == salts[0], head[3] == salts[1]


def log_is_whole(log: bytes) -> bool:
    """Whether SQLite, which stops at the first frame that isn't whole, would read everything that was written.

    Frames left over from before the log was last restarted differ in both salts. A damaged frame still has one of them.
    Whole frames at the end without a commit come from a process that was killed, and don't count. A broken frame
    at the very end is either damage or a power cut during writing. Nothing shows which, so it counts as damage.
    """
    if len(log) <= 32 or not any(log):
        return True
    magic, _, size = struct.unpack_from(">3I", log)
    order = ">" if magic == _LOG_MAGIC + 1 else "<"
    before = _seed(log)
    if magic not in (_LOG_MAGIC, _LOG_MAGIC + 1) or checksum(log[:24], (0, 0), order) != before:
        return False
    salts = struct.unpack_from(">2I", log, 16)
    still_whole = True
    for start in range(32, len(log) - size - 23, size + 24):
        head = struct.unpack_from(">6I", log, start)
        ours = _of_this_log(head, salts)
        if still_whole:
            still_whole = all(ours) and head[0] > 0
            if still_whole:
                before = checksum(log[start : start + 8] + log[start + 24 : start + 24 + size], before, order)
                still_whole = before == head[4:6]
        if not still_whole and any(ours):
            return False
    return True


def checksum(data: bytes, seed: tuple[int, ...], order: str) -> tuple[int, int]:
    """The log's running checksum over 32-bit words, two at a time."""
    first, second = seed
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for even, odd in zip(words[::2], words[1::2], strict=True):
        first = (first + even + second) & 0xFFFFFFFF
        second = (second + odd + first) & 0xFFFFFFFF
    return first, second


def _leaf_rows(number: int, page: bytes, pages: dict[int, bytes]) -> Iterator[tuple[int, StoredRow]]:
    # The database's own header comes first on page 1.
    head = 100 if number == 1 else 0
    if page[head] != _TABLE_LEAF:
        return
    (cells,) = struct.unpack_from(">H", page, head + 3)
    for index in range(cells):
        place = head + 8 + 2 * index
        if place + 2 > len(page):
            return
        try:
            (start,) = struct.unpack_from(">H", page, place)
            yield _cell(page, start, pages)
        except (Damaged, IndexError, struct.error, UnicodeDecodeError):
            continue


def _cell(page: bytes, start: int, pages: dict[int, bytes]) -> tuple[int, StoredRow]:
    length, start = _varint(page, start)
    rowid, start = _varint(page, start)
    if not 0 < length <= _MAX_PAYLOAD:
        raise Damaged
    size = len(page)
    local = _local_part(length, size)
    payload = page[start : start + local]
    if local < length:
        (following,) = struct.unpack_from(">I", page, start + local)
        payload += _overflow(following, length - local, pages)
    if len(payload) != length:
        raise Damaged
    return rowid, _record(payload)


def _local_part(length: int, size: int) -> int:
    """How many bytes of a payload are on the leaf itself. The format calls `most` X, `least` M and `fits` K."""
    most = size - 35
    if length <= most:
        return length
    least = (size - 12) * 32 // 255 - 23
    fits = least + (length - least) % (size - 4)
    return fits if fits <= most else least


def _overflow(number: int, length: int, pages: dict[int, bytes]) -> bytes:
    parts = []
    while length > 0:
        page = pages.get(number)
        if page is None:
            raise Damaged
        parts.append(page[4 : 4 + length])
        length -= len(parts[-1])
        (number,) = struct.unpack_from(">I", page)
    return b"".join(parts)


def _record(payload: bytes) -> StoredRow:
    head, at = _varint(payload, 0)
    body = head
    values = []
    while at < head:
        serial, at = _varint(payload, at)
        value, body = _value(payload, body, serial)
        values.append(value)
    if at != head or body != len(payload):
        raise Damaged
    return tuple(values)


def _value(payload: bytes, at: int, serial: int) -> tuple[Any, int]:
    if serial == 0:
        return None, at
    if 1 <= serial <= 6:
        end = at + (1, 2, 3, 4, 6, 8)[serial - 1]
        return int.from_bytes(payload[at:end], "big", signed=True), end
    if serial == 7:
        return struct.unpack_from(">d", payload, at)[0], at + 8
    if serial in (8, 9):  # the integers 0 and 1, which take no bytes
        return serial - 8, at
    if serial < 12:  # 10 and 11 are reserved and occur in no file
        raise Damaged
    end = at + (serial - 12) // 2
    if end > len(payload):
        raise Damaged
    return (payload[at:end].decode("utf-8") if serial % 2 else payload[at:end]), end


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """(the number at `at`, where it ends): seven bits from each byte while its top bit is set, all eight of a ninth."""
    value = 0
    for index in range(8):
        byte = data[at + index]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + index + 1
    return value << 8 | data[at + 8], at + 9
