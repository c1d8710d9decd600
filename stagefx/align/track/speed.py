"""How much faster one version of a piece runs than another, up to a twentieth."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.align.delay.lag import movement
from stagefx.io.recording import ForwardWindow, Recording

Array = NDArray[np.float64]

FASTEST = 0.055
_STEP = 0.0025
"""A window of 0.4 s is smeared by half a millisecond at most."""
_WINDOW_S = 0.4
_RATE_HZ = 5500
_MOST_WINDOWS = 12
_CANDIDATES = 2
_WHITE_SEGMENT = 128
_WHITE_FLOOR = 1e-4
_NEAR_S = 0.01
"""How far from the common line a window may lie: wow moves it, and the grid of speeds is coarse."""
_FEWEST, _LEAST_SHARE = 3, 0.4
"""Windows that have to lie on one line, at least, and their share: chance puts two on any."""


@dataclass(frozen=True)
class _Place:
    """Where a window of the first may be found in the second, in seconds."""

    window: int
    at_s: float
    lag_s: float
    speed: float
    likeness: float


def find_speed(
    first: Recording, second: Recording, start: int, stop: int, search_s: float
) -> float | None:
    """The slope of the delay, frames a frame, if the second runs at another speed throughout.

    Windows of the first are played at each speed of a grid and sought in the second; places that
    lie on one line, whose slope is their own speed's, are no chance.
    """
    rate_hz = first.format.rate_hz
    factor = max(rate_hz // _RATE_HZ, 1)
    length = round(_WINDOW_S * rate_hz)
    count = min(_MOST_WINDOWS, (stop - start) // (2 * length))
    middles = start + (np.arange(count) + 0.5) * (stop - start) / max(count, 1)
    windows = [(round(at) - length // 2, round(at) + length // 2) for at in middles.tolist()]
    places: list[_Place] = []
    x_window, y_window = ForwardWindow(first), ForwardWindow(second)
    margin = round(search_s * rate_hz)
    for number, (begin, end) in enumerate(windows):
        stretched = round(FASTEST * end)
        low = max(begin - margin - stretched, 0)
        high = min(end + margin + stretched, second.format.frames)
        if high - low < 2 * (end - begin):
            continue
        x = movement(x_window, begin, end - (end - begin) % factor, factor)
        y = movement(y_window, low, high - (high - low) % factor, factor)
        if not (x.any() and y.any()):
            continue
        scale = factor / rate_hz
        middle_s = (begin + end) / 2.0 / rate_hz
        for at, speed, likeness in _best_places(x, y):
            lag_s = low / rate_hz + at * scale - middle_s
            places.append(_Place(number, middle_s, lag_s, speed, likeness))
    return _line(places)


def _best_places(x: Array, y: Array) -> list[tuple[float, float, float]]:
    """Where the middle of x is found in y, at which speed, and how like it is: the best few."""
    white = _whitened(y)
    block = 4 * (1 << (x.shape[1] - 1).bit_length())
    found: list[tuple[float, float, float]] = []
    fresh = block - round(x.shape[1] * (1.0 + 2.0 * FASTEST))
    starts = range(0, max(white.shape[1] - (block - fresh), 1), fresh)
    lines = np.stack([np.fft.rfft(white[:, at : at + block], block, axis=1) for at in starts])
    total = np.concatenate([[0.0], np.cumsum(np.square(white).sum(axis=0))])
    lags = fresh * len(starts)
    for speed in np.arange(-FASTEST, FASTEST + _STEP / 2, _STEP).tolist():
        played = _whitened(_played(x, speed))
        few = np.fft.rfft(played, block, axis=1).conj()
        across = np.fft.irfft(lines * few, block, axis=2)[:, :, :fresh]
        height = np.abs(across).sum(axis=1).reshape(lags)
        ends = np.minimum(np.arange(lags) + played.shape[1], white.shape[1])
        power = total[ends] - total[np.minimum(np.arange(lags), white.shape[1])]
        own = float(np.square(played).sum())
        likeness = height / np.sqrt(own * np.maximum(power, 1e-2 * power.max()) + 1e-300)
        best = int(np.argmax(likeness))
        found.append((best + played.shape[1] / 2.0, speed, float(likeness[best])))
    return sorted(found, key=lambda each: -each[2])[:_CANDIDATES]


def _played(x: Array, speed: float) -> Array:
    """A short stretch played so much faster."""
    frames = np.arange(int((x.shape[1] - 1) / (1.0 + speed)) + 1) * (1.0 + speed)
    index = np.arange(x.shape[1])
    return np.stack([np.interp(frames, index, row) for row in x])


def _whitened(rows: Array) -> Array:
    """Each band as strong as any other, on average."""
    count = max(rows.shape[1] // _WHITE_SEGMENT, 1)
    parts = rows[:, : count * _WHITE_SEGMENT].reshape(len(rows), count, -1)
    spectra = np.fft.rfft(parts * np.hanning(parts.shape[2]), _WHITE_SEGMENT, axis=2)
    power = np.square(np.abs(spectra)).sum(axis=(0, 1))
    if not power.any():
        return rows
    level = np.maximum(power / power.max(), _WHITE_FLOOR) ** -0.5
    length = 1 << rows.shape[1].bit_length()
    at = np.linspace(0.0, _WHITE_SEGMENT / 2.0, length // 2 + 1)
    lines = np.fft.rfft(rows, length, axis=1) * np.interp(at, np.arange(len(level)), level)
    return np.asarray(np.fft.irfft(lines, length, axis=1)[:, : rows.shape[1]])


def _line(places: list[_Place]) -> float | None:
    """The slope on which most places lie, those of one window counted once."""
    windows = len({each.window for each in places})
    best: list[_Place] = []
    slope: float | None = None
    for one, other in itertools.combinations(places, 2):
        if one.window == other.window:
            continue
        rise = (other.lag_s - one.lag_s) / (other.at_s - one.at_s)
        if abs(rise) > 2.0 * FASTEST:
            continue
        on = [
            each
            for each in places
            if abs(each.lag_s - one.lag_s - rise * (each.at_s - one.at_s)) < _NEAR_S
            and abs(1.0 / (1.0 + rise) - 1.0 - each.speed) < 2.0 * _STEP
        ]
        if len({each.window for each in on}) > len({each.window for each in best}):
            best = on
    if len({each.window for each in best}) >= max(_FEWEST, _LEAST_SHARE * windows):
        at, lag = (np.array([getattr(each, of) for each in best]) for of in ("at_s", "lag_s"))
        slope = float(np.polynomial.polynomial.polyfit(at, lag, 1)[1])
    return slope
