"""The highest point of the waveform between samples, by interpolation.

Index meanings
--------------
``samples`` : one channel; the instants looked at lie between ``samples[i + pairs - 1]`` and
    ``samples[i + pairs]``.
``pair_gains`` : row 0 the halfway instant, row 1 the even and row 2 the odd part of the quarter
    instants; column k weights the pair of samples k steps away on either side.
``work`` : three rows of partial results.
``peak`` : one value, the highest so far.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit


@jit
def raise_peak(
    samples: NDArray[np.float64],
    pair_gains: NDArray[np.float64],
    largest_gain: float,
    quarters: int,
    work: NDArray[np.float64],
    peak: NDArray[np.float64],
) -> int:
    """Look between samples, wherever the waveform could rise above the highest point so far."""
    pairs, stretch = pair_gains.shape[1], work.shape[1]
    instants = samples.size - 2 * pairs + 1
    looked_at = 0
    for begin in range(0, instants, stretch):
        length = min(stretch, instants - begin)
        largest = 0.0
        for i in range(begin, begin + length + 2 * pairs - 1):
            x = abs(samples[i])
            if x > largest:
                largest = x
        if largest * largest_gain <= peak[0]:
            continue
        looked_at += 1
        # Rows taken out, so that the compiler sees that the inner loops touch nothing else.
        at_half, even_part, odd_part = work[0, :length], work[1, :length], work[2, :length]
        at_half[:], even_part[:], odd_part[:] = 0.0, 0.0, 0.0
        for k in range(pairs):
            left = begin + pairs - 1 - k
            right = begin + pairs + k
            before, after = samples[left : left + length], samples[right : right + length]
            half, even, odd = pair_gains[0, k], pair_gains[1, k], pair_gains[2, k]
            for i in range(length):
                a, b = before[i], after[i]
                at_half[i] += half * (a + b)
                even_part[i] += even * (a + b)
                odd_part[i] += odd * (a - b)
        highest = peak[0]
        for i in range(length):
            y = abs(at_half[i])
            if quarters:
                y = max(y, abs(even_part[i] + odd_part[i]), abs(even_part[i] - odd_part[i]))
            if y > highest:
                highest = y
        peak[0] = highest
    return looked_at
