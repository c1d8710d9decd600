"""Work done one step ahead on another thread, in the same order and with the same results."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")


def read_ahead(items: Iterable[Item]) -> Iterator[Item]:
    """The same items, the next made on another thread while one is worked on.

    Parameters
    ----------
    items : iterable
        What is gone through, once.

    Yields
    ------
    object
        Every item, in order.

    Raises
    ------
    Exception
        Whatever making an item raises, where that item would have come.

    Examples
    --------
    >>> list(read_ahead(number * number for number in range(4)))
    [0, 1, 4, 9]
    """
    source = iter(items)
    with ThreadPoolExecutor(1, thread_name_prefix="ahead") as pool:
        coming = pool.submit(_one_of, source)
        while found := coming.result():
            coming = pool.submit(_one_of, source)
            yield found[0]


def _one_of(source: Iterator[Item]) -> list[Item]:
    """The next item, or nothing."""
    for item in source:
        return [item]
    return []
