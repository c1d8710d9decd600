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
    """
    for pair in side_by_side(first, second, alignment, start=start, stop=stop):
        yield pair.second / alignment.gain - pair.first
