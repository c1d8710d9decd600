"""By how many whole frames one piece lies behind another, and whether it is turned over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stagefx.audio.recording import ForwardWindow, Recording

Array = NDArray[np.float64]

_COARSE_RATE_HZ = 11025
"""The long search is done on means of neighbouring frames, at least this many a second."""
_COARSE_BLOCKS = 1 << 14
_MOST_PASSAGES = 3
_LEAST_POWER = 1e-6
"""Of the loudest stretch: quieter ones, such as the silence before a piece, match by chance."""
_NEARLY_BEST = 0.98
"""Of peaks this close to the highest the one of least lag is taken: music repeats itself."""


@dataclass(frozen=True)
class Lag:
    """Where a piece is found in another.

    Parameters
    ----------
    frames : int, frames
        How late the second piece is; negative where it is early.
    polarity : int, 1 or -1
        Whether the second is the right way up.
    likeness : float, 0 to 1
        Height of the correlation there.
    """

    frames: int
    polarity: int
    likeness: float = field(default=1.0, repr=False, compare=False)


def find_lag(
    first: Recording,
    second: Recording,
    passages: Sequence[tuple[int, int]],
    *,
    search_frames: int,
) -> Lag:
    """Find passages of one piece in another, to a frame.

    ``r[l] = Σ x[n] y[n + l] / √(Σ x[n]² Σ y[n + l]²)``, x and y the differences between frames
    that follow each other, which makes its peak narrow; sought first on means of a few frames,
    then frame by frame.

    Parameters
    ----------
    first, second : Recording
        Two pieces of one rate and number of channels.
    passages : sequence of tuple of two int, frames, not empty
        Stretches of the first, in order.
    search_frames : int, frames
        How far to look to either side.

    Returns
    -------
    Lag
        The best lag there is, whether or not the pieces are the same music.

    Examples
    --------
    >>> from stagefx.audio.recording import HeldAudio
    >>> noise = np.random.default_rng(1).standard_normal((48000, 1))
    >>> late = np.pad(-noise, ((1234, 0), (0, 0)))
    >>> pieces = HeldAudio(noise, 48000), HeldAudio(late, 48000)
    >>> find_lag(*pieces, [(0, 48000)], search_frames=4800)
    Lag(frames=1234, polarity=-1)
    """
    factor = max(first.format.rate_hz // _COARSE_RATE_HZ, 1)
    reach = -(-search_frames // factor)
    spread = list(passages)[:: -(-len(passages) // _MOST_PASSAGES)]
    coarse = _correlation(first, second, spread, centre=0, reach=reach, factor=factor)
    if factor == 1:
        return _best(coarse, centre=0)
    centre = _best(coarse, centre=0).frames * factor
    fine = _correlation(first, second, spread, centre=centre, reach=4 * factor, factor=1)
    return _best(fine, centre=centre)


def _best(correlation: Array, *, centre: int) -> Lag:
    height = np.abs(correlation)
    around = np.pad(height, 1)
    peaks = (height >= around[:-2]) & (height >= around[2:])
    nearly = np.flatnonzero(peaks & (height >= _NEARLY_BEST * height.max()))
    lags = centre + nearly - len(correlation) // 2
    chosen = int(np.argmin(np.abs(lags)))
    value = float(correlation[nearly[chosen]])
    return Lag(int(lags[chosen]), 1 if value >= 0.0 else -1, abs(value))


def _correlation(
    first: Recording,
    second: Recording,
    passages: Sequence[tuple[int, int]],
    *,
    centre: int,
    reach: int,
    factor: int,
) -> Array:
    """Correlation at lags from -reach to reach about a centre, of all passages together."""
    across, of_second = np.zeros((2, 2 * reach + 1))
    of_first = 0.0
    x_window, y_window = ForwardWindow(first), ForwardWindow(second)
    margin = reach * factor
    for start, end in passages:
        stop = end - (end - start) % factor
        x = _movement(x_window, start, stop, factor)
        y = _movement(y_window, start + centre - margin, stop + centre + margin, factor)
        across += _products(x, y)
        of_second += _sliding_power(y, x.shape[1])
        of_first += float(np.square(x).sum())
    power = of_first * np.maximum(of_second, _LEAST_POWER * of_second.max())
    return across / np.sqrt(power) if power.any() else across


def _movement(window: ForwardWindow, start: int, stop: int, factor: int) -> Array:
    """Differences in a stretch, channels first, each run of frames replaced by its mean."""
    rows = []
    for begin in range(start, stop, factor * _COARSE_BLOCKS):
        block = window.stretch(begin, min(begin + factor * _COARSE_BLOCKS, stop))
        rows.append(block.reshape(-1, factor, block.shape[1]).mean(axis=1))
    return np.diff(np.concatenate(rows).T, axis=1)


def _products(x: Array, y: Array) -> Array:
    """Sums of products of a short with a longer stretch, which begins 0, 1, 2 ... frames later."""
    length = 1 << (y.shape[1] - 1).bit_length()
    cross = np.fft.rfft(x, length, axis=1).conj() * np.fft.rfft(y, length, axis=1)
    return np.fft.irfft(cross.sum(axis=0), length)[: y.shape[1] - x.shape[1] + 1]


def _sliding_power(y: Array, frames: int) -> Array:
    """Power of as many frames of a stretch, from 0, 1, 2 ... frames on."""
    total = np.concatenate([[0.0], np.cumsum(np.square(y).sum(axis=0))])
    return np.asarray(total[frames:] - total[:-frames])
