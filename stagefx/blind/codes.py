"""Reply codes: what a listener sends back, short enough to paste under a film.

A code holds the pack's identity, the listener's name, and for each trial what the page drew and
what was replied; a checksum ends it.  It is base32 (RFC 4648) in groups of four.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from dataclasses import dataclass
from typing import Any

from stagefx.errors import BlindError

FORMAT = 1
PACK_BYTES, SITTING_BYTES, CHECK_BYTES = 8, 8, 4
LONGEST_NAME_BYTES = 40
MOST_TRIALS = 255
LOWEST_GRADE, HIGHEST_GRADE = 10, 50
_GROUP = 4
_LETTERS = re.compile(r"[A-Z2-7]{32,}")
_JOINTS = re.compile(r"[\s\-\u2010-\u2015\u2212\u00ad_.]+")


@dataclass(frozen=True)
class Answer:
    """One trial: what the page drew and what was replied."""

    item: int
    draw: int
    reply: tuple[int, ...]


@dataclass(frozen=True)
class Reply:
    """All that one listener replied to one pack."""

    pack: str
    listener: str
    sitting: str
    answers: tuple[Answer, ...]

    def as_json(self) -> dict[str, Any]:
        """The reply as the page saves it."""
        replies = [list(a.reply) if len(a.reply) > 1 else a.reply[0] for a in self.answers]
        return {
            "pack": self.pack,
            "listener": self.listener,
            "sitting": self.sitting,
            "draws": [[answer.item, answer.draw] for answer in self.answers],
            "replies": replies,
            "check": _bytes_of(self)[-CHECK_BYTES:].hex(),
        }

    @property
    def fingerprint(self) -> str:
        """SHA-256 of all that it holds, 64 hexadecimal digits: the same for code and file."""
        return hashlib.sha256(_bytes_of(self)).hexdigest()


def encode_reply(reply: Reply) -> str:
    """The code of a reply."""
    text = base64.b32encode(_bytes_of(reply)).decode("ascii").rstrip("=")
    return "-".join(text[start : start + _GROUP] for start in range(0, len(text), _GROUP))


def decode_reply(text: str) -> Reply:
    """A reply from its code."""
    if not like_a_code(text):
        raise BlindError(
            f"'{_short(text)}' is no reply code; paste the whole code that the page showed at the "
            "end"
        )
    letters = _JOINTS.sub("", text).upper()
    try:
        raw = base64.b32decode(letters + "=" * (-len(letters) % 8))
    except (binascii.Error, ValueError):  # no whole number of bytes
        raw = b""
    return _reply_of(raw, _short(text))


def like_a_code(text: str) -> bool:
    """Whether a text is a code, be it an altered one, and not something else."""
    return bool(_LETTERS.fullmatch(_JOINTS.sub("", text).upper()))


def reply_from_json(found: Any, place: str) -> Reply:
    """A reply from what the page saved as a file."""
    try:
        replies = [tuple(r) if isinstance(r, list) else (r,) for r in found["replies"]]
        answers = tuple(
            Answer(item, draw, reply)
            for (item, draw), reply in zip(found["draws"], replies, strict=True)
        )
        reply = Reply(found["pack"], found["listener"], found["sitting"], answers)
        raw = _bytes_of(reply)
        check = bytes.fromhex(found["check"])
    except (KeyError, TypeError, ValueError, AttributeError, BlindError):
        raise BlindError(
            f"{place} is no saved reply; give the file that the page saved, or a text file with "
            "one code a line"
        ) from None
    if raw[-CHECK_BYTES:] != check:
        raise BlindError(f"{place} was altered: its checksum does not fit; ask for it once more")
    return reply


def _bytes_of(reply: Reply) -> bytes:
    name = reply.listener.encode()
    width = {len(answer.reply) for answer in reply.answers}
    if len(name) > LONGEST_NAME_BYTES or len(reply.answers) > MOST_TRIALS or len(width) > 1:
        raise BlindError(
            f"a reply holds a name of at most {LONGEST_NAME_BYTES} bytes and at most {MOST_TRIALS} "
            "trials of one kind"
        )
    head = bytes([FORMAT]) + bytes.fromhex(reply.pack) + bytes([len(name)]) + name
    head += bytes.fromhex(reply.sitting) + bytes([len(reply.answers)])
    if len(head) != 1 + PACK_BYTES + 1 + len(name) + SITTING_BYTES + 1:
        raise BlindError("a pack's and a sitting's identity are 16 hexadecimal digits each")
    body = b"".join(bytes([a.item, a.draw, *a.reply]) for a in reply.answers)
    return head + body + _check(head + body)


def _reply_of(raw: bytes, shown: str) -> Reply:
    if len(raw) <= CHECK_BYTES or _check(raw[:-CHECK_BYTES]) != raw[-CHECK_BYTES:]:
        raise BlindError(
            f"'{shown}' was altered or cut: its checksum does not fit; paste the whole code once "
            "more"
        )
    if raw[0] != FORMAT:
        raise BlindError(
            f"'{shown}' is of another kind of page; score it with the program it is of"
        )
    try:
        rest = raw[1:-CHECK_BYTES]
        pack, rest = rest[:PACK_BYTES], rest[PACK_BYTES:]
        name, rest = rest[1 : 1 + rest[0]].decode(), rest[1 + rest[0] :]
        sitting, count, rest = rest[:SITTING_BYTES], rest[SITTING_BYTES], rest[SITTING_BYTES + 1 :]
        width, left = divmod(len(rest), count) if count else (3, len(rest))
        if left or width not in {3, 4}:
            raise ValueError
    except (IndexError, ValueError):
        raise BlindError(f"'{shown}' holds no whole reply; ask for it once more") from None
    answers = tuple(
        Answer(rest[at], rest[at + 1], tuple(rest[at + 2 : at + width]))
        for at in range(0, len(rest), width)
    )
    return Reply(pack.hex(), name, sitting.hex(), answers)


def _check(head: bytes) -> bytes:
    return hashlib.sha256(head).digest()[:CHECK_BYTES]


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 24 else f"{line[:20]}…"
