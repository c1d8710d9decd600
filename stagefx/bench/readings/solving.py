"""Finding what makes a stage give what was read."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.uncertainty import Measured

Array = NDArray[np.float64]

_STEP = 1e-5
_TELLING = 0.01
"""Share of a number's uncertainty below which a reading does not count as telling of it."""
_FURTHEST = 12.0
"""Natural logarithm of how far from its start a part is looked for."""


def solve_for(
    law: Callable[[float], float], target: float, start: float, *, furthest: float = 1e15
) -> float:
    """Where a law that rises or falls all the way takes a value."""
    from scipy.optimize import brentq

    def off(log_x: float) -> float:
        return law(math.exp(log_x)) - target

    middle, reach, last = math.log(start), 0.02, math.log(furthest)
    if off(middle) == 0.0:
        return start
    while reach < 2.0 * last:
        low, high = middle - min(reach, last), middle + min(reach, last)
        if off(low) * off(high) <= 0.0:
            found = brentq(off, low, high, xtol=1e-15, rtol=8.9e-16)
            return math.exp(float(found))
        reach *= 2.0
    return math.nan


@dataclass(frozen=True)
class Fit:
    """Positive numbers fitted to readings by least squares."""

    values: tuple[Measured, ...]
    misfits: tuple[float, ...]

    @property
    def good(self) -> bool:
        """Whether every reading is met within its uncertainty."""
        return all(abs(misfit) <= 1.0 + 1e-9 for misfit in self.misfits)


def fit(
    model: Callable[[Array], Array], readings: Sequence[Measured], start: Sequence[float]
) -> Fit:
    """Fit positive numbers to readings, each weighed by its uncertainty."""
    from scipy.optimize import least_squares

    read = np.array([one.value for one in readings])
    doubt = np.array([one.uncertainty or 1e-9 * (abs(one.value) or 1.0) for one in readings])
    log_start = np.log(np.asarray(start, dtype=np.float64))

    def within(x: Array) -> Array:
        return np.exp(np.clip(x, log_start - _FURTHEST, log_start + _FURTHEST))

    def off(x: Array) -> Array:
        return np.asarray((model(within(x)) - read) / doubt)

    found = least_squares(off, log_start, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    x = np.asarray(found.x)
    jacobian = np.column_stack(
        [(off(x + _STEP * e) - off(x - _STEP * e)) / (2.0 * _STEP) for e in np.eye(x.size)]
    )
    reach = np.linalg.pinv(jacobian) / doubt  # change of each logarithm with each reading
    values = within(x)
    return Fit(
        tuple(_carried(float(v), v * row, readings) for v, row in zip(values, reach, strict=True)),
        tuple(float(m) for m in off(x)),
    )


def _carried(value: float, reach: Array, readings: Sequence[Measured]) -> Measured:
    exact = value
    for slope, one in zip(reach, readings, strict=True):
        exact = exact + float(slope) * (one.exact - one.value)
    shares = [abs(float(s)) * r.half_range for s, r in zip(reach, readings, strict=True)]
    worst = math.fsum(shares)
    told = [r for r, share in zip(readings, shares, strict=True) if share >= _TELLING * worst]
    numbers = tuple(sorted({number for one in told for number in one.readings}))
    assumed = any(one.assumed for one in told)
    return Measured(exact, max(value - worst, 0.0), value + worst, numbers, assumed)
