"""K weighting: two second-order sections in a row, and the energy that comes out step by step.

Index meanings
--------------
``sections`` : row 0 the shelf, row 1 the high-pass; each b0, b1, b2, a1, a2.
``state`` : a row for each channel: the shelf's two memories, the high-pass's two, and the energy
    of the step that is not complete yet.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

_NEGLIGIBLE = 1e-30
"""A decaying memory below this is set to zero before it becomes slow to work with."""


@jit
def weighted_energy(
    block: NDArray[np.float64],
    first_frame: int,
    rate_hz: int,
    steps_per_second: int,
    sections: NDArray[np.float64],
    state: NDArray[np.float64],
    energy: NDArray[np.float64],
) -> int:
    """Filter a block and sum the squares of what comes out over every step of time."""
    b0, b1, b2 = sections[0, 0], sections[0, 1], sections[0, 2]
    a1, a2 = sections[0, 3], sections[0, 4]
    d0, d1, d2 = sections[1, 0], sections[1, 1], sections[1, 2]
    c1, c2 = sections[1, 3], sections[1, 4]
    frames = len(block)
    # The first step that ends after first_frame.
    first_step = ((first_frame + 1) * steps_per_second - 1) // rate_hz
    completed = 0
    last = block.shape[1] - 1
    # Two channels at a time, for each sample waits for the one before it; an odd last one twice.
    for left in range(0, block.shape[1], 2):
        right = min(left + 1, last)
        s1, s2, t1, t2 = state[left, 0], state[left, 1], state[left, 2], state[left, 3]
        u1, u2, v1, v2 = state[right, 0], state[right, 1], state[right, 2], state[right, 3]
        left_total, right_total = state[left, 4], state[right, 4]
        completed = 0
        begin = 0
        while begin < frames:
            end = (first_step + completed + 1) * rate_hz // steps_per_second - first_frame
            for i in range(begin, min(end, frames)):
                x, p = block[i, left], block[i, right]
                y, q = b0 * x + s1, b0 * p + u1
                s1, u1 = (b1 * x + s2) - a1 * y, (b1 * p + u2) - a1 * q
                s2, u2 = b2 * x - a2 * y, b2 * p - a2 * q
                z, r = d0 * y + t1, d0 * q + v1
                t1, v1 = (d1 * y + t2) - c1 * z, (d1 * q + v2) - c1 * r
                t2, v2 = d2 * y - c2 * z, d2 * q - c2 * r
                left_total += z * z
                right_total += r * r
            if end <= frames:
                energy[left, completed], energy[right, completed] = left_total, right_total
                completed += 1
                left_total, right_total = 0.0, 0.0
                s1 = 0.0 if abs(s1) < _NEGLIGIBLE else s1
                s2 = 0.0 if abs(s2) < _NEGLIGIBLE else s2
                t1 = 0.0 if abs(t1) < _NEGLIGIBLE else t1
                t2 = 0.0 if abs(t2) < _NEGLIGIBLE else t2
                u1 = 0.0 if abs(u1) < _NEGLIGIBLE else u1
                u2 = 0.0 if abs(u2) < _NEGLIGIBLE else u2
                v1 = 0.0 if abs(v1) < _NEGLIGIBLE else v1
                v2 = 0.0 if abs(v2) < _NEGLIGIBLE else v2
            begin = end
        state[left, 0], state[left, 1], state[left, 2], state[left, 3] = s1, s2, t1, t2
        state[right, 0], state[right, 1], state[right, 2], state[right, 3] = u1, u2, v1, v2
        state[left, 4], state[right, 4] = left_total, right_total
    return completed
