"""Where a limiter has nothing to do, told from samples and steps at the file's own rate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.effects.fourfold import FACTOR
from stagefx.kernels.outline import (
    PEAK,
    PEAK_HEAD,
    PEAK_TAIL,
    STEP,
    STEP_HEAD,
    STEP_TAIL,
)

Array = NDArray[np.float64]

LEVEL_OVER_PEAK = 2.91
SLOPE_OVER_PEAK = 6.47
SLOPE_OVER_STEP = 3.88
"""How far whatever samples can go between themselves: level over the highest sample, slope a frame
over it, slope a frame over the largest step (sums of the sizes of the interpolation's weights)."""
_LAG_FLOOR = 4e-8
"""Lag, in units of full scale, below which the limiter counts as idle; brought back to the file's
rate it is at most 2.4 times as much."""


def calm_blocks(rows: Array, limits: Array, law: Array) -> list[bool]:
    """Whether nothing can happen on each block but the first and the last.

    Parameters
    ----------
    rows : array [blocks, COLUMNS]
        What `stagefx.kernels.outline.outline` tells of each block.
    limits : array [2]
        High and low.
    law : array [3]
        Rise, fall (negative) and time constant, per interval of a quarter of a frame.

    Returns
    -------
    list of bool [blocks - 2]
        A block's neighbours count as far as the limiter looks.

    Examples
    --------
    >>> quiet = np.full((3, 6), 0.1)
    >>> calm_blocks(quiet, np.array([1.0, -1.0]), np.array([np.inf, -np.inf, 0.0]))
    [True]
    >>> calm_blocks(quiet, np.array([0.2, -0.2]), np.array([np.inf, -np.inf, 0.0]))
    [False]
    """
    peak, step = rows[:, PEAK].max(), rows[:, STEP].max()
    if _calm(float(peak), float(step), limits, law):
        return [True] * (len(rows) - 2)
    peaks = _near(rows, PEAK, PEAK_HEAD, PEAK_TAIL)
    steps = _near(rows, STEP, STEP_HEAD, STEP_TAIL)
    pairs = zip(peaks.tolist(), steps.tolist(), strict=True)
    return [_calm(peak, step, limits, law) for peak, step in pairs]


def _near(rows: Array, whole: int, head: int, tail: int) -> Array:
    """The largest in each block but the first and the last, and close to it."""
    beside = np.maximum(rows[:-2, tail], rows[2:, head])
    return np.asarray(np.maximum(rows[1:-1, whole], beside))


def _calm(peak: float, step: float, limits: Array, law: Array) -> bool:
    """Whether a limiter is idle on samples of a peak, the largest step between them known."""
    high, low = limits.tolist()
    if not (LEVEL_OVER_PEAK * peak < high and -LEVEL_OVER_PEAK * peak > low):
        return False
    rise, fall, constant = law.tolist()
    slowest = FACTOR * min(rise, -fall)
    if slowest == np.inf:
        return True
    r = min(SLOPE_OVER_PEAK * peak, SLOPE_OVER_STEP * step) / slowest
    r2 = r * r
    lag = slowest * constant / FACTOR * r * r2 * (1.0 / 3.0 + r2 * (0.2 + r2 / 7.0))
    return bool(r < 1.0 and lag < _LAG_FLOOR)
