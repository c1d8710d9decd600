"""A folder whose files appear together or not at all, and never over what the user has."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from stagefx.audio.places import not_writable
from stagefx.errors import OutputError


@contextmanager
def whole_folder(place: Path, *, force: bool = False) -> Iterator[Path]:
    """A folder that is put in place when all its files are finished.

    Parameters
    ----------
    place : Path
        Where it will be.
    force : bool, default: False
        Whether to put files into a folder that holds some: those of the same names are
        overwritten, all others stay.

    Yields
    ------
    Path
        Where to write; removed if the block fails or is interrupted.

    Raises
    ------
    OutputError
        A file of that name, a folder that holds something already, or it cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as home:
    ...     with whole_folder(Path(home, "new")) as folder:
    ...         _ = Path(folder, "note.txt").write_text("done")
    ...     [path.name for path in Path(home, "new").iterdir()]
    ['note.txt']
    """
    try:
        beside = _empty_beside(place, force=force)
    except OSError as error:
        raise not_writable(place, error) from None
    try:
        yield beside
        _move_in(beside, place.resolve(), force=force)
    except OSError as error:
        raise not_writable(place, error) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _empty_beside(place: Path, *, force: bool) -> Path:
    """A hidden folder on the same disk, so that finished files need only be renamed."""
    real = place.resolve()
    if real.exists() and not real.is_dir():
        raise OutputError(f"{place} is a file; name a folder")
    if real.is_dir() and not force and any(real.iterdir()):
        raise OutputError(f"{place} holds something already; name a new folder, or use --force")
    if not real.parent.is_dir():
        raise OutputError(f"there is no folder '{place.parent}'; make it first")
    beside = real.with_name(f".{real.name}.{os.getpid()}.part")
    beside.mkdir()
    return beside


def _move_in(beside: Path, place: Path, *, force: bool) -> None:
    if not place.exists():
        beside.rename(place)
        return
    made = [path for path in sorted(beside.rglob("*")) if path.is_file()]
    for path in made:
        target = place / path.relative_to(beside)
        if target.is_dir() or (target.exists() and not force):
            raise OutputError(f"{target} is in the way; name a new folder")
    for path in made:
        target = place / path.relative_to(beside)
        target.parent.mkdir(parents=True, exist_ok=True)
        path.replace(target)
