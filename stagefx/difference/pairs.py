"""Two versions of a piece read side by side, as they lie and aligned."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.audio.alignment import Alignment
from stagefx.audio.recording import ForwardWindow, Recording
from stagefx.audio.shift import REACH_FRAMES, read_later, whole_and_fraction

Array = NDArray[np.float64]

BLOCK_FRAMES = 1 << 16


@dataclass(frozen=True)
class Pair:
    """The same stretch of two versions of a piece.

    Parameters
    ----------
    first : ndarray of float64 [frames, channels], full scale 1.0
        The first.
    second : ndarray of float64 [frames, channels], full scale 1.0
        The second with its delay taken away; its gain and polarity kept.
    untouched : ndarray of float64 [at most frames, channels], full scale 1.0
        The second at the same frame numbers, shorter where it ends early.
    """

    first: Array
    second: Array
    untouched: Array


def side_by_side(
    first: Recording,
    second: Recording,
    alignment: Alignment,
    *,
    start: int = 0,
    stop: int | None = None,
) -> Iterator[Pair]:
    """Read the stretch that both versions have, block by block.

    Parameters
    ----------
    first, second : Recording
        Two versions of one rate and number of channels.
    alignment : Alignment
        How the second lies beside the first.
    start, stop : int, frames
        The stretch of the first to read; all that both have where left out.

    Yields
    ------
    Pair
        In order, each frame once.

    Examples
    --------
    >>> from stagefx.audio.recording import HeldAudio
    >>> early = HeldAudio(np.arange(5.0)[:, None], 48000)
    >>> late = HeldAudio(np.arange(-2.0, 5.0)[:, None], 48000)
    >>> (pair,) = side_by_side(early, late, Alignment(2.0, 0.0, 1))
    >>> pair.second.ravel(), pair.untouched.ravel()
    (array([0., 1., 2., 3., 4.]), array([-2., -1.,  0.,  1.,  2.]))
    """
    first_frames, second_frames = first.format.frames, second.format.frames
    begin, end = alignment.common_stretch(first_frames, second_frames)
    begin, end = max(begin, start), end if stop is None else min(end, stop)
    whole, fraction = whole_and_fraction(alignment.delay_frames)
    early, late = min(0, whole - REACH_FRAMES), max(0, whole + REACH_FRAMES)
    x_window, y_window = ForwardWindow(first), ForwardWindow(second)
    for here in range(begin, end, BLOCK_FRAMES):
        there = min(here + BLOCK_FRAMES, end)
        around = y_window.stretch(here + early, there + late)
        moved = around[whole - REACH_FRAMES - early :][: there - here + 2 * REACH_FRAMES]
        untouched = around[-early:][: max(min(there, second_frames) - here, 0)]
        yield Pair(x_window.stretch(here, there), read_later(moved, fraction), untouched)
