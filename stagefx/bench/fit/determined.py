"""Which figures a measurement determines, which it does not see, and which it cannot tell apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

KNOWN = 0.3
"""Share of its reach to which a figure must be known to count as determined."""
_TAKES_PART = 0.3
"""Share of a direction from which a figure takes part in it."""


@dataclass(frozen=True)
class Determined:
    """What a measurement says of each figure."""

    doubt: Array
    doubt_alone: Array
    alike: tuple[tuple[int, ...], ...]

    def seen(self, index: int) -> bool:
        """Whether a figure matters for what was measured."""
        return bool(self.doubt_alone[index] < KNOWN)

    def known(self, index: int) -> bool:
        """Whether a figure is determined by itself."""
        return bool(self.doubt[index] < KNOWN)


def determined(jacobian: Array) -> Determined:
    """Tell what a measurement determines."""
    count = jacobian.shape[1]
    spread = np.linalg.inv(jacobian.T @ jacobian + np.eye(count))
    norms = np.linalg.norm(jacobian, axis=0)
    alone = 1.0 / np.sqrt(1.0 + norms**2)
    _, sizes, directions = np.linalg.svd(jacobian, full_matrices=True)
    sizes = np.concatenate((sizes, np.zeros(count - sizes.size)))
    alike: list[set[int]] = [set() for _ in range(count)]
    for size, direction in zip(sizes, directions, strict=True):
        if size > 1.0 / KNOWN:
            continue
        part = [k for k in range(count) if abs(direction[k]) > _TAKES_PART and alone[k] < KNOWN]
        for k in part:
            alike[k] |= set(part) - {k}
    return Determined(
        np.sqrt(np.diag(spread)), np.asarray(alone), tuple(tuple(sorted(one)) for one in alike)
    )


def freed(jacobian: Array, found: Determined) -> tuple[int, ...]:
    """The figures to adjust: those determined, and of those not told apart as many as can be."""
    count = jacobian.shape[1]
    free = [k for k in range(count) if found.known(k)]
    norms = np.linalg.norm(jacobian, axis=0)
    for k in sorted(range(count), key=lambda k: -norms[k]):
        if k in free or not found.seen(k):
            continue
        tried = jacobian[:, [*free, k]]
        spread = np.linalg.inv(tried.T @ tried + np.eye(tried.shape[1]))
        if np.all(np.sqrt(np.diag(spread)) < KNOWN):
            free.append(k)
    return tuple(sorted(free))
