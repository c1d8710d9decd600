"""Files that do not wait for sums: the next block read, the last one written, on other threads.

The same items, in the same order, with the same results.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from queue import Empty, Queue
from threading import Event, Thread
from time import perf_counter
from types import TracebackType
from typing import Generic, Self, TypeVar

Item = TypeVar("Item")
_DEPTH = 2


def processors() -> int:
    """How many processors this process may use; at least 1."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def ahead(items: Iterable[Item], *, depth: int = _DEPTH) -> Iterator[Item]:
    """The same items, the next ones made on another thread while one is worked on."""
    source = iter(items)
    with ThreadPoolExecutor(1, thread_name_prefix="ahead") as pool:
        coming = deque(pool.submit(_one_of, source) for _ in range(depth))
        try:
            while found := coming.popleft().result():
                coming.append(pool.submit(_one_of, source))
                yield found[0]
        finally:
            for one in coming:
                one.cancel()


def _one_of(source: Iterator[Item]) -> list[Item]:
    """The next item, or nothing."""
    for item in source:
        return [item]
    return []


class _End:
    """The end of what is handed over."""


class BackgroundWriter(Generic[Item]):
    """Hands items to a callable on a thread of its own, in order; a context manager.

    An exception of the callable comes out at the next `put`, or at the end.
    """

    def __init__(self, take: Callable[[Item], object], *, depth: int = _DEPTH) -> None:
        self.last_s = 0.0
        self._take = take
        self._waiting: Queue[Item | _End] = Queue(depth)
        self._error: BaseException | None = None
        self._broken = Event()
        self._thread = Thread(target=self._run, daemon=True)

    def _run(self) -> None:
        while True:
            item = self._waiting.get()
            if isinstance(item, _End):
                return
            if self._broken.is_set():
                continue
            start = perf_counter()
            try:
                self._take(item)
                self.last_s = perf_counter() - start
            except BaseException as caught:  # noqa: BLE001 - handed to the writer, whatever it is
                self._error = caught
                self._broken.set()

    def put(self, item: Item) -> None:
        """Hand over an item; waits while too many are waiting."""
        if self._error is not None:
            raise self._error
        self._waiting.put(item)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is not None:
            self._broken.set()
            self._drop_waiting()
        self._waiting.put(_End())
        self._thread.join()
        if kind is None and self._error is not None:
            raise self._error

    def _drop_waiting(self) -> None:
        try:
            while True:
                self._waiting.get_nowait()
        except Empty:
            return
