"""How far numbers that were fitted to a trace may be wrong."""

from __future__ import annotations

from typing import Any

import numpy as np

from stagefx.bench.scope.tables import Array


def slopes_to_spread(slopes: Any) -> Array:
    """The covariance of fitted numbers for a scatter of one.

    Parameters
    ----------
    slopes : array [points, numbers]
        How each point changes with each number, as a least-squares fit leaves it.

    Returns
    -------
    array [numbers, numbers]
        The inverse of J'J; of numbers that do not matter, nought.

    Examples
    --------
    >>> slopes_to_spread(np.array([[2.0], [0.0]])).tolist()
    [[0.25]]
    """
    jacobian = np.asarray(slopes, dtype=np.float64)
    return np.asarray(np.linalg.pinv(jacobian.T @ jacobian))
