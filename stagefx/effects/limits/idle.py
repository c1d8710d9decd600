"""Where a limiter has nothing to do, told from samples and steps at the file's own rate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.oversampling_by_four import FACTOR
from stagefx.kernels.block_extrema import (
    LANES,
    PEAK,
    PEAK_HEAD,
    PEAK_TAIL,
    STEP,
    STEP_HEAD,
    STEP_TAIL,
    reach,
)

Array = NDArray[np.float64]

LEVEL_OVER_PEAK = 2.91
SLOPE_OVER_PEAK = 6.47
SLOPE_OVER_STEP = 3.88
"""How far whatever samples can go between themselves: level over the highest sample, slope a frame
over it, slope a frame over the largest step (sums of the sizes of the interpolation's weights)."""
LEVEL_OVER_NODE, SLOPE_OVER_NODES = 1.391, 1.534
"""The same between nodes: level over the highest node, slope an interval over the largest step."""
_LAG_FLOOR, _LAG_FLOOR_BETWEEN = 4e-8, 1e-8
"""Lag, in units of full scale, below which the limiter counts as idle: by samples, whose bound is
far above what music does, and by nodes, whose bound is near.  Brought back to the file's rate it is
at most 2.4 times as much."""


def calm_blocks(rows: Array, limits: Array, law: Array) -> list[bool]:
    """Whether nothing can happen on each block but the first and the last."""
    peak, step = float(rows[:, PEAK].max()), float(rows[:, STEP].max())
    if _calm(LEVEL_OVER_PEAK * peak, _slope(peak, step), limits, law, _LAG_FLOOR):
        return [True] * (len(rows) - 2)
    peaks = _near(rows, PEAK, PEAK_HEAD, PEAK_TAIL)
    steps = _near(rows, STEP, STEP_HEAD, STEP_TAIL)
    return [
        _calm(LEVEL_OVER_PEAK * peak, _slope(peak, step), limits, law, _LAG_FLOOR)
        for peak, step in zip(peaks.tolist(), steps.tolist(), strict=True)
    ]


def calm_between(nodes: Array, limits: Array, law: Array) -> bool:
    """Whether nothing can happen between nodes: a second look, sharper than that at samples."""
    found = np.empty(2)
    reach(nodes, np.empty((3, LANES)), found)
    peak, step = found.tolist()
    slope = FACTOR * SLOPE_OVER_NODES * step
    return _calm(LEVEL_OVER_NODE * peak, slope, limits, law, _LAG_FLOOR_BETWEEN)


def _near(rows: Array, whole: int, head: int, tail: int) -> Array:
    """The largest in each block but the first and the last, and close to it."""
    beside = np.maximum(rows[:-2, tail], rows[2:, head])
    return np.asarray(np.maximum(rows[1:-1, whole], beside))


def _slope(peak: float, step: float) -> float:
    """The steepest that samples of a peak, and of a largest step, can be between themselves."""
    return min(SLOPE_OVER_PEAK * peak, SLOPE_OVER_STEP * step)


def _calm(level: float, slope: float, limits: Array, law: Array, most_lag: float) -> bool:
    """Whether a limiter is idle up to a level and up to a slope a frame."""
    high, low = limits.tolist()
    rise, fall, constant = law.tolist()
    slope /= FACTOR
    if not (level < high and -level > low):
        return False
    slowest = min(rise, -fall)
    if slowest == np.inf:
        return True
    # the weights of three slopes half an interval apart, and of their changes over the constant
    bent = 16.0 * constant * constant
    weights = abs(1.0 - 0.5 * bent) + abs(0.25 * bent - constant) + 0.25 * bent + constant
    r = weights * slope / slowest
    if r >= 1.0:
        return False
    more = r * r / (1.0 - r * r)
    r += more * (2.0 * constant + (1.0 + more) * bent) * slope / slowest
    lag = slowest * constant * r * r * r / (3.0 * (1.0 - r * r))
    return bool(r < 1.0 and lag < most_lag)
