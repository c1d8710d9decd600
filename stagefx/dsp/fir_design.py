"""Short impulse responses fitted to a response, to be used at a file's own rate."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

BAND_EDGE = 0.45
"""Upper end of the fitted band, in sampling rates."""


def toeplitz_solve(first_row: Array, right: Array) -> Array:
    """Solve a symmetric positive definite Toeplitz system."""
    n = first_row.size
    solution, backward = np.zeros(n), np.zeros(n)
    solution[0], backward[0] = right[0] / first_row[0], 1.0 / first_row[0]
    for m in range(1, n):
        reach = first_row[m:0:-1]
        wrong = float((reach * backward[:m][::-1]).sum())
        scale = 1.0 / (1.0 - wrong * wrong)
        forward = backward[:m][::-1].copy()
        new = np.zeros(m + 1)
        new[1:] = scale * backward[:m]
        new[:m] -= scale * wrong * forward
        backward[: m + 1] = new
        missing = right[m] - float((reach * solution[:m]).sum())
        solution[: m + 1] += missing * backward[: m + 1]
    return solution


def fit(
    target: Callable[[Array], Complex],
    *,
    taps: int,
    delay: int,
    weight: Callable[[Array], Array],
    points: int = 4096,
) -> Array:
    """Fit an impulse response to a complex response by weighted least squares."""
    frequency = np.asarray((np.arange(points) + 0.5) / (2.0 * points), dtype=np.float64)
    weights = np.asarray(weight(frequency), dtype=np.float64)
    wanted = weights * target(frequency)
    row = _sums(weights, np.arange(taps))
    right = _sums(wanted, np.arange(taps) - delay)
    return toeplitz_solve(row, right)


def _sums(values: Array | Complex, lags: NDArray[np.int64]) -> Array:
    """Real part of the sum of values times exp(i w k) over the frequencies of a fit, each lag k.

    The frequencies lie midway between the lines of a transform twice as long.
    """
    length = 2 * values.size
    whole = np.fft.ifft(values, length) * length
    half_a_line = np.exp(1j * np.pi * lags / length)
    return np.asarray((whole[lags % length] * half_a_line).real)
