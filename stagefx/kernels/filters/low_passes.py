"""First-order low-passes side by side along one channel: what a slow filter remembers.

``z[n, k] = z[n - 1, k] + q[k] (x[n] - z[n - 1, k])``: written so, each state is rounded by its own
size and not by that of the samples, and sums over states keep the recursion to the last digits.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]

SETTLED = 1e-150
"""Below this a decaying state is taken as zero, long before it becomes denormal and slow."""
_FRAMES_AT_ONCE = 64


@jit
def settle(state: Array) -> int:
    """Take what has decayed for nothing."""
    awake = 0
    for k in range(state.size):
        if abs(state[k]) < SETTLED:
            state[k] = 0.0
        else:
            awake += 1
    return awake


@jit
def _add_rows(weights: Array, rows: Array, to: Array) -> int:
    """to[j] += Σ weights[i] rows[i, j], for a multiple of 8 rows."""
    for i in range(0, weights.size, 8):
        a, b, c, d = weights[i], weights[i + 1], weights[i + 2], weights[i + 3]
        e, f, g, h = weights[i + 4], weights[i + 5], weights[i + 6], weights[i + 7]
        r0, r1, r2, r3 = rows[i], rows[i + 1], rows[i + 2], rows[i + 3]
        r4, r5, r6, r7 = rows[i + 4], rows[i + 5], rows[i + 6], rows[i + 7]
        for j in range(to.size):
            early = (a * r0[j] + b * r1[j]) + (c * r2[j] + d * r3[j])
            late = (e * r4[j] + f * r5[j]) + (g * r6[j] + h * r7[j])
            to[j] += early + late
    return weights.size


@jit
def low_passes(x: Array, shares: Array, state: Array, z: Array) -> int:
    """Pass a channel through several low-passes at once."""
    count = shares.size
    for start in range(0, x.size, _FRAMES_AT_ONCE):
        for n in range(start, min(start + _FRAMES_AT_ONCE, x.size)):
            now = x[n]
            for k in range(count):
                state[k] += shares[k] * (now - state[k])
                z[n, k] = state[k]
        settle(state)
    return x.size


@jit
def pass_by(x: Array, table: Array, state: Array) -> int:
    """Bring low-passes forward over frames at which nobody asks for them.

    z[n + m] = kept z[n] + Σ of table[i] x[n + 1 + i], m frames at a time
    """
    many, count = table.shape[0] - 1, table.shape[1]
    for start in range(0, x.size, many):
        for k in range(count):
            state[k] *= table[many, k]
        _add_rows(x[start : start + many], table[:many], state)
        settle(state)
    return x.size


@jit
def add_low_passes(
    x: Array, table: Array, reach: Array, near: Array, state: Array, y: Array
) -> int:
    """Add several low-passes, each by its weight, to a channel.

    y[n] += Σ weights[k] z[n, k], m frames at a time: what the states come to in them, and what
    the frames themselves do to each other.
    """
    many, count = table.shape[0] - 1, table.shape[1]
    for start in range(0, x.size, many):
        now, out = x[start : start + many], y[start : start + many]
        _add_rows(state, reach, out)
        _add_rows(now, near, out)
        for k in range(count):
            state[k] *= table[many, k]
        _add_rows(now, table[:many], state)
        settle(state)
    return x.size


@jit
def low_pass_products(x: Array, more: Array, shares: Array, state: Array, sums: Array) -> int:
    """Sum the products of several low-passes with their channel and with another."""
    count = shares.size
    own, across, plain = sums[0], sums[1], sums[2]
    for start in range(0, x.size, _FRAMES_AT_ONCE):
        for n in range(start, min(start + _FRAMES_AT_ONCE, x.size)):
            now, other = x[n], more[n]
            for k in range(count):
                z = state[k] + shares[k] * (now - state[k])
                state[k] = z
                own[k] += z * now
                across[k] += z * other
                plain[k] += z
        settle(state)
    return x.size
