"""Four nodes a frame around the limiter, and back: in two steps of two, whose filters are short."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.fir_design import fit
from stagefx.dsp.oversampling import BETWEEN, PASS, earlier
from stagefx.kernels.filters.fir import convolve

Array = NDArray[np.float64]

FACTOR = 4
"""Nodes a frame."""
HALF_TAPS, QUARTER_TAPS = 96, 16
UP_TAPS = HALF_TAPS + QUARTER_TAPS // 2
UP_REACH = UP_TAPS // 2
"""Frames that a node needs on either side."""
DOWN_TAPS = UP_TAPS
DOWN_REACH = DOWN_TAPS // 2
"""Frames of nodes that a frame needs on either side."""

_MIDDLE = QUARTER_TAPS - 1
_LEAD = QUARTER_TAPS // 4
"""Frames beside the others that the second step needs in front and behind."""


@cache
def between_frames() -> Array:
    """Impulse response that finds what lies midway between frames."""
    return _evened(earlier(0.5, HALF_TAPS, PASS))


@cache
def between_halves() -> Array:
    """Impulse response that finds what lies midway between two values a frame."""
    return _evened(earlier(0.5, QUARTER_TAPS, 0.5 * PASS))


def _evened(taps: Array) -> Array:
    """Exact at 0 Hz, and symmetric, which a fit is but for the rounding errors of light weights."""
    both = taps + taps[::-1]
    return np.ascontiguousarray(both / both.sum())


@cache
def to_halves() -> Array:
    """Impulse response from four nodes a frame to two values a frame."""
    edge = PASS / FACTOR

    def target(f: Array) -> NDArray[np.complex128]:
        return np.asarray(np.where(f <= 0.25, 1.0 / np.sinc(f) ** 4, 0.0) + 0j)

    def weight(f: Array) -> Array:
        return np.where((edge < f) & (f < 0.5 - edge), BETWEEN, 1.0)

    return _evened(fit(target, taps=2 * QUARTER_TAPS - 1, delay=_MIDDLE, weight=weight))


@cache
def _to_halves_apart() -> tuple[Array, Array]:
    """`to_halves` for the nodes at even and at odd distances, latest first."""
    taps = to_halves()
    even = np.append(0.0, taps[_MIDDLE % 2 :: 2])
    return even, np.ascontiguousarray(taps[::2])


def up(samples: Array, nodes: Array) -> None:
    """Find four nodes a frame."""
    frames = nodes.size // FACTOR + 2 * _LEAD
    midway = np.empty(frames)
    convolve(samples, between_frames(), midway)
    halves = np.empty(2 * frames)
    first = HALF_TAPS // 2 - 1
    halves[::2], halves[1::2] = samples[first : first + frames], midway
    quarters = np.empty(nodes.size // 2)
    convolve(halves[1:], between_halves(), quarters)
    nodes[::2], nodes[1::2] = halves[2 * _LEAD : -2 * _LEAD], quarters


def down(nodes: Array, result: Array) -> None:
    """Take splines' integrals at four nodes a frame back to the file's rate."""
    even, odd = _to_halves_apart()
    count = nodes.size // 2 - QUARTER_TAPS - 1  # the first is HALF_TAPS - 1 before frame 0
    halves, more = np.empty(count), np.empty(count)
    convolve(np.ascontiguousarray(nodes[4::2]), even, halves)
    convolve(np.ascontiguousarray(nodes[3:-2:2]), odd, more)
    halves += more
    convolve(np.ascontiguousarray(halves[::2]), between_frames(), result)
    result += halves[HALF_TAPS - 1 :: 2][: result.size]
    result *= 0.5
