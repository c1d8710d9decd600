"""A short convolution along one channel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]

Single = NDArray[np.float32]

TILE_FRAMES = 1024
GROUP = 8
"""Taps that are worked on at once; numbers of taps are multiples of it."""
SMALLEST_SINGLE = 1e-30
"""Below this a sample counts as 0 in single precision, which would soon be denormal and slow."""


@jit
def _add_group(
    x: Array | Single, first: int, taps: Array | Single, k: int, tile: Array | Single
) -> None:
    """Add what eight taps from k on make of the samples from `first` on, backwards."""
    count = tile.size
    h0, h1, h2, h3 = taps[k], taps[k + 1], taps[k + 2], taps[k + 3]
    h4, h5, h6, h7 = taps[k + 4], taps[k + 5], taps[k + 6], taps[k + 7]
    x0 = x[first : first + count]
    x1 = x[first - 1 : first - 1 + count]
    x2 = x[first - 2 : first - 2 + count]
    x3 = x[first - 3 : first - 3 + count]
    x4 = x[first - 4 : first - 4 + count]
    x5 = x[first - 5 : first - 5 + count]
    x6 = x[first - 6 : first - 6 + count]
    x7 = x[first - 7 : first - 7 + count]
    for n in range(count):
        early = (((tile[n] + h0 * x0[n]) + h1 * x1[n]) + h2 * x2[n]) + h3 * x3[n]
        tile[n] = (((early + h4 * x4[n]) + h5 * x5[n]) + h6 * x6[n]) + h7 * x7[n]


@jit
def convolve(x: Array, taps: Array, y: Array) -> int:
    """Convolve a channel with a short impulse response.

    y[n] = sum over k of taps[k] x[n + K - 1 - k], taken in the order of k

    Each output is summed in the order of the taps, whatever the block, so blocks of any size
    give the same bits.  The loop over frames is innermost, where it vectorises without
    re-association; tiles keep it in the nearest cache.
    """
    frames, length = y.size, taps.size
    for start in range(0, frames, TILE_FRAMES):
        tile = y[start : start + TILE_FRAMES]
        for n in range(tile.size):
            tile[n] = 0.0
        for k in range(0, length, GROUP):
            _add_group(x, start + length - 1 - k, taps, k, tile)
    return frames


@jit
def convolve_by_size(
    x: Array, large: Array, first: int, small: Single, single: Single, work: Single, y: Array
) -> int:
    """Convolve as `convolve` does, but with the small taps in single precision.

    Single precision is twice as fast, and errs by some 1e-7 of what the small taps contribute.
    """
    frames, length = y.size, small.size
    for n in range(x.size):
        single[n] = x[n] if abs(x[n]) >= SMALLEST_SINGLE else 0.0
    for start in range(0, frames, TILE_FRAMES):
        tile = y[start : start + TILE_FRAMES]
        part = work[: tile.size]
        for n in range(part.size):
            part[n] = 0.0
        for k in range(0, length, GROUP):
            if not first <= k < first + large.size:
                _add_group(single, start + length - 1 - k, small, k, part)
        for n in range(tile.size):
            tile[n] = part[n]
        for k in range(0, large.size, GROUP):
            _add_group(x, start + length - 1 - first - k, large, k, tile)
    return frames
