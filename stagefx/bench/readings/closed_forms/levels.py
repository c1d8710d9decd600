"""What a meter makes of a wave that it was not made for, and of a frequency beyond its reach."""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence

from stagefx.units import decibels

WAVES = ("sine", "square", "triangle", "noise")

_FORM = {
    "sine": math.pi / math.sqrt(8.0),
    "square": 1.0,
    "triangle": 2.0 / math.sqrt(3.0),
    "noise": math.sqrt(math.pi / 2.0),
}
"""Form factors, rms over mean rectified value (textbook integrals; noise is Gaussian)."""


def average_reading_error_db(wave: str) -> float:
    """How wrong a meter reads that responds to the mean and is marked for the rms of a sine."""
    return decibels(_FORM["sine"] / _FORM[wave])


def curve_db(curve: Sequence[tuple[float, float]], hz: float) -> float | None:
    """An instrument's own level at a frequency, between the points at which it is known."""
    points = [point[0] for point in curve]
    if hz <= points[0]:
        return curve[0][1]
    if hz > points[-1] * (1.0 + 1e-12):
        return None
    above = min(bisect.bisect_left(points, hz), len(points) - 1)
    (low_hz, low_db), (high_hz, high_db) = curve[above - 1], curve[above]
    share = math.log(hz / low_hz) / math.log(high_hz / low_hz)
    return low_db + min(share, 1.0) * (high_db - low_db)
