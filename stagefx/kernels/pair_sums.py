"""Sums over two pieces side by side: squares and products of frames, and of spectra."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]


@jit
def add_squares(first: Array, second: Array, gain: float, sums: Array, more: Array) -> int:
    """Sum squares and products of a piece and of what a second has more at its gain.

    more = second / gain - first;  sums += Σ first², Σ first more, Σ more²
    """
    frames, channels = len(second), len(sums[0])
    for channel in range(channels):
        power, across, difference = 0.0, 0.0, 0.0
        for n in range(frames):
            x = first[n, channel]
            d = second[n, channel] / gain - x
            more[n, channel] = d
            power += x * x
            across += x * d
            difference += d * d
        sums[0, channel] += power
        sums[1, channel] += across
        sums[2, channel] += difference
    return frames


@jit
def add_spectra(x: Array, y: Array, powers: Array, products: Array) -> int:
    """Sum powers and products of the spectra of two segments, seen through a raised cosine.

    A raised cosine, and its slope, are sums of three lines: X[k] / 2 - (X[k-1] + X[k+1]) / 4, and
    (X[k-1] - X[k+1]) / 2i.
    """
    lines = len(x)
    for k in range(lines):
        low, high = k - 1, k + 1
        low_sign, high_sign = 1.0, 1.0
        if k == 0:
            low, low_sign = 1, -1.0
        if k == lines - 1:
            high, high_sign = lines - 2, -1.0
        below, above = low_sign * x[low, 1], high_sign * x[high, 1]
        xr = 0.5 * x[k, 0] - 0.25 * (x[low, 0] + x[high, 0])
        xi = 0.5 * x[k, 1] - 0.25 * (below + above)
        yr = 0.5 * y[k, 0] - 0.25 * (y[low, 0] + y[high, 0])
        yi = 0.5 * y[k, 1] - 0.25 * (low_sign * y[low, 1] + high_sign * y[high, 1])
        sr = 0.5 * (below - above)
        si = -0.5 * (x[low, 0] - x[high, 0])
        powers[0, k] += xr * xr + xi * xi
        powers[1, k] += yr * yr + yi * yi
        powers[2, k] += sr * sr + si * si
        products[0, k, 0] += xr * yr + xi * yi
        products[0, k, 1] += xr * yi - xi * yr
        products[1, k, 0] += xr * sr + xi * si
        products[1, k, 1] += xr * si - xi * sr
        products[2, k, 0] += sr * yr + si * yi
        products[2, k, 1] += sr * yi - si * yr
    return lines
