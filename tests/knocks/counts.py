"""How much is tried: all of it under ``make trust``, else a part in which nothing is missing."""

from __future__ import annotations

import os
from collections.abc import Sequence
from itertools import product
from typing import TypeVar

One = TypeVar("One")
Other = TypeVar("Other")

WHOLE = os.environ.get("STAGEFX_COUNTS") == "whole"


def count(whole: int) -> int:
    """How many times to try what is tried ``whole`` times when all of it is wanted."""
    return whole if WHOLE else max(1, whole // 10)


def in_turn(ones: Sequence[One], others: Sequence[Other]) -> list[tuple[One, Other]]:
    """Each with each when all of it is wanted, else every one and every other at least once."""
    if WHOLE:
        return list(product(ones, others))
    longer = range(max(len(ones), len(others)))
    return [(ones[n % len(ones)], others[n % len(others)]) for n in longer]
