"""A first-order recursive section along one channel: a coupling capacitor's corner."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]

SETTLED = 1e-150
"""Below this a decaying state is taken as zero, long before it becomes denormal and slow."""
_SETTLING = 1e-100
"""Below this a state is looked at after every frame, above it only now and then."""
_FRAMES_AT_ONCE = 64


@jit
def first_order(x: Array, coefficients: Array, state: Array, y: Array) -> int:
    """Filter a channel with one pole and one zero.

    y[n] = b0 (x[n] - z x[n-1]) + p y[n-1]

    Parameters
    ----------
    x : float64 array [frames]
        Samples.
    coefficients : float64 array [3]
        b0, z, p.
    state : float64 array [2]
        x[-1], y[-1]; left as after the last frame.
    y : float64 array [frames]
        Overwritten with the result; may be `x` itself.

    Returns
    -------
    int
        Frames written.
    """
    b0, zero, pole = coefficients[0], coefficients[1], coefficients[2]
    last_x, last_y = state[0], state[1]
    for start in range(0, x.size, _FRAMES_AT_ONCE):
        stop = min(start + _FRAMES_AT_ONCE, x.size)
        settling = abs(last_y) < _SETTLING
        for n in range(start, stop):
            now = x[n]
            last_y = b0 * (now - zero * last_x) + pole * last_y
            if settling and abs(last_y) < SETTLED:
                last_y = 0.0
            last_x = now
            y[n] = last_y
    state[0], state[1] = last_x, last_y
    return x.size
