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
    """Impulse responses that find the nodes between the frames.

    Parameters
    ----------
    factor : int, >= 2
        Nodes a frame.

    Returns
    -------
    tuple of factor - 1 arrays [UP_TAPS]
        Each a share of a frame later than the one before; within 4e-7 up to 0.45 of the rate.

    Examples
    --------
    >>> round(float(up_filters(4)[1].sum()), 6)
    1.0
    """
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
    """Impulse responses that take nodes back to the file's rate.

    Parameters
    ----------
    factor : int, >= 2
        Nodes a frame.

    Returns
    -------
    tuple of factor arrays [DOWN_TAPS]
        One for each node of a frame.  Together they pass the audio band, and keep out what would
        fold back onto it, by 126 dB.

    Examples
    --------
    >>> round(float(sum(h.sum() for h in down_filters(2))), 5)
    1.0
    """
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
    """Find several nodes a frame.

    Parameters
    ----------
    samples : array [frames + UP_TAPS - 1]
        One channel, with UP_REACH - 1 frames more in front and UP_REACH behind; the frames to
        work on start at index UP_REACH - 1.
    nodes : array [factor frames]
        Overwritten; node factor n is frame n itself.
    factor : int, >= 2
        Nodes a frame.

    Examples
    --------
    >>> nodes = np.empty(8)
    >>> up(np.ones(2 + UP_TAPS - 1), nodes, factor=4)
    >>> round(float(nodes.sum()), 5)
    8.0
    """
    frames = nodes.size // factor
    nodes[::factor] = samples[UP_REACH - 1 : UP_REACH - 1 + frames]
    between = np.empty(frames)
    for p, taps in enumerate(up_filters(factor), start=1):
        convolve(samples, taps, between)
        nodes[p::factor] = between


def down(nodes: Array, result: Array, *, factor: int) -> None:
    """Take nodes back to the file's rate.

    Parameters
    ----------
    nodes : array [factor (frames + DOWN_TAPS - 1)]
        With DOWN_REACH frames of nodes more in front and DOWN_REACH - 1 behind.
    result : array [frames]
        Overwritten; frame n lies at node factor (n + DOWN_REACH).
    factor : int, >= 2
        Nodes a frame.

    Examples
    --------
    >>> result = np.empty(1)
    >>> down(np.ones(4 * DOWN_TAPS), result, factor=4)
    >>> round(float(result[0]), 5)
    1.0
    """
    part = np.empty_like(result)
    result[:] = 0.0
    for p, taps in enumerate(down_filters(factor)):
        convolve(np.ascontiguousarray(nodes[p::factor]), taps, part)
        result += part
