"""What is left when a second version, brought to the first's gain and time, is taken from it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from stagefx.align.alignment import Alignment
from stagefx.difference.pairs import side_by_side
from stagefx.io.recording import Recording


def residual_blocks(
    first: Recording,
    second: Recording,
    alignment: Alignment,
    *,
    start: int = 0,
    stop: int | None = None,
) -> Iterator[NDArray[np.float64]]:
    """The residual of two versions, block by block.

    ``residual = second / gain - first``, the second's delay taken away

    Parameters
    ----------
    first, second : Recording
        Two versions of a piece.
    alignment : Alignment
        How the second lies beside the first.
    start, stop : int, frames
        The stretch of the first; all that both have where left out.

    Yields
    ------
    ndarray of float64 [frames, channels], full scale 1.0
        At the first's gain.

    Examples
    --------
    >>> from stagefx.io.recording import HeldAudio
    >>> one = HeldAudio(np.ones((3, 1)), 48000)
    >>> other = HeldAudio(np.array([[-2.0], [-2.0], [-2.5]]), 48000)
    >>> turned = Alignment(delay_frames=0.0, gain_db=20.0 * np.log10(2.0), polarity=-1)
    >>> [block.ravel().round(6).tolist() for block in residual_blocks(one, other, turned)]
    [[0.0, 0.0, 0.25]]
    """
    for pair in side_by_side(first, second, alignment, start=start, stop=stop):
        yield pair.second / alignment.gain - pair.first
