"""Whether the noise that one version has and the other has not would be heard at the seat."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.dsp.bands import band_edges_hz, third_octaves_hz
from stagefx.dsp.dither import dither_floor_dbfs
from stagefx.errors import ComparisonError
from stagefx.hearing.ear.threshold_of_hearing import (
    HIGHEST_HEARD_HZ,
    room_band_db_spl,
    threshold_db_spl,
)


@dataclass(frozen=True)
class NoiseChange:
    """The third octave in which a change of noise comes nearest to being heard."""

    over_db: float
    hz: float | None
    spl_db: float


def noise_change(
    band_hz: ArrayLike,
    first_spl_db: ArrayLike,
    second_spl_db: ArrayLike,
    *,
    room_noise_dba: float | None = None,
) -> NoiseChange:
    """Set the noise that one version has and the other has not against what hides it.

    ``L = 10 log10 |10^(L2/10) - 10^(L1/10)|`` over the higher of threshold and room, band by band

    ISO 389-7:2019: the threshold of hearing.
    """
    hz = np.asarray(band_hz, dtype=np.float64)
    levels = np.array([first_spl_db, second_spl_db], dtype=np.float64)
    if np.isnan(levels).any() or np.isposinf(levels).any():
        raise ComparisonError("a noise level is no number; give the noise in dB SPL, band by band")
    power = np.abs(np.diff(10.0 ** (levels / 10.0), axis=0))[0]
    with np.errstate(divide="ignore"):
        spl_db = 10.0 * np.log10(power)
    over_db = spl_db - hiding_db(hz, room_noise_dba=room_noise_dba)
    worst = int(np.argmax(over_db))
    if not math.isfinite(over_db[worst]):
        return NoiseChange(-math.inf, None, -math.inf)
    return NoiseChange(float(over_db[worst]), float(hz[worst]), float(spl_db[worst]))


def hiding_db(band_hz: ArrayLike, *, room_noise_dba: float | None = None) -> NDArray[np.float64]:
    """The level below which noise in a band is not heard."""
    hz = np.asarray(band_hz, dtype=np.float64)
    hiding = threshold_db_spl(hz)
    if room_noise_dba is not None:
        hiding = np.maximum(hiding, room_band_db_spl(room_noise_dba, hz))
    return np.where(hz <= HIGHEST_HEARD_HZ, hiding, np.inf)


def dither_over_db(
    full_scale_spl_db: float, *, rate_hz: int, room_noise_dba: float | None = None
) -> float:
    """What 24-bit dither comes to at the seat: the floor under calculated noise."""
    hz = third_octaves_hz()
    hz = hz[hz <= 0.45 * rate_hz]
    share = np.array([np.diff(band_edges_hz(one))[0] for one in hz]) / (0.5 * rate_hz)
    spl_db = full_scale_spl_db + dither_floor_dbfs(24) + 10.0 * np.log10(share)
    return float(np.max(spl_db - hiding_db(hz, room_noise_dba=room_noise_dba)))
