"""A walk over the bytes of a DICOM object, from length to length: whether it is whole, down to the last item.

A reader that takes what it finds would read an object that was cut short as one that says less. PS3.5 section 7.
"""

from __future__ import annotations

import struct

LONG = {b"OB", b"OD", b"OF", b"OL", b"OV", b"OW", b"SQ", b"SV", b"UC", b"UN", b"UR", b"UT", b"UV"}
"""Kinds of values whose length takes four bytes after two empty ones."""
UNDEFINED = 0xFFFFFFFF
ITEM, ITEM_END, SEQUENCE_END = (0xFFFE, 0xE000), (0xFFFE, 0xE00D), (0xFFFE, 0xE0DD)
START = 132
META_GROUP = 2
DEEPEST = 30
IMPLICIT, BIG_ENDIAN = "1.2.840.10008.1.2", "1.2.840.10008.1.2.2"


class CutShortError(ValueError):
    """The lengths in the bytes do not end where the bytes end."""


def check_whole(data: bytes, syntax: str) -> None:
    """Refuse an object whose lengths do not fit its bytes."""
    place = START
    while place + 2 <= len(data) and int.from_bytes(data[place : place + 2], "little") == META_GROUP:
        place = _Walk(data, implicit=False, order="<").element(place, len(data), 0)
    walk = _Walk(data, implicit=syntax == IMPLICIT, order=">" if syntax == BIG_ENDIAN else "<")
    while place < len(data):
        place = walk.element(place, len(data), 0)


class _Walk:
    def __init__(self, data: bytes, *, implicit: bool, order: str) -> None:
        self.data, self.implicit, self.order = data, implicit, order

    def _read(self, form: str, place: int) -> tuple[int, ...]:
        try:
            return struct.unpack_from(self.order + form, self.data, place)
        except struct.error as short:
            raise CutShortError from short

    def element(self, place: int, end: int, depth: int) -> int:
        """Where the element that begins at ``place`` ends."""
        if depth > DEEPEST:
            raise CutShortError
        kind = b"UN" if self.implicit else self.data[place + 4 : place + 6]
        if self.implicit:
            start, (length,) = place + 8, self._read("I", place + 4)
        elif kind in LONG:
            start, (length,) = place + 12, self._read("I", place + 8)
        else:
            start, (length,) = place + 8, self._read("H", place + 6)
        if length == UNDEFINED:
            return self._items(start, end, depth, open_end=True)
        if start + length > end:
            raise CutShortError
        if kind == b"SQ":
            self._items(start, start + length, depth, open_end=False)
        return start + length

    def _items(self, place: int, end: int, depth: int, *, open_end: bool) -> int:
        while place < end:
            group, number, length = self._read("HHI", place)
            place += 8
            if open_end and (group, number) == SEQUENCE_END:
                return place
            if (group, number) != ITEM:
                raise CutShortError
            place = self._item(place, end, length, depth + 1)
        if open_end:
            raise CutShortError
        return place

    def _item(self, place: int, end: int, length: int, depth: int) -> int:
        stop = end if length == UNDEFINED else place + length
        if stop > end:
            raise CutShortError
        while place < stop:
            if length == UNDEFINED and self._read("HH", place) == ITEM_END:
                return place + 8
            place = self.element(place, stop, depth)
        if length == UNDEFINED:
            raise CutShortError
        return place
