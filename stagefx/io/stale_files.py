"""Unfinished output under a hidden name: how it is called, held, and cleared away when orphaned."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import stat
from pathlib import Path

_LONGEST_NAME_BYTES = 255
_LOCKS = os.name == "posix"
"""Elsewhere there are no such locks, and nothing is cleared away."""
_PROCESS = "4294967295"
"""As long as the number of a process can get."""


def part_beside(place: Path) -> Path:
    """Where output is written until it is whole."""
    return place.with_name(f".{_stem(place)}.{os.getpid()}.part")


def _stem(place: Path) -> str:
    """A file's name, or so much of it as leaves room, and a digest of the rest."""
    name = place.name
    room = _LONGEST_NAME_BYTES - len(f"..{_PROCESS}.part")
    whole = os.fsencode(name)
    if len(whole) <= room:
        return name
    digest = hashlib.sha256(whole).hexdigest()[:16]
    kept = name
    while len(os.fsencode(kept)) > room - len(digest) - 1:
        kept = kept[:-1]
    return f"{kept}~{digest}"


def hold(number: int, *, wait: bool = False) -> None:
    """Say that output is being worked on, for as long as it stays open."""
    if _LOCKS:
        import fcntl

        try:
            fcntl.flock(number, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        except OSError:  # a file system without locks
            return


def clear_orphans(place: Path) -> None:
    """Remove what programs that were killed left of the same output.

    Left alone is what another user owns, what a living process made, and what any holds.
    """
    if not _LOCKS:
        return
    pattern = re.compile(rf"\.{re.escape(_stem(place))}\.([0-9]+)\.part", re.DOTALL)
    try:
        found = [entry for entry in os.scandir(place.parent) if pattern.fullmatch(entry.name)]
    except OSError:
        return
    for entry in found:
        match = pattern.fullmatch(entry.name)
        if match is not None and not _alive(int(match[1])):
            _remove_unheld(Path(entry.path))


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:  # somebody else's
        return True
    return True


def _remove_unheld(part: Path) -> None:
    import fcntl

    try:
        number = os.open(part, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError:
        return
    try:
        status = os.fstat(number)
        if status.st_uid != os.geteuid():
            return
        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if stat.S_ISDIR(status.st_mode):
            shutil.rmtree(part, ignore_errors=True)
        elif stat.S_ISREG(status.st_mode):
            part.unlink()
    except OSError:  # held, or gone already
        return
    finally:
        os.close(number)
