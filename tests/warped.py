"""A piece played again by a clock of its own, worked out without any resampler.

The piece is one period of a band-limited sound, so all its derivatives are known exactly from its
spectrum; a sample between frames is its Taylor series about the nearest frame.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_TERMS = 24
"""0.5 frame, 0.95 π a frame: (0.5 0.95 π)^24 / 24! is 1e-20."""


def played_at(music: Array, positions: Array) -> Array:
    """The sound at positions (frames) of its period, which has to hold nothing at half the rate."""
    nearest = np.round(positions)
    rest = (positions - nearest)[:, None]
    index = nearest.astype(int) % len(music)
    spectrum = np.fft.rfft(music, axis=0)
    turn = 2j * np.pi * np.fft.rfftfreq(len(music))[:, None]
    heard = np.zeros((len(positions), music.shape[1]))
    for order in range(_TERMS):
        derivative = np.fft.irfft(spectrum * turn**order, len(music), axis=0)
        heard += rest**order / math.factorial(order) * derivative[index]
    return heard


def wandering_clock(
    frames: int, rate_hz: int, *, late: float, ppm: float, by_ppm: float = 0.0, every_s: float = 1.0
) -> Array:
    """Where in the first each frame of a second lies that runs so much fast, and wanders."""
    count = np.arange(frames, dtype=np.float64)
    turn = 2.0 * np.pi / (every_s * rate_hz)
    wander = 1e-6 * by_ppm / turn * np.sin(turn * count)
    return (count - late) * (1.0 + 1e-6 * ppm) + wander
