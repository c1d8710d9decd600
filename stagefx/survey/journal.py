"""The file that a survey writes as it goes, and takes up again after an interruption.

JSON Lines: first what was asked, then one line a file, each written whole and on the disk before
the next.  Once the survey is done the lines are put in the order of their paths.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from stagefx.circuit.description.files import stage_as_toml
from stagefx.errors import OutputError
from stagefx.io.atomic_file import WholeFile, check_free, not_writable
from stagefx.io.texts import from_json
from stagefx.survey.asked import Asked
from stagefx.survey.row import Row

_OTHERWISE = {
    "made_by": "was made by another version of stagefx",
    "folder": "is the survey of another folder",
    "stage": "is the survey of another stage",
    "stage_sha256": "is the survey of this stage with other values",
    "knob": "is a survey with another position of the knob",
    "listening_level_db": "is a survey at another listening level",
    "full": "is a survey of the other kind (with or without --full)",
}


def heading_of(asked: Asked, folder: str) -> dict[str, Any]:
    """What a survey's rows depend on, beside the files."""
    from importlib.metadata import version

    return {
        "made_by": f"stagefx survey {version('stagefx')}",
        "folder": os.fsencode(folder).decode("utf-8", "backslashreplace"),
        "stage": asked.stage.name,
        "stage_sha256": hashlib.sha256(stage_as_toml(asked.stage).encode()).hexdigest(),
        "knob": asked.knob,
        "listening_level_db": float(asked.listening_level_db),
        "full": asked.full,
    }


class Journal:
    """A survey's file, open for adding to."""

    def __init__(
        self, place: str | Path, heading: Mapping[str, Any], *, force: bool = False
    ) -> None:
        self._place = place
        self._path = check_free(place, force=True)
        self._heading = {"survey": dict(heading)}
        self.rows: dict[str, Row] = {}
        self._length = 0
        try:
            self._file = self._opened()
        except OSError as error:
            raise not_writable(place, error) from None
        try:
            self._take_up(force=force)
        except BaseException:
            self.close()
            raise

    def _opened(self) -> int:
        """The file, held against other surveys of the same name."""
        while True:
            file = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o666)
            try:
                _hold(file, self._place)
                if os.path.samestat(os.fstat(file), self._path.stat()):
                    return file
            except BaseException:
                os.close(file)
                raise
            os.close(file)  # put in order by another survey between the two

    def _take_up(self, *, force: bool) -> None:
        text = b"" if force else self._path.read_bytes()
        first = _line(self._heading)
        head, *lines = text.split(b"\n")
        if not lines and not first.startswith(text):
            raise self._no_survey()
        if not lines:  # new, or torn in its very first line
            self._cut(0)
            self._append(first)
            return
        self._check_heading(head)
        for line in lines[:-1]:
            try:
                row = Row.from_json(from_json(line))
            except (AttributeError, KeyError, TypeError, ValueError):
                continue  # no whole row: its file is surveyed again
            self.rows[row.file] = row
        self._cut(len(text) - len(lines[-1]))  # what stands after the last line end is torn

    def _check_heading(self, head: bytes) -> None:
        try:
            found = from_json(head)["survey"]
            different = [key for key in _OTHERWISE if found[key] != self._heading["survey"][key]]
        except (KeyError, TypeError, ValueError):
            raise self._no_survey() from None
        if different:
            named = f" ('{found['stage']}')" if different[0] == "stage" else ""
            raise OutputError(
                f"{self._place} {_OTHERWISE[different[0]]}{named}; write elsewhere, or use --force "
                "to begin anew"
            )

    def _no_survey(self) -> OutputError:
        return OutputError(
            f"{self._place} exists already and is no survey; write elsewhere, or use --force"
        )

    def _cut(self, length: int) -> None:
        try:
            os.ftruncate(self._file, length)
        except OSError as error:
            raise not_writable(self._place, error) from None
        self._length = length

    def _append(self, line: bytes) -> None:
        """Add a line, whole or not at all, and wait until it is on the disk."""
        try:
            done = 0
            while done < len(line):
                done += os.pwrite(self._file, line[done:], self._length + done)
            os.fsync(self._file)
        except OSError as error:
            self._cut(self._length)
            raise not_writable(self._place, error) from None
        self._length += len(line)

    def add(self, row: Row) -> None:
        """Keep a row."""
        self._append(_line(row.as_json()))
        self.rows[row.file] = row

    def put_in_order(self, rows: Iterable[Row]) -> None:
        """Write a finished survey anew, by path, without lines of files that are gone."""
        wanted = b"".join([_line(self._heading), *(_line(row.as_json()) for row in rows)])
        if wanted == self._path.read_bytes():
            return
        with WholeFile(self._path, force=True) as whole:
            whole.file.write(wanted)
            os.fsync(whole.file.fileno())

    def close(self) -> None:
        """Let go of the file."""
        os.close(self._file)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _line(plain: Mapping[str, Any]) -> bytes:
    return json.dumps(plain, allow_nan=False).encode("ascii") + b"\n"


def _hold(file: int, place: str | Path) -> None:
    """Keep other surveys from a file for as long as it is open here."""
    if sys.platform == "win32":
        return
    import fcntl

    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise OutputError(
            f"another survey is writing {place}; wait for it, or write elsewhere"
        ) from None
    except OSError:  # a file system without locks
        return
