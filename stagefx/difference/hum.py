"""Lines of the mains in a spectrum of noise: the families of 50 and 60 Hz."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MAINS_HZ = (50, 60)
STANDS_OUT_DB = 10.0
"""Over what its surroundings would put into as many lines."""
HIGHEST_HZ = 1000.0
_NEAR_LINES, _AROUND_LINES = 2, 8
_SINE = 0.5


@dataclass(frozen=True)
class HumLine:
    """A line of the mains."""

    hz: float
    dbfs: float
    over_noise_db: float


def find_hum(hz: Array, power: Array) -> tuple[tuple[HumLine, ...], int | None]:
    """Find the lines of the mains in a spectrum.

    300, 600 and 900 Hz belong to both families and tell nothing between them.
    """
    families = {mains: _family(hz, power, mains) for mains in MAINS_HZ}
    weight = {
        mains: sum(10.0 ** (line.dbfs / 10.0) for line in lines if line.hz % 300.0)
        for mains, lines in families.items()
    }
    best = max(MAINS_HZ, key=lambda mains: weight[mains])
    if weight[best] <= 0.0:
        return (), None
    return families[best], best


def without_lines(hz: Array, power: Array, lines: tuple[HumLine, ...]) -> Array:
    """A spectrum as of `find_hum`, what lies around its lines put in their place."""
    left = power.copy()
    for line in lines:
        middle = round(line.hz / float(hz[1]))
        near = slice(max(middle - _NEAR_LINES, 0), middle + _NEAR_LINES + 1)
        around = np.r_[power[max(middle - _AROUND_LINES, 1) : near.start],
                       power[near.stop : middle + _AROUND_LINES + 1]]  # fmt: skip
        left[near] = np.minimum(left[near], np.median(around))
    return left


def _family(hz: Array, power: Array, mains: int) -> tuple[HumLine, ...]:
    found = []
    spacing = float(hz[1])
    for number in range(1, int(HIGHEST_HZ / mains) + 1):
        middle = number * mains / spacing
        nearest = round(middle)
        if nearest + _AROUND_LINES >= len(power):
            break
        near = slice(max(nearest - _NEAR_LINES, 0), nearest + _NEAR_LINES + 1)
        away = np.arange(max(nearest - _AROUND_LINES, 1), nearest + _AROUND_LINES + 1)
        # lines of the family lie clear of each other's surroundings only where they are far apart
        clear = away[
            np.abs((away * spacing + mains / 2.0) % mains - mains / 2.0)
            > min(_NEAR_LINES * spacing, 0.35 * mains)
        ]
        noise = float(np.median(power[clear])) if len(clear) else math.inf
        peak_at = int(np.argmax(power[near])) + near.start
        if abs(peak_at - middle) > 1.0:
            continue
        inside = float(power[near].sum())
        line = inside - noise * (2 * _NEAR_LINES + 1)
        over = inside / max(noise * (2 * _NEAR_LINES + 1), 1e-300)
        if line > 0.0 and 10.0 * math.log10(over) > STANDS_OUT_DB:
            found.append(
                HumLine(
                    float(number * mains),
                    10.0 * math.log10(line / _SINE),
                    min(10.0 * math.log10(over), 300.0),
                )
            )
    return tuple(found)
