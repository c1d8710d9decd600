"""Files made bad: by a slip, by a broken disk, or on purpose."""

from __future__ import annotations

import random
import re

WORDS = [
    b"nan", b"inf", b"-inf", b"1e400", b"-1e308", b"1e-400", b"0", b"-0.0", b"0x7fffffffffffffff",
    b"9" * 400, b"1e999999999", b"true", b"null", b"[]", b"{}", b"{}{}", b'""', b"''", b'"', b"'",
    b"[[", b"]]", b"[a.b.c]", b"=", b"==", b"#", b"\n", b"\r\n", b"\r", b"\0", b"\x1b[2J", b"\a",
    b"\xff\xfe", b"\xef\xbb\xbf", b"\xc3\x28", b"\xed\xa0\x80", "\u202e".encode(), "µΩ−".encode(),
    b"1979-05-27", b"07:32:00", b"1_000", b"1,5", b"1.5.5", b"10 kohm", b"-10 kohm", b"10 khom",
    b"1e999 kohm", b"10 V rms V rms", b"10 %", b"1/0", b"$(id)", b"../../etc", b"a" * 5000,
    b"[" * 3000, b"{" * 3000, b'{"a":' * 2000, b"NaN", b"Infinity", b"\\ud800", b"\\u0000", b",",
    b";", b"\t", b"1e-3", b"0.0000001", b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff",
]  # fmt: skip
"""What has made many a reader stumble."""

_VALUE = re.compile(rb"(?<==)[^\n#]+|(?<=: )[^,}\n]+|-?\d[\d.e+-]*")


def spoilt(specimens: list[bytes], dice: random.Random) -> bytes:
    """One of some whole files, with one to four things wrong."""
    found = bytearray(dice.choice(specimens))
    for _ in range(dice.choice((1, 1, 1, 2, 2, 3, 4))):
        dice.choice(_WAYS)(found, specimens, dice)
    return bytes(found[:200_000])


def _place(found: bytearray, dice: random.Random) -> int:
    """Often near the beginning, where headers are."""
    if dice.random() < 0.4:
        return dice.randrange(min(len(found), 64) + 1)
    return dice.randrange(len(found) + 1)


def _flip(found: bytearray, _specimens: list[bytes], dice: random.Random) -> None:
    at = _place(found, dice)
    if at < len(found):
        found[at] ^= 1 << dice.randrange(8)


def _insert(found: bytearray, _specimens: list[bytes], dice: random.Random) -> None:
    at = _place(found, dice)
    found[at:at] = dice.choice(WORDS)


def _overwrite(found: bytearray, _specimens: list[bytes], dice: random.Random) -> None:
    at, word = _place(found, dice), dice.choice(WORDS)
    found[at : at + len(word)] = word


def _another_value(found: bytearray, _specimens: list[bytes], dice: random.Random) -> None:
    values = list(_VALUE.finditer(bytes(found)))
    if values:
        chosen = dice.choice(values)
        found[chosen.start() : chosen.end()] = b" " + dice.choice(WORDS)


def _swapped_values(found: bytearray, _specimens: list[bytes], dice: random.Random) -> None:
    values = list(_VALUE.finditer(bytes(found)))
    if len(values) > 1:
        one, other = sorted(dice.sample(range(len(values)), 2))
        first, second = values[one], values[other]
        found[second.start() : second.end()] = first[0]
        found[first.start() : first.end()] = second[0]


def _cut_out(found: bytearray, _specimens: list[bytes], dice: random.Random) -> None:
    at = _place(found, dice)
    del found[at : at + dice.choice((1, 2, 8, 40, 300))]


def _cut_off(found: bytearray, _specimens: list[bytes], dice: random.Random) -> None:
    del found[_place(found, dice) :]


def _doubled_line(found: bytearray, _specimens: list[bytes], dice: random.Random) -> None:
    lines = bytes(found).split(b"\n")
    at = dice.randrange(len(lines))
    lines.insert(dice.randrange(len(lines) + 1), lines[at])
    found[:] = b"\n".join(lines)


def _moved_line(found: bytearray, _specimens: list[bytes], dice: random.Random) -> None:
    lines = bytes(found).split(b"\n")
    lines.insert(dice.randrange(len(lines)), lines.pop(dice.randrange(len(lines))))
    found[:] = b"\n".join(lines)


def _spliced(found: bytearray, specimens: list[bytes], dice: random.Random) -> None:
    other = dice.choice(specimens)
    begin = dice.randrange(len(other) + 1)
    at = _place(found, dice)
    found[at:at] = other[begin : begin + dice.choice((4, 40, 400))]


_WAYS = (
    _flip, _insert, _overwrite, _another_value, _another_value, _swapped_values, _cut_out,
    _cut_off, _doubled_line, _moved_line, _spliced,
)  # fmt: skip
