"""Short windows of a piece, each sought on its own in another, and the likeliest course of all.

A window may fit at several places: a repeated note, a steady tone.  So each names its best few,
and of all courses through them the likeliest is taken: the delay may move slowly for nothing, as a
clock lets it, and jump at a price.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.audio.lag import movement, sliding_power, white_products
from stagefx.audio.path_fit import Delays
from stagefx.audio.recording import ForwardWindow, Recording

Array = NDArray[np.float64]

SLACK_S = 0.06
"""How far a window may lie beside what was seen before and after it."""
_MOST_CANDIDATES = 6
_LEAST_LIKENESS = 0.12
"""A window that is less like any place tells nothing."""
_COARSE_FRAMES = 0.02
"""How well a window is placed by its correlation."""
_INDEPENDENT_SHARE = 0.1
"""Of a window's frames; musical frames are not independent, and windows are not all music."""
_JUMP_COST = 15.0
"""Natural logarithm of the odds against a jump between two windows."""
_SLOW = 0.012
"""Frames a frame by which the delay may move for nothing."""
_SLOW_FRAMES = 3.0

_AROUND = 24
_PLACES = np.linspace(-1.0, 1.0, 17)
_BETWEEN = (
    np.sinc(_PLACES[:, None] - np.arange(-_AROUND, _AROUND + 1)) * np.hanning(2 * _AROUND + 3)[1:-1]
)
"""What a band-limited curve has between its values, an eighth apart."""


@dataclass(frozen=True)
class Sighting:
    """A place on the first's scale where the second was found, and how late it is there."""

    frame: float
    lag: float


def seek_windows(
    first: Recording,
    second: Recording,
    sightings: list[Sighting],
    begins: list[int],
    length: int,
) -> Delays:
    """Each window sought on its own between what was seen before and after it."""
    x_window, y_window = ForwardWindow(first), ForwardWindow(second)
    seen_at = np.array([each.frame for each in sightings])
    lags = np.array([each.lag for each in sightings])
    slack = round(SLACK_S * first.format.rate_hz)
    found: list[tuple[float, Array, Array]] = []
    for begin in begins:
        after = int(np.searchsorted(seen_at, begin + length / 2))
        near = lags[max(after - 1, 0) : after + 1].tolist()
        low, high = math.floor(min(near)) - slack, math.ceil(max(near)) + slack
        x = movement(x_window, begin, begin + length, 1)
        y = movement(y_window, begin + low, begin + length + high, 1)
        if x.any() and y.any():
            places, likeness = _candidates(x, y)
            if len(places):
                found.append((begin + centre(x), low + places, likeness))
    return _likeliest(found, length)


def centre(movement: Array) -> float:
    """Where in a window most happens: the place its delay speaks of."""
    power = np.square(movement).sum(axis=0)
    return float((power * np.arange(1, len(power) + 1)).sum() / power.sum())


def _candidates(x: Array, y: Array) -> tuple[Array, Array]:
    """The few places where a window fits best, and how well."""
    x, y, products = white_products(x, y, crossed=False)
    power = float(np.square(x).sum()) * sliding_power(y, x.shape[1])
    if not power.max() > 0.0:
        return np.zeros(0), np.zeros(0)
    likeness = products[0].sum(axis=0) / np.sqrt(np.maximum(power, 1e-6 * power.max()))
    around = np.pad(likeness, 1, constant_values=-np.inf)
    peaks = np.flatnonzero((likeness >= around[:-2]) & (likeness > around[2:]))
    peaks = peaks[likeness[peaks] >= _LEAST_LIKENESS]
    peaks = peaks[np.argsort(-likeness[peaks], kind="stable")[:_MOST_CANDIDATES]]
    places = np.array([peak + _top(likeness, int(peak)) for peak in peaks.tolist()])
    return places, likeness[peaks]


def _top(heights: Array, best: int) -> float:
    """How far from a highest value the curve between the values has its top."""
    if not _AROUND <= best < len(heights) - _AROUND:
        return 0.0
    fine = _BETWEEN @ heights[best - _AROUND : best + _AROUND + 1]
    top = min(max(int(np.argmax(fine)), 1), len(fine) - 2)
    before, here, after = fine[top - 1 : top + 2].tolist()
    bend = before - 2.0 * here + after
    rest = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return float(_PLACES[top] + rest * (_PLACES[1] - _PLACES[0]))


def _likeliest(found: list[tuple[float, Array, Array]], length: int) -> Delays:
    """The course of least cost through one candidate of each window (A. J. Viterbi, 1967)."""
    if not found:
        return Delays(np.zeros(0), np.zeros(0), np.zeros(0))
    costs: list[Array] = []
    back: list[NDArray[np.intp]] = []
    for number, (at, places, likeness) in enumerate(found):
        own = 0.5 * _INDEPENDENT_SHARE * length * np.log1p(-np.minimum(likeness, 0.999) ** 2)
        if number:
            free = _SLOW_FRAMES + _SLOW * (at - found[number - 1][0])
            moved = np.abs(places[:, None] - found[number - 1][1])
            cost = costs[-1] + np.where(moved <= free, 0.0, _JUMP_COST)
            back.append(np.argmin(cost, axis=1))
            own = own + cost.min(axis=1)
        costs.append(own)
    chosen = int(np.argmin(costs[-1]))
    course = [chosen]
    for step in reversed(back):
        chosen = int(step[chosen])
        course.append(chosen)
    course.reverse()
    frames = [places[k] for (_, places, _), k in zip(found, course, strict=True)]
    likeness = np.array([each[k] for (_, _, each), k in zip(found, course, strict=True)])
    return Delays(np.array([each[0] for each in found]), np.array(frames), _COARSE_FRAMES / likeness)
