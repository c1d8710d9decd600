"""What auditions of one family have worked out, each step once."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from contextlib import ExitStack
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

Result = TypeVar("Result")


class Steps:
    """Results by their keys, and the temporary folder of those that are files.

    Equal keys mean equal results, bit for bit, so whatever a changed value does not reach keeps its
    key and is found, and nothing has to be declared out of date.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._found: dict[Hashable, Future[Any]] = {}
        self._outputs = ExitStack()
        self._folder: Path | None = None
        self._files = 0

    def once(self, key: Hashable, work: Callable[[], Result]) -> Result:
        """The result of `key`, worked out by whoever asks first; a failure is not kept."""
        with self._lock:
            known = self._found.get(key)
            mine: Future[Any] = known or self._found.setdefault(key, Future())
        if known is None:
            try:
                mine.set_result(work())
            except BaseException as error:
                with self._lock:
                    del self._found[key]
                mine.set_exception(error)
                raise
        result: Result = mine.result()
        return result

    def put(self, key: Hashable, result: object) -> None:
        """Keep a result that came about with others."""
        made: Future[Any] = Future()
        made.set_result(result)
        with self._lock:
            self._found[key] = made

    def __contains__(self, key: Hashable) -> bool:
        with self._lock:
            return key in self._found

    def new_file(self) -> Path:
        """A place for a file that lives as long as these steps."""
        with self._lock:
            if self._folder is None:
                folder = tempfile.TemporaryDirectory(prefix="stagefx-")
                self._folder = Path(self._outputs.enter_context(folder))
            self._files += 1
            return self._folder / f"{self._files}.wav"

    def close(self) -> None:
        """Remove the files and forget the results."""
        with self._lock:
            self._found.clear()
            self._outputs.close()
            self._folder = None
