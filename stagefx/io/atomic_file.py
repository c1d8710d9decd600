"""Output that appears whole or not at all, and never over what the user has."""

from __future__ import annotations

import errno
import io
import os
import weakref
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, BinaryIO, Self

from stagefx.errors import OutputError
from stagefx.io.stale_files import clear_orphans, hold, part_beside

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


def refuse_same_file(output: str | Path, *inputs: str | Path) -> None:
    """Refuse to write where something is read from."""
    for one in inputs:
        if "-" not in {str(output), str(one)} and _same(Path(output), Path(one)):
            other = f" ({one})" if str(one) != str(output) else ""
            raise OutputError(f"{output} is an input too{other}; write elsewhere")


def _same(first: Path, second: Path) -> bool:
    try:
        return first.samefile(second)
    except OSError:  # one of them is not there (yet)
        return first.resolve() == second.resolve()


def check_free(place: str | Path, *, force: bool = False) -> Path:
    """Refuse a place that cannot become a new file."""
    path = Path(place)
    try:
        path = path.resolve()
        if path.is_dir():
            raise OutputError(f"{place} is a folder; name a file in it")
        if path.exists():
            if not path.is_file():
                raise OutputError(f"{place} is no ordinary file; write elsewhere")
            if not force:
                raise OutputError(f"{place} exists already; write elsewhere, or use --force")
        if not path.parent.is_dir():
            raise OutputError(f"there is no folder '{Path(place).parent}'; make it first")
    except (OSError, RuntimeError) as error:  # not to be looked into, or links in a circle
        raise not_writable(place, error) from None
    return path


def not_writable(place: str | Path, error: BaseException) -> OutputError:
    """What to tell the user of a place that cannot be written."""
    number = getattr(error, "errno", None)
    reason = getattr(error, "strerror", None) or str(error)
    if number in _FULL:
        return OutputError(
            f"{place} cannot be written, for the disk is full; make room, or write to another disk"
        )
    if number in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return OutputError(f"{place} may not be written ({reason}); write to a folder of your own")
    return OutputError(f"{place} cannot be written ({reason}); write elsewhere")


class _Steadfast(io.FileIO):
    """A file that takes all it is given, or fails; an ordinary unbuffered one may take a part."""

    def write(self, data: ReadableBuffer, /) -> int:
        left = memoryview(data).cast("B")
        whole = len(left)
        while left:
            left = left[super().write(left) :]
        return whole


class WholeFile:
    """A file written beside its place under a hidden name, and renamed once it is whole.

    As a context manager it is kept at the end, and dropped after any exception, an interruption
    among them.  What another program put in the place meanwhile is not overwritten either.  Of a
    program that is killed a hidden file stays, which the next one for the same place removes.
    """

    def __init__(self, place: str | Path, *, force: bool = False) -> None:
        self._place = place
        self._force = force
        self._path = check_free(place, force=force)
        clear_orphans(self._path)
        self._part = part_beside(self._path)
        # Known beforehand, so that nothing is left by an interruption at the very moment either.
        self._leftover = weakref.finalize(self, self._part.unlink, missing_ok=True)
        try:
            # Exclusive, so that no other writer's part is ever written to; mode by the umask.
            number = os.open(self._part, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o666)
        except OSError as error:
            self._leftover.detach()
            raise not_writable(place, error) from None
        hold(number)
        self.file: BinaryIO = _Steadfast(number, "r+b")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if error is None:
            self.keep()
            return
        self.drop()
        if isinstance(error, OSError) and error.filename is None:  # of the writing itself
            raise not_writable(self._place, error) from None

    def keep(self) -> None:
        """Put the file in its place."""
        try:
            self.file.close()
            if self._force:
                self._part.replace(self._path)
            else:
                self._move_to_free_place()
            self._leftover.detach()
        except OSError as error:
            self.drop()
            raise not_writable(self._place, error) from None
        except BaseException:
            self.drop()
            raise

    def _move_to_free_place(self) -> None:
        try:
            self._path.hardlink_to(self._part)  # unlike a rename, never over another file
        except FileExistsError:
            raise OutputError(
                f"{self._place} was made by another program meanwhile; write elsewhere"
            ) from None
        except OSError:  # a file system without such links
            check_free(self._path)
            self._part.replace(self._path)
        else:
            self._part.unlink()

    def drop(self) -> None:
        """Remove what was written, as if there had been nothing."""
        self.file.close()
        self._leftover()
