"""How deep two versions of a piece null, and what level lies between them.

A null depth says nothing by itself: a harmless pole far above hearing nulls badly by its delay
alone.  So it is taken four times, each time with one more cause taken away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.difference.pairs import Pair
from stagefx.kernels.pair_sums import add_squares

Array = NDArray[np.float64]

_LEAST_GAIN = 0.05
_WATCHED_FRAMES, _LOOK_FRAMES = 1024, 8192
"""A delay that has changed stays changed: a look now and then is enough."""
_MOST_SHIFT_FRAMES = 0.3
_EXPLAINED = 0.3
"""Of the difference, by a shift."""
_STRANGE, _USUAL = 0.5, 0.1
"""A difference re the first that is other music, and one that is none."""
_IN_A_ROW = 5
_LEAST_LOUD = 1e-5
"""Of the loudest look: quieter ones are passed by."""


@dataclass(frozen=True)
class NullDepths:
    """What is left when a second version is taken from a first, re the first's rms."""

    plain: float
    after_gain: float
    after_delay: float
    after_response: float | None


class Squares:
    """Sums of squares and products of two pieces, channel by channel.

    The second enters by its difference from the first, so that small differences are exact and
    equal pieces leave exactly nothing.
    """

    def __init__(self, channels: int) -> None:
        self._sums = np.zeros((3, channels))
        self.first, self.across, self.difference = self._sums

    def add(self, first: Array, second: Array, gain: float) -> Array:
        """Add the next stretch."""
        more = np.empty_like(second)
        add_squares(first, second, gain, self._sums, more)
        return more

    @property
    def gain(self) -> float:
        """Least-squares gain from the first to the second, all channels together."""
        return 1.0 + float(self.across.sum()) / float(self.first.sum())

    def null_db(self, gain: float) -> float:
        """Residual of the second at the first's gain, re the first."""
        more = gain - 1.0
        left = self.difference - 2.0 * more * self.across + more * more * self.first
        return decibels(float(left.sum()) / gain**2, float(self.first.sum()))


def decibels(power: float, reference: float) -> float:
    """A ratio of powers in decibels."""
    return 10.0 * math.log10(power / reference) if power > 0.0 and reference > 0.0 else -math.inf


class NullMeter:
    """A meter of null depths that two pieces are passed through side by side."""

    def __init__(self, channels: int, gain: float) -> None:
        self._gain = gain
        self._plain = Squares(channels)
        self._untouched = Squares(channels)
        self.aligned = Squares(channels)

    def add(self, pair: Pair) -> Array:
        """Pass the next stretch through the meter."""
        first, untouched = np.ascontiguousarray(pair.first), np.ascontiguousarray(pair.untouched)
        self._plain.add(first, untouched, 1.0)
        self._untouched.add(first, untouched, self._gain)
        return self.aligned.add(first, np.ascontiguousarray(pair.second), self._gain)

    @property
    def gain(self) -> float:
        """Least-squares gain from first to aligned second, polarity included."""
        return self._gain * self.aligned.gain

    @property
    def relative_gain(self) -> float:
        """The same re the guess; 1 where one channel turned over outweighs the others."""
        found = self.aligned.gain
        return found if found > _LEAST_GAIN else 1.0

    @property
    def plain_db(self) -> float:
        """Null depth as they lie."""
        return self._plain.null_db(1.0)

    @property
    def after_gain_db(self) -> float:
        """Null depth with gain and polarity taken away."""
        return self._untouched.null_db(self.relative_gain)

    @property
    def after_delay_db(self) -> float:
        """Null depth with gain, polarity and delay taken away."""
        return self.aligned.null_db(self.relative_gain)


class Watch:
    """Looks now and then whether two pieces still lie beside each other, and what is between."""

    def __init__(self) -> None:
        self._looks: list[tuple[float, float, float, float]] = []
        self._means: list[Array] = []

    def add(self, first: Array, more: Array) -> None:
        """Look at the next block: what the second has more, and what it would have by a shift."""
        for begin in range(0, len(first) - _LOOK_FRAMES // 2 + 1, _LOOK_FRAMES):
            self._means.append(more[begin : begin + _LOOK_FRAMES].mean(axis=0))
            x, d = (each[begin : begin + _WATCHED_FRAMES] for each in (first, more))
            moved = 0.5 * (x[2:] - x[:-2])
            d = d[1:-1] - d[1:-1].mean(axis=0)
            sums = (np.square(x[1:-1]), np.square(moved), np.square(d), moved * d)
            one, two, three, four = (float(each.sum()) for each in sums)
            self._looks.append((one, two, three, four))

    def means(self) -> Array:
        """Mean of what the second has more, part by part; [parts, channels]."""
        return np.array(self._means).reshape(len(self._means), -1)

    def steady(self) -> bool:
        """Whether nowhere the second has moved, or become other music, for some looks in a row."""
        if not self._looks:
            return True
        power, slope, left, across = np.array(self._looks).T
        loud = (power > _LEAST_LOUD * power.max()) & (slope > 0.0)
        if not loud.any():
            return True
        power, slope, left, across = (each[loud] for each in (power, slope, left, across))
        shift = across / slope
        moved = np.abs(shift - np.median(shift)) > _MOST_SHIFT_FRAMES
        moved &= np.square(across) > _EXPLAINED * slope * left
        strange = left / power > _STRANGE
        strange &= float(np.median(left / power)) < _USUAL
        odd = (moved | strange).astype(np.intp)
        row = np.convolve(odd, np.ones(_IN_A_ROW, dtype=np.intp))
        return bool(row.max() < _IN_A_ROW)
