"""What a file's header promises, against what is there: how a file that was cut off is known.

Decoders read a shortened file to its end without complaint.  These few look at lengths alone;
what they do not know (FLAC among them) shows itself while it is decoded.
"""

from __future__ import annotations

import os
import struct
from typing import BinaryIO

_NEVER_FINISHED = ((0x7FFFF000, 0x7FFFFFFF), (0xFFFFF000, 0xFFFFFFFF))
"""Lengths that a program writes which cannot go back to the header, as to a pipe."""

_MOST_CHUNKS = 1000
"""Real files have a dozen; garbage could have millions."""

_OGG_LARGEST_PAGE = 65307
_OGG_END = 0x04
"""Flag of the page that ends a stream (RFC 3533, section 6)."""

_XING_COUNTS_BYTES = 0x02
_MP3_SLACK_BYTES = 256
"""Tags that some programs count as sound and others take away later."""


def missing_bytes(file: BinaryIO) -> int:
    """How much of a file is not there, by its own header."""
    length = file.seek(0, os.SEEK_END)
    file.seek(0)
    head = file.read(16)
    if head[:4] in {b"RIFF", b"RF64"} and head[8:12] == b"WAVE":
        return _riff(file, length)
    if head[:4] == b"FORM" and head[8:12] in {b"AIFF", b"AIFC"}:
        return _aiff(file, length)
    if head[:4] == b"riff":
        return _wave64(file, length)
    if head[:4] == b"OggS":
        return _ogg(file, length)
    return _mpeg(file, length)


def _riff(file: BinaryIO, length: int) -> int:
    wide_size = None
    place = 12
    for _ in range(_MOST_CHUNKS):
        if place + 8 > length:
            break
        file.seek(place)
        name, size = struct.unpack("<4sI", file.read(8))
        if name == b"ds64" and place + 24 <= length:
            wide_size = struct.unpack("<8xQ", file.read(16))[0]
        if name == b"data":
            if wide_size is not None:
                size = wide_size
            elif any(low <= size <= high for low, high in _NEVER_FINISHED):
                return 0
            return int(max(place + 8 + size - length, 0))
        place += 8 + size + size % 2
    return max(place - length, 0)


def _aiff(file: BinaryIO, length: int) -> int:
    place = 12
    for _ in range(_MOST_CHUNKS):
        if place + 8 > length:
            break
        file.seek(place)
        name, size = struct.unpack(">4sI", file.read(8))
        if name == b"SSND":
            return int(max(place + 8 + size - length, 0))
        place += 8 + size + size % 2
    return max(place - length, 0)


def _wave64(file: BinaryIO, length: int) -> int:
    place = 40
    for _ in range(_MOST_CHUNKS):
        if place + 24 > length:
            break
        file.seek(place)
        name, size = struct.unpack("<16sQ", file.read(24))
        if name[:4] == b"data":
            return int(max(place + size - length, 0))
        place += max(size + -size % 8, 24)
    return max(place - length, 0)


def _ogg(file: BinaryIO, length: int) -> int:
    file.seek(max(length - _OGG_LARGEST_PAGE, 0))
    tail = file.read()
    last = tail.rfind(b"OggS")
    if last < 0 or last + 27 > len(tail):
        return 1
    segments = tail[last + 26]
    table = tail[last + 27 : last + 27 + segments]
    page = 27 + segments + sum(table)
    ends = bool(tail[last + 5] & _OGG_END)
    return max(page - (len(tail) - last), 0 if ends else 1)


def _mpeg(file: BinaryIO, length: int) -> int:
    """By the count of bytes that encoders put into the first frame, after its side information."""
    file.seek(0)
    head = file.read(10)
    first = 0
    if len(head) == 10 and head[:3] == b"ID3":
        a, b, c, d = head[6:10]  # the tag's length, seven bits a byte
        first = 10 + (a << 21 | b << 14 | c << 7 | d)
    file.seek(first)
    frame = file.read(200)
    for mark in (b"Xing", b"Info"):
        place = frame.find(mark)
        if frame[:1] == b"\xff" and 0 < place <= len(frame) - 16 and _counts_bytes(frame, place):
            counted = struct.unpack(">I", frame[place + 12 : place + 16])[0]
            missing = first + counted - length
            return int(missing) if missing > _MP3_SLACK_BYTES else 0
    return 0


def _counts_bytes(frame: bytes, place: int) -> bool:
    flags = frame[place + 7]
    return flags & 0x03 == _XING_COUNTS_BYTES | 0x01  # frames come first, then bytes
