"""Several nodes a frame, and back: the resampling around a static curve."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.fir_design import Array, fit
from stagefx.kernels.filters.fir import convolve

UP_TAPS = 96
UP_REACH = UP_TAPS // 2
"""Frames that a node needs on either side."""
DOWN_TAPS = 96
DOWN_REACH = DOWN_TAPS // 2
"""Frames of nodes that a frame needs on either side."""

PASS, _STOP = 0.4535, 0.5465
"""20 kHz at a rate of 44.1 kHz, and what would fold back onto it, in sampling rates."""
BETWEEN = 1e-12
"""Weight of what lies between the bands, where anything may pass."""


@cache
def up_filters(factor: int) -> tuple[Array, ...]:
    """Impulse responses that find the nodes between the frames."""
    return tuple(earlier(position / factor, UP_TAPS, PASS) for position in range(1, factor))


def earlier(share: float, taps: int, edge: float) -> Array:
    """Impulse response [taps] that is early by a share of a frame, fitted up to an edge."""
    return fit(
        lambda f: np.exp(2j * np.pi * f * share),
        taps=taps,
        delay=taps // 2,
        weight=lambda f: np.where(f <= edge, 1.0, BETWEEN),
    )


@cache
def down_filters(factor: int) -> tuple[Array, ...]:
    """Impulse responses that take nodes back to the file's rate."""
    length = factor * DOWN_TAPS - 1

    def target(f: Array) -> NDArray[np.complex128]:
        return np.asarray(np.where(f <= 0.5 / factor, 1.0, 0.0) + 0j)

    def weight(f: Array) -> Array:
        rate = factor * f
        return np.where(rate <= PASS, 1.0, np.where(rate < _STOP, BETWEEN, 1.0))

    whole = fit(target, taps=length, delay=length // 2, weight=weight, points=2048 * factor)
    # Frame n takes node factor j + p with the tap factor (n - j) - p away from the middle.
    padded = np.append(whole, 0.0)
    return tuple(np.ascontiguousarray(padded[factor - 1 - p :: factor]) for p in range(factor))


def up(samples: Array, nodes: Array, *, factor: int) -> None:
    """Find several nodes a frame."""
    frames = nodes.size // factor
    nodes[::factor] = samples[UP_REACH - 1 : UP_REACH - 1 + frames]
    between = np.empty(frames)
    for p, taps in enumerate(up_filters(factor), start=1):
        convolve(samples, taps, between)
        nodes[p::factor] = between


def down(nodes: Array, result: Array, *, factor: int) -> None:
    """Take nodes back to the file's rate."""
    part = np.empty_like(result)
    result[:] = 0.0
    for p, taps in enumerate(down_filters(factor)):
        convolve(np.ascontiguousarray(nodes[p::factor]), taps, part)
        result += part
