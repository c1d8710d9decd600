"""Rounding to whole steps of an integer format, with triangular dither.

Index meanings
--------------
``samples``, ``codes`` : one channel after the other within a frame, frame after frame.
``halves`` : two independent 16-bit draws for every sample, or empty for no dither.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit


@jit
def round_to_steps(
    samples: NDArray[np.float64],
    halves: NDArray[np.uint16],
    steps: float,
    codes: NDArray[np.int32],
) -> int:
    """Round samples to the nearest step after adding dither of plus or minus one step."""
    dithered = halves.size > 0
    highest = steps - 1.0
    overs = 0
    for i in range(samples.size):
        x = samples[i] * steps
        if abs(x) > steps:
            overs += 1
        if dithered:
            x += (float(halves[2 * i]) - float(halves[2 * i + 1])) * (1.0 / 65536.0)
        code = np.floor(x + 0.5)  # a float still: beyond int32 a conversion has no defined value
        if code > highest:
            code = highest
        elif code < -steps:
            code = -steps
        codes[i] = np.int32(code)
    return overs
