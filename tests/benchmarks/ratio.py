"""One benchmark's outcome: a ratio against a named peer, beside its bound."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

State = Literal["cold", "cached", "steady"]


@dataclass(frozen=True, kw_only=True)
class Ratio:
    """What was measured, against what, in the same run on the same machine."""

    name: str
    peer: str
    value: float
    bound: float
    sense: Literal["at most", "at least"] = "at most"
    unit: str = "×"
    state: State = "steady"
    """Whether kernels were compiled anew, loaded from their cache, or ready."""

    @property
    def holds(self) -> bool:
        """Whether the value keeps its bound; a NaN does not."""
        if self.sense == "at most":
            return self.value <= self.bound
        return self.value >= self.bound


def fastest_s(call: Callable[[], object], *, repeats: int = 5) -> float:
    """The shortest of several wall times in seconds: the one least disturbed by others."""
    shortest = float("inf")
    for _ in range(repeats):
        begin = time.perf_counter()
        call()
        shortest = min(shortest, time.perf_counter() - begin)
    return shortest
