"""The steepest slope of the waveform between samples, by interpolation.

Index meanings
--------------
``steps`` : one channel; ``steps[n]`` leads from a sample to the next.
``gains`` : row q weights the 2 ``pairs`` steps around an instant, q quarters of the way from
    ``steps[i + pairs - 1]`` to the step after it.
``work`` : four rows of slopes, one a quarter, one column a frame and one more at either end.
``found`` : steepest rise, steepest fall (negative), per frame.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

QUARTERS = 4
MOST_BETWEEN = 1.0 / math.cos(math.pi / 8.0)
"""How far a sine below half the rate can rise above the nearest of four instants a frame."""


@jit
def crest(before: float, here: float, after: float) -> float:
    """Height of the crest near the highest of three instants, as if it were a sine's."""
    cosine = 0.5 * (before + after) / here
    sine2 = 1.0 - cosine * cosine
    if sine2 <= 1e-12:
        return here
    side = 0.5 * (after - before)
    return min(math.sqrt(here * here + side * side / sine2), MOST_BETWEEN * here)


@jit
def raise_slopes(
    steps: NDArray[np.float64],
    gains: NDArray[np.float64],
    largest_gain: float,
    work: NDArray[np.float64],
    found: NDArray[np.float64],
) -> int:
    """Look for steeper slopes, wherever the waveform could be steeper than so far."""
    taps, stretch = gains.shape[1], work.shape[1] - 2
    frames = steps.size - taps - 1
    looked_at = 0
    for begin in range(0, frames, stretch):
        length = min(stretch, frames - begin)
        highest, lowest = 0.0, 0.0
        for i in range(begin, begin + length + taps + 1):
            highest = max(highest, steps[i])
            lowest = min(lowest, steps[i])
        # a slope of either sign may be made of steps of both
        reach = largest_gain * max(highest, -lowest)
        if reach <= found[0] and -reach >= found[1]:
            continue
        looked_at += 1
        for q in range(4):
            row = work[q, : length + 2]
            row[:] = 0.0
            for k in range(taps):
                gain = gains[q, k]
                near = steps[begin + k : begin + k + length + 2]
                for i in range(length + 2):
                    row[i] += gain * near[i]
        for i in range(1, length + 1):
            for q in range(4):
                here = work[q, i]
                before = work[q - 1, i] if q > 0 else work[3, i - 1]
                after = work[q + 1, i] if q < 3 else work[0, i + 1]
                if here > 0.0 and before <= here >= after and MOST_BETWEEN * here > found[0]:
                    found[0] = max(found[0], crest(before, here, after))
                elif here < 0.0 and before >= here <= after and MOST_BETWEEN * here < found[1]:
                    found[1] = min(found[1], -crest(-before, -here, -after))
    return looked_at
