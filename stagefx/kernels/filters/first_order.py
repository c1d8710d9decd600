"""A first-order recursive section along one channel: a coupling capacitor's corner."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]

STATE = 8
"""Values of a state: the last four samples, then the last four results."""
SETTLED = 1e-150
"""Below this a decaying state is taken as zero, long before it becomes denormal and slow."""
_SETTLING = 1e-100
"""Below this a state is looked at after every frame, above it only now and then."""
_FRAMES_AT_ONCE = 64
_TILE_FRAMES = 1024


@jit
def _recur(y: Array, start: int, stop: int, pole: float) -> None:
    """Add to each of some results the pole's power times the result four frames before it."""
    y0, y1, y2, y3 = y[start - 4], y[start - 3], y[start - 2], y[start - 1]
    whole = start + (stop - start) // 4 * 4
    if max(abs(y0), abs(y1), abs(y2), abs(y3)) < _SETTLING:
        whole = start
    for n in range(start, whole, 4):
        y0, y1 = y[n] + pole * y0, y[n + 1] + pole * y1
        y2, y3 = y[n + 2] + pole * y2, y[n + 3] + pole * y3
        y[n], y[n + 1], y[n + 2], y[n + 3] = y0, y1, y2, y3
    for n in range(whole, stop):
        now = y[n] + pole * y[n - 4]
        y[n] = now if abs(now) >= SETTLED else 0.0


@jit
def first_order(x: Array, coefficients: Array, state: Array, y: Array) -> int:
    """Filter a channel with one pole and one zero.

    y[n] = b0 (x[n] - z x[n-1]) + p y[n-1]

    Each result comes from the one four frames before, so that four of them are worked out at once:
    y[n] = u[n] + p u[n-1] + p² u[n-2] + p³ u[n-3] + p⁴ y[n-4] with u[n] = b0 (x[n] - z x[n-1]).
    """
    b0, zero, pole = coefficients[0], coefficients[1], coefficients[2]
    b1 = b0 * (pole - zero)
    b2, b3, b4 = b1 * pole, b1 * pole * pole, -b0 * zero * pole * pole * pole
    far = pole * pole * pole * pole
    frames = x.size
    for n in range(min(4, frames)):
        x1 = x[n - 1] if n >= 1 else state[3 + n]
        x2 = x[n - 2] if n >= 2 else state[2 + n]
        x3 = x[n - 3] if n >= 3 else state[1 + n]
        now = (((b4 * state[n] + b3 * x3) + b2 * x2) + b1 * x1) + b0 * x[n]
        now = now + far * state[4 + n]
        y[n] = now if abs(now) >= SETTLED else 0.0
    for start in range(4, frames, _TILE_FRAMES):
        tile = y[start : start + _TILE_FRAMES]
        count = tile.size
        x0, x1s = x[start : start + count], x[start - 1 : start - 1 + count]
        x2s, x3s = x[start - 2 : start - 2 + count], x[start - 3 : start - 3 + count]
        x4s = x[start - 4 : start - 4 + count]
        for n in range(count):
            early = ((b4 * x4s[n] + b3 * x3s[n]) + b2 * x2s[n]) + b1 * x1s[n]
            tile[n] = early + b0 * x0[n]
        for first in range(start, start + count, _FRAMES_AT_ONCE):
            _recur(y, first, min(first + _FRAMES_AT_ONCE, start + count), far)
    for j in range(4):
        earlier = frames - 4 + j
        state[j] = x[earlier] if earlier >= 0 else state[j + frames]
    for j in range(4):
        earlier = frames - 4 + j
        state[4 + j] = y[earlier] if earlier >= 0 else state[4 + j + frames]
    return frames
