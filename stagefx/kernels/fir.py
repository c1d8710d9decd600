"""A short convolution along one channel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]

TILE_FRAMES = 1024


@jit
def convolve(x: Array, taps: Array, y: Array) -> int:
    """Convolve a channel with a short impulse response.

    y[n] = sum over k of taps[k] x[n + K - 1 - k], taken in the order of k

    Parameters
    ----------
    x : float64 array [frames + K - 1]
        Samples, with the K - 1 before the first frame in front.
    taps : float64 array [K], K a multiple of 8
        Impulse response.
    y : float64 array [frames]
        Overwritten with the result.

    Returns
    -------
    int
        Frames written.

    Notes
    -----
    Each output is summed in the order of the taps, whatever the block, so blocks of any size
    give the same bits.  The loop over frames is innermost, where it vectorises without
    re-association; tiles keep it in the nearest cache.
    """
    frames, length = y.size, taps.size
    for start in range(0, frames, TILE_FRAMES):
        tile = y[start : start + TILE_FRAMES]
        count = tile.size
        for n in range(count):
            tile[n] = 0.0
        for k in range(0, length, 8):
            h0, h1, h2, h3 = taps[k], taps[k + 1], taps[k + 2], taps[k + 3]
            h4, h5, h6, h7 = taps[k + 4], taps[k + 5], taps[k + 6], taps[k + 7]
            first = start + length - 1 - k
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
    return frames
