"""By how many whole frames one piece lies behind another, and which of its channels is which."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stagefx.io.recording import ForwardWindow, Recording

Array = NDArray[np.float64]

_COARSE_RATE_HZ = 11025
"""The long search is done on means of neighbouring frames, at least this many a second."""
_COARSE_BLOCKS = 1 << 14
_FEW_PASSAGES, _MOST_PASSAGES, _NEAR_S = 3, 4, 0.2
"""Farther off more passages are sought: some may be missing, or soft."""
_LEAST_POWER = 0.02
"""Of the loudest stretch: quieter ones, such as where a piece just begins, match by chance."""
_NEARLY_BEST = 0.98
"""Of peaks this close to the highest the one of least lag is taken: music repeats itself."""
_CLEARLY_MORE = 1.5
"""Left is sought in right only where that stands out by so much more than left in left."""
_WHITE_SEGMENT = 512
_WHITE_FLOOR = 1e-4
"""Bands 40 dB below the strongest hold leakage and noise: they are not raised to count as music."""
_TAPER_PARTS = 16


@dataclass(frozen=True)
class Lag:
    """Where a piece is found in another."""

    frames: int
    polarity: int
    likeness: float = field(default=1.0, repr=False, compare=False)
    crossed: bool = field(default=False, repr=False, compare=False)
    signs: tuple[int, ...] = field(default=(), repr=False, compare=False)


def find_lag(
    first: Recording,
    second: Recording,
    passages: Sequence[tuple[int, int]],
    *,
    search_frames: int,
    around: int = 0,
) -> Lag:
    """Find passages of one piece in another, to a frame.

    ``r[l] = Σ x[n] y[n + l] / √(Σ x[n]² Σ y[n + l]²)``, both made white by one filter without
    phase, so that its peak is narrow and what an all-pass turns round in one band does not move
    it; sought first on means of a few frames, then frame by frame.

    C. H. Knapp, G. C. Carter, "The generalized correlation method for estimation of time delay",
    IEEE Trans. Acoustics, Speech, and Signal Processing 24 (4), 1976: the phase transform.
    """
    factor = max(first.format.rate_hz // _COARSE_RATE_HZ, 1)
    far = search_frames > _NEAR_S * first.format.rate_hz
    most = _MOST_PASSAGES if far else _FEW_PASSAGES
    spread = list(passages)[:: -(-len(passages) // most)]
    # Farther apart they do not touch.
    low = max(around - search_frames, -spread[-1][1])
    high = min(around + search_frames, second.format.frames - spread[0][0])
    low, high = low // factor * factor, -(-high // factor) * factor
    coarse = _correlation(first, second, spread, (low, max(high, low)), factor)
    if factor == 1:
        return _best(coarse, low)
    centre = _best(coarse, low // factor).frames * factor
    low = centre - 4 * factor
    return _best(_correlation(first, second, spread, (low, centre + 4 * factor), 1), low)


@dataclass(frozen=True)
class _Correlations:
    """Of each channel with its own, and of two channels with each other's; [channels, lags]."""

    straight: Array
    crossed: Array


def _best(correlations: _Correlations, lowest: int) -> Lag:
    straight, crossed = (np.abs(each).sum(axis=0) for each in _both(correlations))
    height = np.maximum(straight, crossed / _CLEARLY_MORE)
    around = np.pad(height, 1)
    peaks = (height >= around[:-2]) & (height >= around[2:])
    nearly = np.flatnonzero(peaks & (height >= _NEARLY_BEST * height.max()))
    lags = lowest + nearly
    chosen = int(np.argmin(np.abs(lags)))
    at = int(nearly[chosen])
    exchanged = bool(crossed[at] > _CLEARLY_MORE * straight[at])
    values = (correlations.crossed if exchanged else correlations.straight)[:, at]
    return Lag(
        int(lags[chosen]),
        1 if float(values.sum()) >= 0.0 else -1,
        float(np.abs(values).sum()),
        exchanged,
        tuple(1 if value >= 0.0 else -1 for value in values.tolist()),
    )


def _both(correlations: _Correlations) -> tuple[Array, Array]:
    return correlations.straight, correlations.crossed


def _correlation(
    first: Recording,
    second: Recording,
    passages: Sequence[tuple[int, int]],
    between: tuple[int, int],
    factor: int,
) -> _Correlations:
    """Correlation at lags between two, a factor apart, of all passages together."""
    channels = first.format.channels
    low, high = between
    many = (high - low) // factor + 1
    across = np.zeros((2, channels, many))
    x_window, y_window = ForwardWindow(first), ForwardWindow(second)
    for start, end in passages:
        stop = end - (end - start) % factor
        x = movement(x_window, start, stop, factor)
        y = movement(y_window, start + low, stop + high, factor)
        x, y, products = white_products(x, y, crossed=channels == 2)
        of_second = sliding_power(y, x.shape[1])
        power = np.square(x).sum() * np.maximum(of_second, _LEAST_POWER * of_second.max())
        if power.any():
            # Each passage counts alike: the second may lack the loudest.
            across += products / np.sqrt(power) / len(passages)
    return _Correlations(*across)


def movement(window: ForwardWindow, start: int, stop: int, factor: int) -> Array:
    """Differences in a stretch, channels first, each run of frames replaced by its mean."""
    rows = []
    for begin in range(start, stop, factor * _COARSE_BLOCKS):
        block = window.stretch(begin, min(begin + factor * _COARSE_BLOCKS, stop))
        rows.append(block.reshape(-1, factor, block.shape[1]).mean(axis=1))
    return np.diff(np.concatenate(rows).T, axis=1)


def white_products(x: Array, y: Array, *, crossed: bool) -> tuple[Array, Array, Array]:
    """A short and a longer stretch made white, and sums of products at lags 0, 1, 2 ...

    The sums are of each channel with its own, and with the other where `crossed`.
    """
    lags = y.shape[1] - x.shape[1] + 1
    x = _tapered(x)
    length = 1 << (y.shape[1] - 1).bit_length()
    x_lines, y_lines = np.fft.rfft(x, length, axis=1), np.fft.rfft(y, length, axis=1)
    filtered = _whitening(x, y, length)
    x_lines *= filtered
    y_lines *= filtered
    products = np.zeros((2, len(x), lags))
    products[0] = np.fft.irfft(x_lines.conj() * y_lines, length, axis=1)[:, :lags]
    if crossed:
        products[1] = np.fft.irfft(x_lines.conj() * y_lines[::-1], length, axis=1)[:, :lags]
    white = (np.fft.irfft(each, length, axis=1) for each in (x_lines, y_lines))
    x_white, y_white = (each[:, : old.shape[1]] for each, old in zip(white, (x, y), strict=True))
    return x_white, y_white, products


def _whitening(x: Array, y: Array, length: int) -> Array:
    """What both are filtered with: one over the root of what they have on average, band by band."""
    segment = min(_WHITE_SEGMENT, 1 << (x.shape[1].bit_length() - 1))
    gain = np.ones(segment // 2 + 1)
    for power in (_average_power(each, segment) for each in (x, y)):
        share = power / max(float(power.max()), 1e-300)
        gain = gain * np.maximum(share, _WHITE_FLOOR) ** -0.25
        gain = gain * np.minimum(share / _WHITE_FLOOR, 1.0) ** 0.5
    if not gain.any():
        return np.ones(length // 2 + 1)
    at = np.linspace(0.0, segment / 2.0, length // 2 + 1)
    return np.asarray(np.interp(at, np.arange(segment // 2 + 1), gain))


def _tapered(rows: Array) -> Array:
    """Rows that begin and end softly: a hard edge is the same at every lag."""
    many = max(rows.shape[1] // _TAPER_PARTS, 1)
    ramp = np.ones(rows.shape[1])
    ramp[:many] = np.sin(0.5 * np.pi * (np.arange(many) + 0.5) / many) ** 2
    ramp[-many:] = ramp[many - 1 :: -1]
    return rows * ramp


def _average_power(rows: Array, segment: int) -> Array:
    count = max(rows.shape[1] // segment, 1)
    parts = rows[:, : count * segment].reshape(len(rows), count, -1)
    lines = np.fft.rfft(parts * np.hanning(parts.shape[2]), segment, axis=2)
    return np.asarray((np.square(lines.real) + np.square(lines.imag)).sum(axis=(0, 1)) / count)


def sliding_power(y: Array, frames: int) -> Array:
    """Power of as many frames of a stretch, from 0, 1, 2 ... frames on."""
    total = np.concatenate([[0.0], np.cumsum(np.square(y).sum(axis=0))])
    return np.asarray(total[frames:] - total[:-frames])
