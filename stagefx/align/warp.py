"""Reading a piece along a delay that changes: what a drifting clock did is taken back."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stagefx.align.time_path import TimePath
from stagefx.io.recording import ForwardWindow

Array = NDArray[np.float64]

WARP_REACH_FRAMES = 56
"""How far the interpolation looks to either side."""
_KAISER_BETA = 12.0
"""Kaiser's formula for 118 dB: 0.1102 (118 - 8.7)."""
_CELLS = 2048
"""A straight line between two rows of the table is right to 130 dB: (π / 2048)² / 8."""


@lru_cache(maxsize=1)
def warp_table() -> Array:
    """Weights of the frames around a point, for 2049 places from one frame to the next."""
    fraction = np.arange(_CELLS + 1)[:, None] / _CELLS
    away = fraction - np.arange(1 - WARP_REACH_FRAMES, WARP_REACH_FRAMES + 1)
    inside = np.clip(1.0 - (away / WARP_REACH_FRAMES) ** 2, 0.0, None)
    window = np.i0(_KAISER_BETA * np.sqrt(inside)) / np.i0(_KAISER_BETA)
    table: Array = np.ascontiguousarray(np.sinc(away) * window)
    table.setflags(write=False)
    return table


def read_along(window: ForwardWindow, path: TimePath, start: int, stop: int) -> Array:
    """A stretch of a first piece as a second plays it, the changing delay taken away.

    ``y(n) = second(n + delay(n))``, band-limited interpolation between the second's frames

    Up to 0.46 of the rate exact to -118 dB; above it the interpolation falls off.
    """
    positions = np.arange(start, stop) + path.delays(start, stop)
    low, high = span(positions)
    return read_between(window.stretch(low, high), positions - low)


def span(positions: Array) -> tuple[int, int]:
    """The frames that are needed to read at some positions."""
    low = int(np.floor(positions.min())) - WARP_REACH_FRAMES + 1
    return low, int(np.floor(positions.max())) + WARP_REACH_FRAMES + 1


def read_between(samples: Array, positions: Array) -> Array:
    """Audio read between its frames."""
    # Compiled code is loaded where a clock drifts, and nowhere else.
    from stagefx.kernels.warp import read_at

    rows = np.ascontiguousarray(samples.T)
    read = np.empty((len(rows), len(positions)))
    table = warp_table()
    read_at(rows, positions, table, np.empty((2, table.shape[1])), read)
    return np.ascontiguousarray(read.T)
