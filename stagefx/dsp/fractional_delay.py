"""Reading between the frames: audio moved in time by any amount.

A delay by whole frames only reads elsewhere and changes no sample.  A fraction of a frame is
band-limited interpolation, ``y(t) = Σ x[m] w(t - m) sin(π (t - m)) / (π (t - m))``, with a Kaiser
window w over 257 frames.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.blocks import as_block

REACH_FRAMES = 128
"""How far the interpolation looks to either side."""
_KAISER_BETA = 15.6
"""Kaiser's formula for 150 dB: 0.1102 (150 - 8.7)."""
_LONGEST = 1 << 14
"""Frames transformed at a time, so that they stay in a processor's cache."""


def whole_and_fraction(delay_frames: float) -> tuple[int, float]:
    """Split a delay into whole frames and a rest."""
    whole = round(delay_frames)
    return whole, delay_frames - whole


@lru_cache(maxsize=64)
def interpolation(fraction: float) -> NDArray[np.float64]:
    """Weights of the frames around a point between two frames."""
    distance = fraction - np.arange(-REACH_FRAMES, REACH_FRAMES + 1)
    inside = np.clip(1.0 - (distance / (REACH_FRAMES + 1)) ** 2, 0.0, None)
    window = np.i0(_KAISER_BETA * np.sqrt(inside)) / np.i0(_KAISER_BETA)
    weights: NDArray[np.float64] = np.sinc(distance) * window
    weights.setflags(write=False)
    return weights


def read_later(samples: NDArray[np.float64], fraction: float) -> NDArray[np.float64]:
    """Audio read a fraction of a frame later.

    ``y[n] = Σ weights[k] x[n + k]``: the result begins and ends 128 frames inside the samples.

    No fraction changes no sample.  Up to 0.45 of the rate any other is exact to -140 dB; above
    0.48 of it the interpolation falls off.
    """
    samples = as_block(samples)
    if fraction == 0.0:
        return samples[REACH_FRAMES : len(samples) - REACH_FRAMES]
    lap = 2 * REACH_FRAMES
    rows = np.ascontiguousarray(samples.T)
    moved = np.empty((max(len(samples) - lap, 0), len(rows)))
    for start in range(0, len(moved), _LONGEST - lap):
        few = rows[:, start : start + _LONGEST]
        length = _transform_length(few.shape[1])
        spectrum = np.fft.rfft(few, length, axis=1)
        spectrum *= _spectrum(fraction, length)
        whole = np.fft.irfft(spectrum, length, axis=1)
        moved[start : start + few.shape[1] - lap] = whole[:, lap : few.shape[1]].T
    return moved


@lru_cache(maxsize=8)
def _spectrum(fraction: float, length: int) -> NDArray[np.complex128]:
    """Of the interpolation."""
    return np.asarray(np.fft.rfft(interpolation(fraction)[::-1], length))


def _transform_length(frames: int) -> int:
    """The least of 4, 5 and 6 times a power of two that is enough: quick to transform."""
    power: int = 1 << max(frames.bit_length() - 3, 0)
    return next(many * power for many in (4, 5, 6, 8) if many * power >= frames)
