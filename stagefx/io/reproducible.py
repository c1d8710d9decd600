"""Finished files freed of what differs between runs: the same audio gives the same bytes.

Ogg streams are numbered at random, and the peak note of a floating-point AIFF holds the time
of day.  Both are put to a fixed value, and the Ogg pages' checksums worked out anew.
"""

from __future__ import annotations

import os
import struct
import zlib
from typing import BinaryIO

# Offsets within a page's head (RFC 3533, section 6).
_PAGE_HEAD_BYTES = 27
_STREAM_AT, _CHECKSUM_AT, _SEGMENTS_AT = 14, 22, 26
_STREAM = struct.Struct("<I")

_MIRRORED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


def _ogg_checksum(page: bytearray) -> int:
    """CRC-32 of polynomial 0x04c11db7, not mirrored, start and end value 0 (RFC 3533).

    zlib's is mirrored and inverted at both ends; undone, its fast loop serves.
    """
    mirrored = zlib.crc32(page.translate(_MIRRORED), 0xFFFFFFFF) ^ 0xFFFFFFFF
    return int.from_bytes(mirrored.to_bytes(4, "little").translate(_MIRRORED), "big")


def steady_ogg(file: BinaryIO) -> None:
    r"""Give an Ogg stream the number 1."""
    place = 0
    while True:
        file.seek(place)
        page = bytearray(file.read(_PAGE_HEAD_BYTES))
        if len(page) < _PAGE_HEAD_BYTES:
            return
        table = file.read(page[_SEGMENTS_AT])
        page += table + file.read(sum(table))
        _STREAM.pack_into(page, _STREAM_AT, 1)
        _STREAM.pack_into(page, _CHECKSUM_AT, 0)
        _STREAM.pack_into(page, _CHECKSUM_AT, _ogg_checksum(page))
        file.seek(place)
        file.write(page)
        place += len(page)


def steady_aiff(file: BinaryIO) -> None:
    """Take the time of day out of an AIFF file's peak note."""
    length = file.seek(0, os.SEEK_END)
    place = 12
    while place + 8 <= length:
        file.seek(place)
        name, size = struct.unpack(">4sI", file.read(8))
        if name == b"PEAK":
            file.seek(place + 12)  # past the note's version
            file.write(bytes(4))
        place += 8 + size + size % 2
