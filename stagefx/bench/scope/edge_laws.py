"""The shapes of an edge: a slew limit before a pole, and a linear second-order low-pass."""

from __future__ import annotations

import math

import numpy as np

from stagefx.bench.scope.tables import Array

_FAR = 30.0
_GRID = np.linspace(0.0, 1.0, 4001)


def slewing_edge(t: Array, rise_time_s: float, drive: float) -> Array:
    """A step through an amplifier that slews first and settles with one pole.

    1 - asinh(sinh(d) exp(-t/tau)) / d, the held-input step of dv/dt = S tanh((u - v)/(S tau))
    """
    tau = slewing_constant_s(rise_time_s, drive)
    x = np.maximum(t, 0.0) / tau
    log_sinh = drive - math.log(2.0) + math.log1p(-math.exp(-2.0 * drive)) - x
    left = np.where(
        log_sinh > _FAR, log_sinh + math.log(2.0), np.arcsinh(np.exp(np.minimum(log_sinh, _FAR)))
    )
    return np.asarray(1.0 - left / drive)


def slewing_constant_s(rise_time_s: float, drive: float) -> float:
    """The small-signal time constant behind a slewing edge."""
    span = 0.8 * drive + math.log1p(-math.exp(-1.8 * drive)) - math.log1p(-math.exp(-0.2 * drive))
    return rise_time_s / span


def second_order_step(x: Array, damping: float) -> Array:
    """The step response of a second-order low-pass."""
    x = np.maximum(x, 0.0)
    if abs(damping - 1.0) < 1e-6:
        return np.asarray(1.0 - (1.0 + x) * np.exp(-x))
    if damping < 1.0:
        w = math.sqrt(1.0 - damping**2)
        return np.asarray(
            1.0 - np.exp(-damping * x) * (np.cos(w * x) + damping / w * np.sin(w * x))
        )
    w = math.sqrt(damping**2 - 1.0)
    slow, fast = damping - w, damping + w
    return np.asarray(1.0 - (fast * np.exp(-slow * x) - slow * np.exp(-fast * x)) / (fast - slow))


def second_order_rise(damping: float) -> float:
    """Rise time of a second-order low-pass, times its natural frequency."""
    x = _GRID * (5.0 + 6.0 * damping)
    y = second_order_step(x, damping)
    return _first(x, y, 0.9) - _first(x, y, 0.1)


def _first(x: Array, y: Array, level: float) -> float:
    at = int(np.argmax(y >= level))
    share = float((level - y[at - 1]) / (y[at] - y[at - 1]))
    return float(x[at - 1] + share * (x[at] - x[at - 1]))


def second_order_edge(t: Array, rise_time_s: float, damping: float) -> Array:
    """A step through a second-order low-pass, by its rise time."""
    return second_order_step(t * (second_order_rise(damping) / rise_time_s), damping)
