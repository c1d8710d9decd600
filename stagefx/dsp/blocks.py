"""The shape of audio, and the absolute grid on which every decision about it is made."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.errors import AudioError

GRID_FRAMES = 1024
"""Frames to a step of the grid, counted from frame 0 of the piece, never from a caller's block."""


def as_block(samples: ArrayLike, *, channels: int | None = None) -> NDArray[np.float64]:
    """Audio in the one shape that everything here works on."""
    block = np.ascontiguousarray(samples, dtype=np.float64)
    if block.ndim != 2:
        raise AudioError(
            f"audio has the shape (frames, channels), not {block.shape}; "
            "one channel is an array of shape (frames, 1)"
        )
    if channels is not None and block.shape[1] != channels:
        raise AudioError(f"this block has {block.shape[1]} channels where {channels} are needed")
    return block
