"""Two versions of a piece read side by side, as they lie and aligned."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.align.alignment import Alignment
from stagefx.align.resample import at_rate_of
from stagefx.align.warp import WARP_REACH_FRAMES, read_between, span
from stagefx.dsp.fractional_delay import REACH_FRAMES, read_later, whole_and_fraction
from stagefx.io.recording import ForwardWindow, Recording

Array = NDArray[np.float64]

BLOCK_FRAMES = 1 << 16


@dataclass(frozen=True)
class Pair:
    """The same stretch of two versions of a piece."""

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

    Where samples were dropped or doubled, nothing can be read between the frames on either side of
    the place: there, and where it is unsure, the second is given as the first at its own gain, so
    that it adds nothing to a difference.
    """
    second = at_rate_of(first, second)
    first_frames, second_frames = first.format.frames, second.format.frames
    begin, end = alignment.common_stretch(first_frames, second_frames)
    begin, end = max(begin, start), end if stop is None else min(end, stop)
    read = _moving if alignment.path else _steady
    x_window = ForwardWindow(first)
    seconds = read(second, alignment, begin, end)
    for here in range(begin, end, BLOCK_FRAMES):
        there = min(here + BLOCK_FRAMES, end)
        x = x_window.stretch(here, there)
        moved, untouched = next(seconds)
        if alignment.swapped:
            moved = np.ascontiguousarray(moved[:, ::-1])
        for jump in alignment.jumps:
            around = slice(*(max(frame - here, 0) for frame in jump.left_out(WARP_REACH_FRAMES)))
            moved[around] = alignment.channel_gains * x[around]
        yield Pair(x, moved, untouched)


def _steady(
    second: Recording, alignment: Alignment, begin: int, end: int
) -> Iterator[tuple[Array, Array]]:
    """The second one delay later, and as it lies; each frame read once."""
    whole, fraction = whole_and_fraction(alignment.delay_frames)
    early, late = min(0, whole - REACH_FRAMES), max(0, whole + REACH_FRAMES)
    window = ForwardWindow(second)
    for here, there in _blocks(begin, end):
        around = window.stretch(here + early, there + late)
        moved = around[whole - REACH_FRAMES - early :][: there - here + 2 * REACH_FRAMES]
        untouched = around[-early:][: max(min(there, second.format.frames) - here, 0)]
        yield read_later(moved, fraction), untouched


def _moving(
    second: Recording, alignment: Alignment, begin: int, end: int
) -> Iterator[tuple[Array, Array]]:
    """The second along a delay that changes, and as it lies."""
    assert alignment.path is not None
    window = ForwardWindow(second)
    for here, there in _blocks(begin, end):
        positions = np.arange(here, there) + alignment.path.delays(here, there)
        low, high = span(positions)
        first = min(low, here)
        around = window.stretch(first, max(high, there))
        untouched = around[here - first :][: max(min(there, second.format.frames) - here, 0)]
        yield read_between(around[low - first : high - first], positions - low), untouched


def _blocks(begin: int, end: int) -> Iterator[tuple[int, int]]:
    for here in range(begin, end, BLOCK_FRAMES):
        yield here, min(here + BLOCK_FRAMES, end)
