"""Four nodes a frame, and back: the resampling around the limiter."""

from __future__ import annotations

from functools import cache

import numpy as np

from stagefx.effects.fir_design import Array, fit
from stagefx.kernels.fir import convolve

FACTOR = 4
UP_TAPS = 96
UP_REACH = UP_TAPS // 2
"""Frames that a node needs on either side."""
DOWN_TAPS = 96
DOWN_REACH = DOWN_TAPS // 2
"""Frames of nodes that a frame needs on either side."""

_PASS, _STOP = 0.4535, 0.5465
"""20 kHz at a rate of 44.1 kHz, and what would fold back onto it, in sampling rates."""
_BETWEEN = 1e-12


@cache
def up_filters() -> tuple[Array, ...]:
    """Impulse responses that find the nodes between the frames.

    Returns
    -------
    tuple of 3 arrays [UP_TAPS]
        For a quarter, a half and three quarters of a frame; within 4e-7 up to 0.45 of the rate.

    Examples
    --------
    >>> round(float(up_filters()[1].sum()), 6)
    1.0
    """

    def late(quarters: int) -> Array:
        return fit(
            lambda f: np.exp(2j * np.pi * f * quarters / FACTOR),
            taps=UP_TAPS,
            delay=UP_REACH,
            weight=lambda f: np.where(f <= _PASS, 1.0, _BETWEEN),
        )

    return tuple(late(quarters) for quarters in range(1, FACTOR))


@cache
def down_filters() -> tuple[Array, ...]:
    """Impulse responses that take what the splines gathered back to the file's rate.

    Returns
    -------
    tuple of 4 arrays [DOWN_TAPS]
        One for each node of a frame.  Together they pass the audio band, undo the splines' own
        response (sinc to the fourth power), and keep out what would fold back, by 126 dB.

    Examples
    --------
    >>> round(float(sum(h.sum() for h in down_filters())), 5)
    1.0
    """
    length = FACTOR * DOWN_TAPS - 1

    def weight(f: Array) -> Array:
        rate = FACTOR * f
        return np.where(rate <= _PASS, 1.0, np.where(rate < _STOP, _BETWEEN, 1.0))

    whole = fit(
        lambda f: np.where(f <= 0.5 / FACTOR, 1.0 / np.sinc(f) ** 4, 0.0) + 0j,
        taps=length,
        delay=length // 2,
        weight=weight,
        points=8192,
    )
    # Frame n takes node 4 j + p with the tap 4 (n - j) - p away from the middle.
    padded = np.append(whole, 0.0)
    return tuple(np.ascontiguousarray(padded[FACTOR - 1 - p :: FACTOR]) for p in range(FACTOR))


def up(samples: Array, nodes: Array) -> None:
    """Find four nodes a frame.

    Parameters
    ----------
    samples : array [frames + UP_TAPS - 1]
        One channel, with UP_REACH - 1 frames more in front and UP_REACH behind; the frames to
        work on start at index UP_REACH - 1.
    nodes : array [FACTOR frames]
        Overwritten; node FACTOR n is frame n itself.
    """
    frames = nodes.size // FACTOR
    nodes[::FACTOR] = samples[UP_REACH - 1 : UP_REACH - 1 + frames]
    between = np.empty(frames)
    for p, taps in enumerate(up_filters(), start=1):
        convolve(samples, taps, between)
        nodes[p::FACTOR] = between


def down(nodes: Array, result: Array) -> None:
    """Take nodes back to the file's rate.

    Parameters
    ----------
    nodes : array [FACTOR (frames + DOWN_TAPS - 1)]
        With DOWN_REACH frames of nodes more in front and DOWN_REACH - 1 behind.
    result : array [frames]
        Overwritten; frame n lies at node FACTOR (n + DOWN_REACH).
    """
    part = np.empty_like(result)
    result[:] = 0.0
    for p, taps in enumerate(down_filters()):
        convolve(np.ascontiguousarray(nodes[p::FACTOR]), taps, part)
        result += part
