"""Short windows of a piece, each sought on its own in another, and the likeliest course of all.

A window may fit at several places: a repeated note, a steady tone.  So each names its best few,
and of all courses through them the likeliest is taken: the delay may move slowly for nothing, as a
clock lets it, and jump at a price.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.align.delay.lag import movement, sliding_power, white_products
from stagefx.align.path_fit import Delays
from stagefx.align.resample import Along
from stagefx.align.time_path import TimePath
from stagefx.io.recording import ForwardWindow, Recording

Array = NDArray[np.float64]

SLACK_S = 0.06
"""How far a window may lie beside what was seen before and after it."""
_MOST_CANDIDATES = 6
_EXPECTED_FRAMES = 32
"""Around what was seen nearby: there a lesser peak counts too, for a voice has one a period."""
_LEAST_LIKENESS = 0.12
"""A window that is less like any place tells nothing."""
_COARSE_FRAMES = 0.02
"""How well a window is placed by its correlation."""
_INDEPENDENT_SHARE = 0.01
"""Of a window's frames; more, and tones that fit by chance outweigh a jump."""
_SURE = 0.999
_JUMP_COST, _SKIP_COST = 25.0, 3.0
"""Natural logarithms of the odds against a jump, and against a window that is found nowhere."""
_MOVE_COST = 2.0
"""Of the quickest slow movement: a clock rather stays."""
_MOST_BACK = 128
"""Windows that may be passed by in a row."""
_SLOW = 0.012
"""Frames a frame by which the delay may move for nothing."""
_SLOW_FRAMES = 3.0
_BACK_FRAMES = 64.0
"""What comes later in the first never comes earlier in the second, but for a window's blur."""

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
            places, likeness = _candidates(x, y, [each - low for each in near])
            if len(places):
                found.append((begin + centre(x), low + places, likeness))
    return _likeliest(found, length)


def seek_along(
    first: Recording,
    second: Recording,
    path: TimePath,
    stretch: tuple[int, int],
    length: int,
    slack: int,
    factor: int,
) -> Delays:
    """Windows that overlap by half, each sought a little to either side of a known course.

    On means of `factor` frames: a short window of a wavering second is in step at low frequencies.
    """
    start, stop = stretch
    straightened = Along(second, path, first.format.frames)
    x_window, y_window = ForwardWindow(first), ForwardWindow(straightened)
    length, slack = length // factor * factor, -(-slack // factor) * factor
    found: list[tuple[float, Array, Array]] = []
    for begin in range(start, stop - length + 1, length // 2 // factor * factor):
        end = begin + length
        y = y_window.stretch(begin - slack, end + slack)
        x = _moves(x_window.stretch(begin, end), factor)
        moved = _moves(y, factor)
        if x.any() and moved.any():
            places, likeness = _candidates(x, moved, [slack / factor])
            if len(places):
                at = begin + factor * centre(x)
                lags = factor * places - slack
                # What lies a lag later on the straightened second is read by the course there.
                known = path.delay_at(at + lags)
                found.append((at, lags + known, likeness))
    return _likeliest(found, length // factor)


def _moves(block: Array, factor: int) -> Array:
    means = block.reshape(-1, factor, block.shape[1]).mean(axis=1)
    return np.ascontiguousarray(np.diff(means.T, axis=1))


def centre(movement: Array) -> float:
    """Where in a window most happens: the place its delay speaks of."""
    power = np.square(movement).sum(axis=0)
    return float((power * np.arange(1, len(power) + 1)).sum() / power.sum())


def _candidates(x: Array, y: Array, expected: list[float]) -> tuple[Array, Array]:
    """The few places where a window fits best, those near what is expected too, and how well."""
    x, y, products = white_products(x, y, crossed=False)
    power = float(np.square(x).sum()) * sliding_power(y, x.shape[1])
    if not power.max() > 0.0:
        return np.zeros(0), np.zeros(0)
    likeness = products[0].sum(axis=0) / np.sqrt(np.maximum(power, 1e-6 * power.max()))
    around = np.pad(likeness, 1, constant_values=-np.inf)
    peaks = np.flatnonzero((likeness >= around[:-2]) & (likeness > around[2:]))
    peaks = peaks[likeness[peaks] >= _LEAST_LIKENESS]
    peaks = peaks[np.argsort(-likeness[peaks], kind="stable")]
    near = [peaks[np.abs(peaks - each) < _EXPECTED_FRAMES][:1] for each in expected]
    peaks = np.unique(np.concatenate([peaks[:_MOST_CANDIDATES], *near]))
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
    """The course of least cost through candidates, some windows passed by (Viterbi, 1967)."""
    number = np.repeat(np.arange(len(found)), [len(each[1]) for each in found])
    at = np.array([found[k][0] for k in number.tolist()])
    places = np.concatenate([np.zeros(0), *(each[1] for each in found)])
    likeness = np.concatenate([np.zeros(0), *(each[2] for each in found)])
    own = np.log1p(-np.square(np.minimum(likeness, _SURE))) * 0.5 * _INDEPENDENT_SHARE * length
    cost, back = own + _SKIP_COST * number, np.full(len(own), -1)
    starts = np.searchsorted(number, np.arange(len(found)))
    for here, (begin, end) in enumerate(itertools.pairwise([*starts.tolist(), len(own)])):
        low = int(starts[max(here - _MOST_BACK, 0)])
        if low == begin:
            continue
        before = slice(low, begin)
        free = _SLOW_FRAMES + _SLOW * (at[begin] - at[before])
        moved = np.abs(places[begin:end, None] - places[before]) / free
        price = np.where(moved > 1.0, _JUMP_COST, _MOVE_COST * np.square(moved))
        back_in_time = at[begin] + places[begin:end, None] < (at + places)[before] - _BACK_FRAMES
        price = np.where(back_in_time, np.inf, price)
        way = cost[before] + _SKIP_COST * (here - 1 - number[before]) + price
        best = np.argmin(way, axis=1)
        least = way[np.arange(end - begin), best]
        better = own[begin:end] + least < cost[begin:end]
        cost[begin:end] = np.where(better, own[begin:end] + least, cost[begin:end])
        back[begin:end] = np.where(better, low + best, -1)
    course: list[int] = []
    chosen = int(np.argmin(cost + _SKIP_COST * (len(found) - 1 - number))) if len(own) else -1
    while chosen >= 0:
        course.append(chosen)
        chosen = int(back[chosen])
    way_taken = np.array(course[::-1], dtype=np.intp)
    return Delays(at[way_taken], places[way_taken], _COARSE_FRAMES / likeness[way_taken])
