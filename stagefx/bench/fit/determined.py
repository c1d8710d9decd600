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
    """What a measurement says of each figure.

    Parameters
    ----------
    doubt : array [figures]
        Uncertainty of each, all others being free, in units of its reach.
    doubt_alone : array [figures]
        The same, if all others were known.
    alike : tuple of tuple of int
        For each figure those that could be changed in its stead.
    """

    doubt: Array
    doubt_alone: Array
    alike: tuple[tuple[int, ...], ...]

    def seen(self, index: int) -> bool:
        """Whether a figure matters for what was measured.

        Parameters
        ----------
        index : int
            Which figure.

        Returns
        -------
        bool
            Whether it would be known if all others were.
        """
        return bool(self.doubt_alone[index] < KNOWN)

    def known(self, index: int) -> bool:
        """Whether a figure is determined by itself.

        Parameters
        ----------
        index : int
            Which figure.

        Returns
        -------
        bool
            Whether it is known whatever the others are.
        """
        return bool(self.doubt[index] < KNOWN)


def determined(jacobian: Array) -> Determined:
    """Tell what a measurement determines.

    Parameters
    ----------
    jacobian : array [numbers, figures]
        Change of each measured number, over its uncertainty, with each figure, over its reach.

    Returns
    -------
    Determined
        From the singular values: along a direction of singular value s the measurement knows the
        figures to 1/s of their reach.

    Examples
    --------
    >>> found = determined(np.array([[50.0, 50.0, 0.0], [0.0, 0.0, 0.1], [50.0, 50.1, 0.0]]))
    >>> found.alike, [found.seen(k) for k in range(3)], [found.known(k) for k in range(3)]
    (((1,), (0,), ()), [True, True, False], [False, False, False])
    """
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
    """The figures to adjust: those determined, and of those not told apart as many as can be.

    Parameters
    ----------
    jacobian : array [numbers, figures]
        As in `determined`.
    found : Determined
        What it tells.

    Returns
    -------
    tuple of int
        The figures that are all determined once the others are held.

    Examples
    --------
    >>> jacobian = np.array([[50.0, 50.0], [50.0, 50.1]])
    >>> freed(jacobian, determined(jacobian))
    (1,)
    """
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
