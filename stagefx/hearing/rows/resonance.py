"""One resonance between two versions, where it explains their response: frequency, Q and height."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.audibility import REFERENCE_HZ
from stagefx.hearing.thresholds import Limit, limits

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LOWEST_HZ, HIGHEST_HZ = 60.0, 12e3
_PER_OCTAVE = 48
"""Fine enough for a Q of 60, whose peak is a fortieth of an octave wide."""
_LEAST_Q, _MOST_Q = 0.5, 100.0
_LEAST_HEIGHT_DB = 0.2
"""Lower ones light no row, so that nothing is gained by naming them."""
_EXPLAINED = 0.9
"""Share of the squared deviation: a shelf or two resonances are told by the rows they light."""
_LEFT_AT_ENDS = 0.4
"""Of its height at either end of the range: with more the other side is a guess."""
_FIRST_GUESSES = (0.7, 1.5, 2.0, 5.0, 15.0, 40.0)
"""From each of these Qs a fit is begun; the best is kept."""


@dataclass(frozen=True)
class Resonance:
    """A resonance added to the sound, or the inverse of one where it is a dip.

    ``H = 1 + a (s w0/Q) / (s^2 + s w0/Q + w0^2)``
    """

    hz: float
    quality: float
    height_db: float

    def response(self, hz: Array) -> Complex:
        """Its complex response."""
        share = 10.0 ** (abs(self.height_db) / 20.0) - 1.0
        ratio = np.asarray(hz) / self.hz
        peak = 1.0 + share / (1.0 + 1j * self.quality * (ratio - 1.0 / ratio))
        return np.asarray(peak if self.height_db > 0.0 else 1.0 / peak)

    @property
    def limit(self) -> Limit:
        """From which height on one of this Q is heard.

        What a resonance adds at its threshold rises by 3 dB for twice the Q (F. E. Toole, S. E.
        Olive, JAES 36 (3), 1988).  Below a Q of 1 it is held, for those are as wide as the rows.
        """
        given = limits()["resonance"]
        growth = max(self.quality, 1.0) ** 0.5
        may, will = (
            20.0 * float(np.log10(1.0 + growth * (10.0 ** (height / 20.0) - 1.0)))
            for height in (given.may, given.will)
        )
        return replace(given, may=may, will=will)


def find_resonance(response: Callable[[Array], Complex]) -> Resonance | None:
    """The one resonance that explains a response from Hz to complex [channels, lines]; or none."""
    hz = np.geomspace(
        LOWEST_HZ, HIGHEST_HZ, round(_PER_OCTAVE * np.log2(HIGHEST_HZ / LOWEST_HZ)) + 1
    )
    levels = 20.0 * np.log10(np.maximum(np.abs(response(hz)), 1e-9))
    within = (hz >= REFERENCE_HZ[0]) & (hz <= REFERENCE_HZ[1])
    levels -= np.median(levels[:, within], axis=1, keepdims=True)
    channel = int(np.argmax(np.abs(levels).max(axis=1)))
    level = levels[channel]
    if float(np.abs(level).max()) < _LEAST_HEIGHT_DB:
        return None
    found = _fitted(hz, level)
    return found if _stands_free(found, hz) and _explains(found, hz, levels) else None


def _fitted(hz: Array, level: Array) -> Resonance:
    from scipy.optimize import least_squares

    at = int(np.argmax(np.abs(level)))
    sign = 1.0 if level[at] > 0.0 else -1.0

    def resonance(values: Array) -> Resonance:
        octaves, log_quality, log_height = values
        return Resonance(
            float(hz[at] * 2.0**octaves),
            float(np.exp(log_quality)),
            sign * float(np.exp(log_height)),
        )

    def left(values: Array) -> Array:
        # the median of a wide resonance is not its foot, so the foot is fitted, too
        made = 20.0 * np.log10(np.abs(resonance(values[:3]).response(hz)))
        return np.asarray(level - made - values[3])

    height = float(np.log(abs(level[at])))
    low = [-0.5, np.log(_LEAST_Q), height - 1.5, -6.0]
    high = [0.5, np.log(_MOST_Q), height + 1.5, 6.0]
    fits = [
        least_squares(left, [0.0, float(np.log(quality)), height, 0.0], bounds=(low, high))
        for quality in _FIRST_GUESSES
    ]
    return resonance(min(fits, key=lambda fit: fit.cost).x[:3])


def _stands_free(found: Resonance, hz: Array) -> bool:
    """Whether both of its sides are seen: a shelf or a corner at an end is no resonance."""
    ends = 20.0 * np.log10(np.abs(found.response(hz[[0, -1]])))
    return bool(np.abs(ends).max() <= _LEFT_AT_ENDS * abs(found.height_db))


def _explains(found: Resonance, hz: Array, levels: Array) -> bool:
    """Whether all channels are level once it is taken away, or never had a shape at all."""
    made = 20.0 * np.log10(np.abs(found.response(hz)))
    left, before = 0.0, 0.0
    for level in levels:
        with_it, without = level - made, level - level.mean()
        with_it = with_it - with_it.mean()
        left += min(float(np.square(with_it).sum()), float(np.square(without).sum()))
        before += float(np.square(without).sum())
    return abs(found.height_db) >= _LEAST_HEIGHT_DB and left <= (1.0 - _EXPLAINED) * before
