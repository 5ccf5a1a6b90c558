"""Rows read straight out of the pages of an SQLite file, however damaged: what one page holds needs no other page.

The layout is that of the published file format (https://www.sqlite.org/fileformat2.html, sections 1.3, 1.6 and 2.1):
only leaves of tables are looked at, and what continues on overflow pages is followed there.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

MAGIC = b"SQLite format 3\0"
USUAL_PAGE, SMALLEST_PAGE, LARGEST_PAGE = 4096, 512, 65536
LEAF_OF_A_TABLE = 13
FILE_HEADER = 100
LONGEST_VARINT = 9
# Bytes that a row takes on its page at the least, with the pointer to it.
LEAST_CELL = 6

Value = None | int | float | str | bytes


def rows(data: bytes) -> Iterator[tuple[int, tuple[Value, ...]]]:
    """Every row that can be read, page by page: its rowid and its values; a row that cannot be read is passed over."""
    size, usable = page_size(data)
    for start in range(0, len(data), size):
        header = start + (FILE_HEADER if start == 0 else 0)
        if header + 8 > len(data) or data[header] != LEAF_OF_A_TABLE:
            continue
        # No page holds more than this, whatever a damaged one says.
        for number in range(min(_whole(data, header + 3, 2), size // LEAST_CELL)):
            try:
                cell = start + _whole(data, header + 8 + 2 * number, 2)
                yield _row(data, cell, size, usable)
            except (IndexError, ValueError, struct.error):
                continue


def page_size(data: bytes) -> tuple[int, int]:
    """Bytes a page, and how many of them hold rows; the usual ones where the file's header is damaged."""
    size = struct.unpack(">H", data[16:18])[0] if len(data) >= FILE_HEADER else 0
    size = LARGEST_PAGE if size == 1 else size
    if not data.startswith(MAGIC) or size & (size - 1) or not SMALLEST_PAGE <= size <= LARGEST_PAGE:
        return USUAL_PAGE, USUAL_PAGE
    kept_free = data[20] if data[20] <= 32 else 0
    return size, size - kept_free


def _row(data: bytes, place: int, size: int, usable: int) -> tuple[int, tuple[Value, ...]]:
    length, place = _varint(data, place)
    rowid, place = _varint(data, place)
    if length > len(data):
        raise ValueError("longer than the file")
    body = _payload(data, place, length, size, usable)
    end, at = _varint(body, 0)
    kinds = []
    while at < end:
        kind, at = _varint(body, at)
        kinds.append(kind)
    values = []
    for kind in kinds:
        value, at = _value(body, at, kind)
        values.append(value)
    return rowid, tuple(values)


def _payload(data: bytes, place: int, length: int, size: int, usable: int) -> bytes:
    """The bytes of a row: those on its own page, then those on overflow pages, each of which names the next."""
    most, least = usable - 35, (usable - 12) * 32 // 255 - 23
    if length <= most:
        return _part(data, place, length)
    here = least + (length - least) % (usable - 4)
    here = here if here <= most else least
    parts, missing, page = [_part(data, place, here)], length - here, _whole(data, place + here, 4)
    seen: set[int] = set()
    while missing:
        if page < 1 or page in seen:
            raise ValueError("no such page, or pages that name each other in a circle")
        seen.add(page)
        start = (page - 1) * size
        page = _whole(data, start, 4)
        parts.append(_part(data, start + 4, min(usable - 4, missing)))
        missing -= len(parts[-1])
    return b"".join(parts)


def _value(body: bytes, at: int, kind: int) -> tuple[Value, int]:
    if kind == 0:
        return None, at
    if kind in (8, 9):
        return kind - 8, at
    if kind in (10, 11):
        raise ValueError("a kind that no file has")
    if kind <= 6:
        length = (1, 2, 3, 4, 6, 8)[kind - 1]
        return int.from_bytes(_part(body, at, length), "big", signed=True), at + length
    if kind == 7:
        return float(struct.unpack(">d", _part(body, at, 8))[0]), at + 8
    length = (kind - 12) // 2
    part = _part(body, at, length)
    return part.decode("utf-8") if kind % 2 else part, at + length


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """A whole number in the format's own spelling, 1 to 9 bytes, and the place after it."""
    value = 0
    for number in range(LONGEST_VARINT):
        byte = data[at]
        at += 1
        if number == LONGEST_VARINT - 1:
            value = value << 8 | byte
            break
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            break
    return value - (1 << 64) if value >= 1 << 63 else value, at


def _whole(data: bytes, at: int, length: int) -> int:
    return int.from_bytes(_part(data, at, length), "big")


def _part(data: bytes, at: int, length: int) -> bytes:
    if at < 0 or length < 0 or at + length > len(data):
        raise ValueError("outside of the file")
    return data[at : at + length]
