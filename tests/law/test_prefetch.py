"""What is made ahead is the same, in the same order, errors included."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from stagefx.io.prefetch import ahead


def test_items_come_in_order_and_are_made_on_another_thread() -> None:
    makers = []

    def items() -> Iterator[int]:
        for number in range(5):
            makers.append(threading.current_thread())
            yield number

    assert list(ahead(items())) == [0, 1, 2, 3, 4]
    assert threading.current_thread() not in makers
    assert list(ahead([])) == []
    assert list(ahead([None, 0])) == [None, 0]


def test_an_error_comes_where_its_item_would_have() -> None:
    def items() -> Iterator[int]:
        yield 1
        raise ValueError("no more")

    coming = ahead(items())
    assert next(coming) == 1
    with pytest.raises(ValueError, match="no more"):
        next(coming)


def test_one_may_stop_early() -> None:
    for item in ahead(iter(range(1000))):
        if item == 2:
            break
    assert item == 2
