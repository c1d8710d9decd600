"""The lines of a noise's spectrum, from random draws.

Index meanings
--------------
``draws`` : four 8-bit draws for every line: two for its cosine, two for its sine.
``amplitude`` : one value for every line.
``spectrum`` : cosine and sine of every line, one line after the other.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit


@jit
def draw_lines(
    draws: NDArray[np.uint8], amplitude: NDArray[np.float64], spectrum: NDArray[np.float32]
) -> int:
    """Give every line of a spectrum a cosine and a sine by chance."""
    for k in range(amplitude.size):
        size = amplitude[k]
        cosine = np.int64(draws[4 * k]) - np.int64(draws[4 * k + 1])
        sine = np.int64(draws[4 * k + 2]) - np.int64(draws[4 * k + 3])
        spectrum[2 * k] = size * float(cosine)
        spectrum[2 * k + 1] = size * float(sine)
    return amplitude.size
