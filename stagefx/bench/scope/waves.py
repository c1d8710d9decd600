"""A trace as a sine that may be clipped, and as a wave of straight edges."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from stagefx.bench.scope.crossings import Crossing
from stagefx.bench.scope.spread import slopes_to_spread
from stagefx.bench.scope.tables import Array

_WORTH = 0.95
"""Share of a sine's misfit that two clip levels must bring it down to, to be believed."""


@dataclass(frozen=True)
class Sine:
    """A sine between clip levels."""

    amplitude_v: float
    middle_v: float
    turn: float
    high_v: float
    low_v: float
    misfit_v: float
    doubts: Array

    @property
    def over_high_v(self) -> float:
        """What is clipped off at the top."""
        return self.middle_v + self.amplitude_v - self.high_v

    @property
    def over_low_v(self) -> float:
        """What is clipped off at the bottom."""
        return self.low_v - self.middle_v + self.amplitude_v


def fit_sine(volts: Array, period: float, noise: float) -> Sine:
    """Fit a sine that may be clipped.

    IEEE Std 1057: the four-parameter sine fit, here with clip levels (from memory).
    """
    plain = _plain(volts, period, noise)
    if plain.misfit_v < 1e-6 * float(np.ptp(volts)):
        return plain
    clipped = _clipped(volts, plain, noise)
    return clipped if clipped.misfit_v < _WORTH * plain.misfit_v else plain


def _plain(volts: Array, period: float, noise: float) -> Sine:
    from scipy.optimize import least_squares

    n = np.arange(volts.size, dtype=np.float64)

    def parts(turn: float) -> tuple[Array, Array]:
        basis = np.column_stack((np.ones_like(n), np.cos(turn * n), np.sin(turn * n)))
        return basis, np.linalg.lstsq(basis, volts, rcond=None)[0]

    def off(p: Array) -> Array:
        basis, weights = parts(float(p[0]))
        return np.asarray(basis @ weights - volts)

    start = 2.0 * math.pi / period
    found = least_squares(off, [start], x_scale=[1.0 / volts.size])
    basis, weights = parts(float(found.x[0]))
    misfit = max(math.sqrt(2.0 * float(found.cost) / max(volts.size - 4, 1)), 1e-300)
    level = max(misfit, noise)
    spread = np.sqrt(np.diag(np.linalg.pinv(basis.T @ basis))) * level
    turning = level / max(float(np.linalg.norm(np.asarray(found.jac))), 1e-300)
    size, middle = math.hypot(weights[1], weights[2]), float(weights[0])
    doubts = np.array(
        [spread[1], spread[0], turning, math.hypot(spread[0], spread[1]),
         math.hypot(spread[0], spread[1])]
    )  # fmt: skip
    return Sine(size, middle, float(found.x[0]), middle + size, middle - size, misfit, doubts)


def _clipped(volts: Array, plain: Sine, noise: float) -> Sine:
    from scipy.optimize import least_squares

    n = np.arange(volts.size, dtype=np.float64)
    high, low = (float(one) for one in np.percentile(volts, [98.0, 2.0]))
    middle, half = 0.5 * (high + low), 0.5 * (high - low)
    phase = _phase(volts, plain)

    def off(p: Array) -> Array:
        wave = p[1] + p[0] * np.sin(p[2] * n + p[3])
        return np.asarray(np.clip(wave, p[5], p[4]) - volts)

    scale = [half, half, 1.0 / volts.size, 0.1, half, half]
    found = None
    for over in (1.1, 1.6, 3.0):
        start = [over * half, middle, plain.turn, phase, high, low]
        tried = least_squares(off, start, x_scale=scale, max_nfev=120)
        if found is None or tried.cost < found.cost:
            found = tried
    assert found is not None
    misfit = max(math.sqrt(2.0 * float(found.cost) / max(volts.size - 6, 1)), 1e-300)
    spread = slopes_to_spread(found.jac) * max(misfit, noise) ** 2
    a, m, turn, _, top, bottom = (float(one) for one in found.x)
    doubts = np.sqrt(np.maximum(np.diag(spread), 0.0))[[0, 1, 2, 4, 5]]
    return Sine(abs(a), m, turn, min(top, m + abs(a)), max(bottom, m - abs(a)), misfit, doubts)


def _phase(volts: Array, plain: Sine) -> float:
    n = np.arange(volts.size, dtype=np.float64)
    basis = np.column_stack((np.ones_like(n), np.sin(plain.turn * n), np.cos(plain.turn * n)))
    weights = np.linalg.lstsq(basis, volts, rcond=None)[0]
    return math.atan2(weights[2], weights[1])


@dataclass(frozen=True)
class Straight:
    """A wave whose edges are straight lines between two levels."""

    high_v: float
    low_v: float
    rise: float
    fall: float
    misfit_v: float
    doubts: Array

    @property
    def edge_points(self) -> float:
        """How long the longer of rise and fall lasts."""
        return (self.high_v - self.low_v) / min(self.rise, self.fall)


def fit_straight(volts: Array, found: tuple[Crossing, ...], noise: float) -> Straight:
    """Fit straight edges between two levels: a slewing square wave, or a triangle."""
    from scipy.optimize import least_squares

    low, high = float(volts.min()), float(volts.max())
    span = high - low
    n = np.arange(volts.size, dtype=np.float64)
    places = np.array([one.place for one in found])
    nearest = np.abs(n[:, None] - places[None, :]).argmin(axis=1)
    usual = float(np.median(np.diff(places)))
    # what lies before the first crossing and after the last belongs to edges that are cut off
    near = np.abs(n - places[nearest]) <= 0.5 * usual
    away, seen = (n - places[nearest])[near], volts[near]
    rises = np.array([one.rises for one in found])[nearest][near]

    def off(p: Array) -> Array:
        slope = np.where(rises, p[2], -p[3])
        return np.asarray(np.clip(0.5 * (low + high) + slope * away, p[1], p[0]) - seen)

    scale = [span, span, span / usual, span / usual]
    best = None
    for share in (1.0, 0.4):
        slope = span / (share * usual)
        tried = least_squares(off, [high, low, slope, slope], x_scale=scale, max_nfev=80)
        if best is None or tried.cost < best.cost:
            best = tried
    assert best is not None
    misfit = math.sqrt(2.0 * float(best.cost) / max(seen.size - 4, 1))
    spread = slopes_to_spread(best.jac) * max(misfit, noise) ** 2
    high_v, low_v, rise, fall = (float(one) for one in best.x)
    doubts = np.sqrt(np.maximum(np.diag(spread), 0.0))
    return Straight(high_v, low_v, rise, fall, misfit, doubts)
