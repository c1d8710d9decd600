"""Noise and hum: what comes out when nothing is played.

Odd multiples of the mains frequency are mostly picked up, by a loop in the field of a transformer
or along a cable; even ones are what a full-wave rectifier leaves on a supply (common practice).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.measure.decibels import ratio_db
from stagefx.bench.measure.rows import HumLine, Noise, NoiseBand, Scales
from stagefx.bench.measure.spectrum import a_weighted, ccir_rms, in_band, power_lines
from stagefx.bench.signals.plan import third_octaves_hz

Array = NDArray[np.float64]

MAINS_HZ = (50.0, 60.0)
MAINS_OFF = 0.01
"""How far, relatively, the mains may be off."""
HIGHEST_ORDER = 20
_HALF_WIDTH_HZ = 1.2
_AROUND_HZ = 8.0
_STANDS_OUT = 5.0
"""Power of a line re that of the noise in its place."""


def noise_of(samples: Array, rate_hz: float, scales: Scales) -> Noise:
    """Noise and hum of a silent stretch."""
    hz, power = power_lines(samples, rate_hz)
    levels = {
        weight.__name__: _dbfs(float((power * weight(hz)).sum()))
        for weight in (in_band, a_weighted, ccir_rms)
    }
    mains_hz, found = _hum(hz, power)
    lines = tuple(
        HumLine(
            order * mains_hz,
            order,
            _dbfs(line),
            scales.output_v(_dbfs(line)),
            "pickup" if order % 2 else "rectifier",
        )
        for order, line in found.items()
    )
    left = max(float((power * in_band(hz)).sum()) - sum(found.values()), 0.0)
    plain, a, ccir = levels.values()
    return Noise(
        unweighted_dbfs=plain,
        a_dbfs=a,
        ccir_rms_dbfs=ccir,
        unweighted_v_rms=scales.output_v(plain),
        a_v_rms=scales.output_v(a),
        ccir_rms_v_rms=scales.output_v(ccir),
        without_hum_dbfs=_dbfs(left),
        mains_hz=mains_hz if lines else None,
        hum=lines,
        pickup_dbfs=_together(found, 1),
        rectifier_dbfs=_together(found, 0),
        bands=tuple(_bands(hz, power, rate_hz)),
    )


def _bands(hz: Array, power: Array, rate_hz: float) -> Iterator[NoiseBand]:
    for middle_hz in third_octaves_hz(0.45 * rate_hz):
        low, high = (middle_hz * 10.0**off for off in (-0.05, 0.05))
        yield NoiseBand(middle_hz, _dbfs(float(power[(hz >= low) & (hz < high)].sum())))


def _dbfs(mean_square: float) -> float:
    return ratio_db(math.sqrt(2.0 * mean_square))


def _together(found: dict[int, float], parity: int) -> float | None:
    powers = [power for order, power in found.items() if order % 2 == parity]
    return _dbfs(sum(powers)) if powers else None


def _hum(hz: Array, power: Array) -> tuple[float, dict[int, float]]:
    """The mains frequency that explains most, and the power of each multiple that stands out."""
    best: tuple[float, float, dict[int, float]] = (0.0, MAINS_HZ[0], {})
    for nominal in MAINS_HZ:
        mains_hz = _exactly(hz, power, nominal)
        found = {}
        for order in range(1, HIGHEST_ORDER + 1):
            line, noise = _line(hz, power, order * mains_hz)
            if line > _STANDS_OUT * noise:
                found[order] = line - noise
        best = max(best, (sum(found.values()), mains_hz, found), key=lambda one: one[0])
    return best[1], best[2]


def _exactly(hz: Array, power: Array, nominal_hz: float) -> float:
    """Where between its limits the mains frequency lies, by its strongest multiple."""
    strongest, mains_hz = 0.0, nominal_hz
    for order in range(1, HIGHEST_ORDER + 1):
        off = MAINS_OFF * order * nominal_hz
        inside = np.flatnonzero(np.abs(hz - order * nominal_hz) <= min(off, 0.4 * nominal_hz))
        if not len(inside):
            continue
        peak = int(inside[np.argmax(power[inside])])
        line, noise = _line(hz, power, float(hz[peak]))
        if line > max(strongest, _STANDS_OUT * noise):
            near = slice(max(peak - 3, 0), peak + 4)
            middle = float((hz[near] * power[near]).sum() / power[near].sum())
            strongest, mains_hz = line, middle / order
    close = abs(mains_hz - nominal_hz) < 0.005
    return nominal_hz if close else round(mains_hz, 3)


def _line(hz: Array, power: Array, at_hz: float) -> tuple[float, float]:
    """Power within a line's width, and what the noise beside it has in as many places."""
    off = np.abs(hz - at_hz)
    inside = off <= _HALF_WIDTH_HZ + 0.001 * at_hz
    beside = (off > 2.0 * _HALF_WIDTH_HZ + 0.001 * at_hz) & (off <= _AROUND_HZ + 0.001 * at_hz)
    if not beside.any():
        return 0.0, 0.0
    noise = float(np.median(power[beside])) / math.log(2.0) * int(inside.sum())
    return float(power[inside].sum()), noise
