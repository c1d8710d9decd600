"""A folder whose files appear together or not at all, and never over what the user has."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from stagefx.errors import OutputError
from stagefx.io.atomic_file import not_writable
from stagefx.io.stale_files import clear_orphans, hold, part_beside


@contextmanager
def whole_folder(place: Path, *, force: bool = False) -> Iterator[Path]:
    """A folder that is put in place when all its files are finished."""
    try:
        beside = _empty_beside(place, force=force)
    except OSError as error:
        raise not_writable(place, error) from None
    try:
        with _held(beside):
            yield beside
            _move_in(beside, place.resolve(), force=force)
    except OSError as error:
        raise not_writable(place, error) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)


@contextmanager
def _held(folder: Path, *, wait: bool = False) -> Iterator[None]:
    if os.name != "posix":  # elsewhere a folder cannot be opened
        yield
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        hold(number, wait=wait)
        yield
    finally:
        os.close(number)


def _empty_beside(place: Path, *, force: bool) -> Path:
    """A hidden folder on the same disk, so that finished files need only be renamed."""
    real = place.resolve()
    if real.exists() and not real.is_dir():
        raise OutputError(f"{place} is a file; name a folder")
    if real.is_dir() and not force and any(real.iterdir()):
        raise OutputError(f"{place} holds something already; name a new folder, or use --force")
    if not real.parent.is_dir():
        raise OutputError(f"there is no folder '{place.parent}'; make it first")
    clear_orphans(real)
    beside = part_beside(real)
    beside.mkdir()
    return beside


def _move_in(beside: Path, place: Path, *, force: bool) -> None:
    if not place.exists():
        beside.rename(place)
        return
    if _took_the_place_of_an_empty_one(beside, place):
        return
    with _held(place, wait=True):  # two at once would leave some files of each
        made = [path.relative_to(beside) for path in sorted(beside.rglob("*")) if path.is_file()]
        for path in made:
            _check_target(place, path, force=force)
        for path in made:
            (place / path).parent.mkdir(parents=True, exist_ok=True)
            (beside / path).replace(place / path)


def _took_the_place_of_an_empty_one(beside: Path, place: Path) -> bool:
    """In one step, so that a folder is never half full; False where it holds something."""
    if os.name != "posix" or any(place.iterdir()):
        return False
    try:
        shutil.copymode(place, beside)
        beside.rename(place)
    except OSError:  # filled meanwhile, or another disk is mounted there
        return False
    return True


def _check_target(place: Path, made: Path, *, force: bool) -> None:
    target = place / made
    for folder in target.parents:
        if folder == place:
            break
        if folder.is_symlink():
            raise OutputError(f"{folder} is a link, which may lead anywhere; name a new folder")
    if target.is_dir() or (not force and os.path.lexists(target)):
        raise OutputError(f"{target} is in the way; name a new folder")
