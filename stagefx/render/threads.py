"""Work ahead and work behind on threads of their own, so that files do not wait for sums."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from queue import Empty, Full, Queue
from threading import Event, Thread
from time import perf_counter
from types import TracebackType
from typing import Generic, Self, TypeVar

Item = TypeVar("Item")
_DEPTH = 2
_WAIT_S = 0.05


def processors() -> int:
    """How many processors this process may use.

    Returns
    -------
    int
        At least 1.

    Examples
    --------
    >>> processors() >= 1
    True
    """
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class _End:
    """The end of a stream, with what ended it if it was not its own end."""

    def __init__(self, error: BaseException | None = None) -> None:
        self.error = error


def ahead(items: Iterable[Item], *, depth: int = _DEPTH) -> Iterator[Item]:
    """Take items from an iterable on a thread of its own, a few ahead.

    Parameters
    ----------
    items : iterable
        Read in order, on one thread.
    depth : int
        Most items that wait.

    Yields
    ------
    item
        The same items, in order; an exception of the iterable comes out where it arose.

    Examples
    --------
    >>> list(ahead(iter([1, 2, 3])))
    [1, 2, 3]
    """
    waiting: Queue[Item | _End] = Queue(depth)
    stop = Event()

    def put(item: Item | _End) -> bool:
        while not stop.is_set():
            try:
                waiting.put(item, timeout=_WAIT_S)
            except Full:
                continue
            return True
        return False

    def run() -> None:
        error: BaseException | None = None
        try:
            for item in items:
                if not put(item):
                    return
        except BaseException as caught:  # noqa: BLE001 - handed to the reader, whatever it is
            error = caught
        put(_End(error))

    thread = Thread(target=run, daemon=True)
    thread.start()
    try:
        while True:
            item = waiting.get()
            if isinstance(item, _End):
                if item.error is not None:
                    raise item.error
                return
            yield item
    finally:
        stop.set()
        thread.join()


class Behind(Generic[Item]):
    """Hands items to a callable on a thread of its own, in order; a context manager.

    Parameters
    ----------
    take : callable
        What is done with each item.
    depth : int
        Most items that wait.

    Attributes
    ----------
    last_s : float, s
        How long the last item took.

    Notes
    -----
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
        """Hand over an item; waits while too many are waiting.

        Parameters
        ----------
        item : any
            The next item.
        """
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
