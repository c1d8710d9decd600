"""Ratios in dB, where nothing at all is minus infinity."""

from __future__ import annotations

import math


def ratio_db(value: float, reference: float = 1.0) -> float:
    """A ratio of voltages in dB.

    Parameters
    ----------
    value, reference : float
        Both positive, or the value 0.

    Returns
    -------
    float, dB
        Minus infinity where the value is 0, infinity where only the reference is.

    Examples
    --------
    >>> round(ratio_db(0.5), 4), ratio_db(0.0)
    (-6.0206, -inf)
    """
    if value <= 0.0:
        return -math.inf
    return math.inf if reference <= 0.0 else 20.0 * math.log10(value / reference)


def root_sum(values: list[float]) -> float:
    """Voltages that add up by their powers.

    Parameters
    ----------
    values : list of float
        Any number of them.

    Returns
    -------
    float
        Root of the sum of their squares.

    Examples
    --------
    >>> root_sum([3.0, 4.0])
    5.0
    """
    return math.sqrt(math.fsum(value * value for value in values))
