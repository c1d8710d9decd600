"""The treble of the A weighting: two poles and three zeros on every channel.

Index meanings
--------------
``law`` : b0, b1, b2, b3, a1, a2.
``state`` : a row for each channel: its three memories.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

_NEGLIGIBLE = 1e-30
"""A decaying memory below this is set to zero before it becomes slow to work with."""


@jit
def filter_treble(
    block: NDArray[np.float64],
    law: NDArray[np.float64],
    state: NDArray[np.float64],
    filtered: NDArray[np.float64],
) -> int:
    """Filter a block.

    ``y[n] = Σ b_k x[n - k] - a1 y[n - 1] - a2 y[n - 2]``
    """
    b0, b1, b2, b3, a1, a2 = law[0], law[1], law[2], law[3], law[4], law[5]
    frames = len(block)
    last = block.shape[1] - 1
    # Two channels at a time, for each sample waits for the one before it; an odd last one twice.
    for left in range(0, block.shape[1], 2):
        right = min(left + 1, last)
        s1, s2, s3 = state[left, 0], state[left, 1], state[left, 2]
        u1, u2, u3 = state[right, 0], state[right, 1], state[right, 2]
        for i in range(frames):
            x, p = block[i, left], block[i, right]
            y, q = b0 * x + s1, b0 * p + u1
            s1, u1 = (b1 * x + s2) - a1 * y, (b1 * p + u2) - a1 * q
            s2, u2 = (b2 * x + s3) - a2 * y, (b2 * p + u3) - a2 * q
            s3, u3 = b3 * x, b3 * p
            filtered[i, left], filtered[i, right] = y, q
        state[left, 0] = 0.0 if abs(s1) < _NEGLIGIBLE else s1
        state[left, 1] = 0.0 if abs(s2) < _NEGLIGIBLE else s2
        state[left, 2] = s3
        state[right, 0] = 0.0 if abs(u1) < _NEGLIGIBLE else u1
        state[right, 1] = 0.0 if abs(u2) < _NEGLIGIBLE else u2
        state[right, 2] = u3
    return frames
