"""Where a trace crosses its middle, and how much of it is noise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from stagefx.bench.scope.tables import Array, Trace

_HYSTERESIS = 0.15
_MEDIAN_OF_NORMAL = 0.6745


@dataclass(frozen=True)
class Crossing:
    """One passage from one side of the middle to the other."""

    place: float
    rises: bool


def noise_v(trace: Trace) -> float:
    """How much single points scatter."""
    bent = np.abs(np.diff(trace.volts, n=2))
    scatter = float(np.median(bent)) / (_MEDIAN_OF_NORMAL * math.sqrt(6.0))
    return max(scatter, trace.step_v / math.sqrt(12.0))


def crossings(volts: Array) -> tuple[Crossing, ...]:
    """Where a wave passes from one half of its range to the other."""
    low, high = float(volts.min()), float(volts.max())
    middle, beyond = 0.5 * (low + high), _HYSTERESIS * (high - low)
    side = np.where(volts > middle + beyond, 1, np.where(volts < middle - beyond, -1, 0))
    told = np.flatnonzero(side)
    found = []
    for before, after in pairwise(told):
        if side[before] == side[after]:
            continue
        rises = bool(side[after] > 0)
        piece = volts[before : after + 1] - middle
        at = int(np.argmax(piece > 0.0 if rises else piece < 0.0))
        share = float(piece[at - 1] / (piece[at - 1] - piece[at]))
        found.append(Crossing(float(before + at - 1) + share, rises))
    return tuple(found)


def period_points(found: tuple[Crossing, ...]) -> tuple[float, float] | None:
    """The period of a wave, and how far single periods depart from it."""
    if len(found) < 2:
        return None
    places = np.array([one.place for one in found])
    if len(found) == 2:
        return 2.0 * float(places[1] - places[0]), 0.0
    whole = places[2:] - places[:-2]
    return float(whole.mean()), float(np.ptp(whole) / whole.mean())
