"""A smooth course laid through delays that were measured here and there along a piece.

A clock wanders slowly.  So the course is a cubic spline whose bends are held down, by as much as
predicts measurements left out best; down to a straight line where nothing else is borne out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.align.time_path import Jump, TimePath, spline_weights

Array = NDArray[np.float64]

_STIFFNESSES = 10.0 ** np.arange(6.0, -7.0, -1.0)
_BORNE_OUT = 0.7
"""A livelier course has to predict this much better, in squares, than a stiffer one."""
_FOLDS = 4
_ROBUST_ROUNDS = 3
_FAR_OFF = 3.0
"""Standard deviations beyond which a measurement loses weight."""
_AT_ENDS = 2
_STEPS_A_KNOT = 1.0
_LEAST_WANDER_FRAMES = 1e-5
"""Less than that is rounding, or the interpolation's own error."""
_FEWEST_FOR_WANDER = 8


@dataclass(frozen=True)
class Delays:
    """Delays measured along a piece."""

    at: Array
    frames: Array
    uncertainty: Array


@dataclass(frozen=True)
class FittedPath:
    """A course of the delay, and what its straight part is worth."""

    path: TimePath
    slope: float
    slope_uncertainty: float
    scatter: float


def fit_path(delays: Delays, start: int, stop: int, jumps: tuple[Jump, ...] = ()) -> FittedPath:
    """Lay a course through measured delays.

    P. H. C. Eilers, B. D. Marx, "Flexible smoothing with B-splines and penalties", Statistical
    Science 11 (2), 1996: the spline and how its bends are held down.
    """
    smooth = delays.frames - TimePath(0.0, 0.0, jumps=jumps).delay_at(delays.at)
    steps = max(round((len(delays.at) - 1) / _STEPS_A_KNOT), 1)
    course = _Course(delays.at, start, (stop - start) / steps, steps)
    weight = 1.0 / np.square(delays.uncertainty)
    for _ in range(_ROBUST_ROUNDS):
        stiffness, missed = _best_stiffness(course, smooth, weight)
        weight = _weight(missed, delays.uncertainty)
    line, left = _line(delays.at, smooth, weight)
    coefficients = course.fit(left, weight, stiffness)
    error = left - course.at(coefficients)
    if float(np.ptp(course.at(coefficients))) < _LEAST_WANDER_FRAMES:
        coefficients, error = np.zeros(0), left
    scatter = math.sqrt(float(np.mean(np.square(error / delays.uncertainty))))
    middle = float((weight * delays.at).sum() / weight.sum())
    spread = float((weight * np.square(delays.at - middle)).sum())
    seen = math.sqrt(float((weight * np.square(left)).sum()) / max(len(left) - 2, 1) / spread)
    stated = np.square(delays.uncertainty)
    told = 1.0 / math.sqrt(float((np.square(delays.at - middle) / stated).sum()))
    path = TimePath(
        line[0], line[1], float(start), course.step, tuple(coefficients.tolist()), jumps
    )
    return FittedPath(path, line[1], max(seen, told), scatter)


def _line(at: Array, frames: Array, weight: Array) -> tuple[tuple[float, float], Array]:
    """The straight line that fits best, and what it leaves."""
    middle = float((weight * at).sum() / weight.sum())
    height = float((weight * frames).sum() / weight.sum())
    spread = float((weight * np.square(at - middle)).sum())
    rise = float((weight * (at - middle) * (frames - height)).sum())
    slope = rise / spread if spread > 0.0 else 0.0
    offset = height - slope * middle
    return (offset, slope), frames - (height + slope * (at - middle))


def _weight(missed: Array, uncertainty: Array) -> Array:
    """Weights anew: a common scatter added to what was stated, what lies far off let go."""
    common = 1.4826 * float(np.median(np.abs(missed)))
    sigma = np.hypot(uncertainty, common)
    far = np.maximum(np.abs(missed) / sigma / _FAR_OFF, 1.0)
    far[:_AT_ENDS] = far[-_AT_ENDS:] = 1.0  # missed because nothing lies beyond them
    return np.asarray(1.0 / np.square(sigma * far))


def _best_stiffness(course: _Course, frames: Array, weight: Array) -> tuple[float, Array]:
    """The stiffest course that predicts measurements left out about as well as any.

    By how much it misses them comes with it.
    """
    best, by = math.inf, _missed(course, frames, weight, math.inf)
    if len(frames) < _FEWEST_FOR_WANDER:
        return best, by
    least = _BORNE_OUT * float((weight * np.square(by)).sum())
    for stiffness in _STIFFNESSES.tolist():
        missed = _missed(course, frames, weight, stiffness)
        score = float((weight * np.square(missed)).sum())
        if score < least:
            best, by, least = stiffness, missed, score
    return best, by


def _missed(course: _Course, frames: Array, weight: Array, stiffness: float) -> Array:
    """By how much each measurement is missed by a course laid through others."""
    folds = np.arange(len(frames)) % min(_FOLDS, len(frames))
    missed = np.zeros_like(frames)
    for fold in range(int(folds.max()) + 1):
        out = folds == fold
        kept = np.where(out, 0.0, weight)
        _, left = _line(course.frames, frames, kept)
        missed[out] = (left - course.at(course.fit(left, kept, stiffness)))[out]
    return missed


class _Course:
    """A spline on equal steps, fitted with its bends held down."""

    def __init__(self, frames: Array, start: float, step: float, steps: int) -> None:
        self.frames, self.step, self.steps = frames, step, steps
        self._index, self._weights = spline_weights(frames, start, step, steps)

    def at(self, coefficients: Array) -> Array:
        """Its height at the measurements."""
        if not len(coefficients):
            return np.zeros_like(self.frames)
        rows = self._index + np.arange(4)[:, None]
        return np.asarray((self._weights * coefficients[rows]).sum(axis=0))

    def fit(self, frames: Array, weight: Array, stiffness: float) -> Array:
        """Σ w (frames - s)² + stiffness Σ (second differences of the coefficients)², least."""
        if math.isinf(stiffness):
            return np.zeros(0)
        from scipy.linalg import solveh_banded

        many = self.steps + 3
        scaled = weight / weight.sum() * many
        band, right = np.zeros((4, many)), np.zeros(many)
        for i in range(4):
            np.add.at(right, self._index + i, scaled * self._weights[i] * frames)
            for j in range(i, 4):
                product = scaled * self._weights[i] * self._weights[j]
                np.add.at(band[j - i], self._index + i, product)
        bend = (1.0, -2.0, 1.0)
        for i in range(3):
            for j in range(i, 3):
                band[j - i, i : many - 2 + i] += stiffness * bend[i] * bend[j]
        band[0] += 1e-12
        return np.asarray(solveh_banded(band, right, lower=True), np.float64)
