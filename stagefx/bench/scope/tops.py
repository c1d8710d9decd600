"""What the tops of a square wave tell: overshoot, ringing, tilt."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from stagefx.bench.scope.spread import slopes_to_spread
from stagefx.bench.scope.tables import Array

_SEEN = 4.0
_LEAST_SHARE = 0.01
_ENOUGH_A_SWING, _SWINGS = 50.0, 60.0
"""Points that half a period needs, and half periods after which a ringing has told all."""
_ALWAYS_SKIPPED = 0.1
_STRAIGHT_TO = 5e-5
"""Share of a top's height below which no scope tells a tilt."""


@dataclass(frozen=True)
class Ringing:
    """A damped oscillation after an edge."""

    overshoot: float
    overshoot_doubt: float
    hz: float | None = None
    hz_doubt: float = 0.0
    damping: float | None = None
    damping_doubt: float = 0.0


def ringing(top: Array, height_v: float, interval_s: float, noise: float) -> Ringing | None:
    """Look for an overshoot, and for the ringing behind it."""
    if top.size < 12:
        return None
    beyond = _levelled(top) / height_v
    unsure = noise / abs(height_v)
    peak_at = int(np.argmax(beyond[: max(top.size // 2, 3)]))
    peak = float(beyond[peak_at])
    if peak < max(_SEEN * unsure + 2e-3, _LEAST_SHARE) or peak_at == 0:
        return None
    found = _fit_ringing((top - top[-1]) / height_v, peak_at, unsure)
    if found is None and not _comes_back(beyond, peak_at):
        return None
    if found is None:
        return Ringing(max(peak - unsure, 0.0), 1.5 * unsure + 0.1 * peak / max(peak_at, 1))
    turn, decay, spread, level = found
    angle, rate = math.hypot(turn, decay), 1.0 / (2.0 * math.pi * interval_s)
    damping = decay / angle
    return Ringing(
        level,
        unsure,
        turn * rate,
        rate * math.sqrt(spread[1, 1]),
        damping,
        math.sqrt(spread[0, 0]) / angle * (1.0 - damping**2),
    )


def _levelled(top: Array) -> Array:
    """What a top goes beyond the straight line through its later half: beyond its tilt."""
    half = top.size // 2
    n = np.arange(top.size, dtype=np.float64)
    slope, level = np.polyfit(n[half:], top[half:], 1)
    return np.asarray(top - level - slope * n)


def _comes_back(beyond: Array, peak_at: int) -> bool:
    """Whether a peak is over as soon as it came; what lasts is the bend of a tilt."""
    later = beyond[peak_at : 5 * peak_at + 4]
    return bool(later.min() < 0.5 * beyond[peak_at])


def _fit_ringing(
    risen: Array, peak_at: int, unsure: float
) -> tuple[float, float, Array, float] | None:
    """Angle and decay a point, their covariance, and the first peak; None where none is told."""
    from scipy.optimize import least_squares

    first = max(peak_at // 2, 1)
    y = risen[first:]
    t = np.arange(y.size, dtype=np.float64)
    above = _levelled(y) > 0.0
    crossed = np.flatnonzero(above[:-1] != above[1:])
    half = float(np.diff(crossed[:6]).mean()) if crossed.size > 3 else 2.0 * max(peak_at, 2)
    swing = max(half, 2.0 * peak_at)  # noise may cross the middle more often than ringing
    stride = max(int(swing / _ENOUGH_A_SWING), 1)
    whole = min(t.size, math.ceil(_SWINGS * swing)) // stride * stride
    t, y = (one[:whole].reshape(-1, stride).mean(axis=1) for one in (t, y))

    def basis(p: Array, at: Array) -> Array:
        fall = np.exp(-np.exp(p[0]) * at)
        turn = math.exp(p[1]) * at
        tilted = at / t[-1]
        return np.column_stack((np.ones_like(at), tilted, fall * np.cos(turn), fall * np.sin(turn)))

    def off(p: Array) -> Array:
        columns = basis(p, t)
        return np.asarray(columns @ np.linalg.lstsq(columns, y, rcond=None)[0] - y)

    found = None
    for guess in (half, float(2 * peak_at), 0.5 * half):
        for decays in (0.1, 0.4):
            angle = math.pi / max(guess, 1.5)
            start = np.log([decays * angle, angle])
            lowest = math.log(math.pi / t[-1])
            bounds = ([math.log(1e-4 * angle), lowest], [math.log(3.0 * angle), math.log(2.5)])
            begun = np.clip(start, *bounds)
            tried = least_squares(off, begun, bounds=bounds, max_nfev=60)
            if found is None or tried.cost < found.cost:
                found = tried
    assert found is not None
    misfit = math.sqrt(2.0 * float(found.cost) / max(t.size - 6, 1))
    decay, turn = (float(one) for one in np.exp(found.x))
    if decay > 1.5 * turn or misfit > max(3.0 * unsure, 0.1 * float(np.ptp(y))):
        return None
    scale = np.array([decay, turn])
    spread = slopes_to_spread(found.jac) * max(misfit, unsure) ** 2
    fine = np.linspace(0.0, min(1.2 * math.pi / turn, t[-1]), 400)
    weights = np.linalg.lstsq(basis(found.x, t), y, rcond=None)[0]
    peak = float((basis(found.x, fine)[:, 2:] @ weights[2:]).max())
    return turn, decay, spread * np.outer(scale, scale), peak


@dataclass(frozen=True)
class Tilt:
    """How the tops fall towards the middle."""

    decay_per_s: float
    doubt_per_s: float

    @property
    def seen(self) -> bool:
        """Whether it is more than its uncertainty leaves open."""
        return abs(self.decay_per_s) > 3.0 * self.doubt_per_s


def tilt_of(
    top: Array, middle_v: float, skip: float, interval_s: float, noise: float, step_v: float
) -> Tilt | None:
    """How one top falls towards a middle, as one bass corner makes it."""
    from scipy.optimize import least_squares

    first = math.ceil(max(skip, _ALWAYS_SKIPPED * top.size))
    last = top.size - math.ceil(max(0.02 * top.size, 0.3 * skip, 2.0))
    if last - first < max(10, 0.4 * top.size):
        return None
    t = np.arange(first, last) / top.size
    y = top[first:last] - middle_v
    height = abs(float(np.median(y)))
    if height == 0.0:
        return None

    def law(p: Array) -> Array:
        return np.asarray(p[0] * np.exp(-p[1] * t) - y)

    found = least_squares(law, [float(np.median(y)), 0.0], x_scale=[height, 0.1])
    misfit = max(math.sqrt(2.0 * float(found.cost) / (t.size - 2)), noise)
    spread = slopes_to_spread(found.jac)[1, 1] * misfit**2
    # steps that no noise smears shift both ends of a top by up to half of one
    rounding = step_v / math.sqrt(6.0) / height / (t[-1] - t[0])
    per_s = 1.0 / (top.size * interval_s)
    doubt = math.hypot(math.sqrt(spread), rounding, _STRAIGHT_TO)
    return Tilt(float(found.x[1]) * per_s, doubt * per_s)
