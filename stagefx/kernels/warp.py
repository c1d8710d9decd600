"""Reading a piece at positions between its frames, each by a weighted sum of the frames around.

Index meanings
--------------
``samples`` : row c is channel c.
``positions`` : where to read, on the scale of the columns of ``samples``.
``table`` : row r weights the frames around a point r / (rows - 1) of a frame behind the nearest
    frame before it, that frame in the middle column less one.
``work`` : row 0 the weights of one point, row 1 its products with the frames around.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]


@jit
def read_at(samples: Array, positions: Array, table: Array, work: Array, read: Array) -> int:
    """Read every channel at positions between its frames.

    y[c, n] = sum over k of w[k] x[c, i - K/2 + 1 + k], i the whole and f the broken part of
    position n, w the line between the two rows of the table that f lies between

    Products are summed in halves, always of the same frames: a point comes out the same, bit for
    bit, whatever stands beside it.
    """
    rows, length = table.shape
    channels = samples.shape[0]
    cells = rows - 1
    weights, products = work[0], work[1]
    for n in range(positions.size):
        whole = math.floor(positions[n])
        place = (positions[n] - whole) * cells
        row = min(int(place), cells - 1)
        rest = place - row
        lower, upper = table[row], table[row + 1]
        for k in range(length):
            weights[k] = lower[k] + rest * (upper[k] - lower[k])
        first = int(whole) - length // 2 + 1
        for c in range(channels):
            x = samples[c, first : first + length]
            for k in range(length):
                products[k] = weights[k] * x[k]
            many = length
            while many % 2 == 0:
                many //= 2
                for k in range(many):
                    products[k] += products[many + k]
            total = 0.0
            for k in range(many):
                total += products[k]
            read[c, n] = total
    return positions.size
