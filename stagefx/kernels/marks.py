"""How many frames of each block were clipped, and how many slewed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]


@jit
def count_marks(marks: Array, counts: Array) -> int:
    """Count frames by the marks of their nodes."""
    total = 0
    blocks, frames, nodes = marks.shape
    for block in range(blocks):
        clipped, slewing, either = 0, 0, 0
        for frame in range(frames):
            sum_of_marks = 0.0
            for node in range(nodes):
                sum_of_marks += marks[block, frame, node]
            if sum_of_marks == 0.0:
                continue
            clips, slews = 0, 0
            for node in range(nodes):
                mark = marks[block, frame, node]
                clips |= 1 if mark == 1.0 or mark == 3.0 else 0
                slews |= 1 if mark >= 2.0 else 0
            clipped += clips
            slewing += slews
            either += 1
        counts[block, 0], counts[block, 1], counts[block, 2] = clipped, slewing, either
        total += either
    return total
