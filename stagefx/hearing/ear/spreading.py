"""How a sound in one band of the ear reaches into others, lasts on, and masks."""

from __future__ import annotations

import itertools
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.hearing.ear.scale import (
    BAND_BARK,
    FRAME,
    HOP,
    LINE_HZ,
    RATE_HZ,
    band_centres_hz,
    band_edges_hz,
    ear_weight_db,
    internal_noise_db,
)

Array = NDArray[np.float64]

FRAMES_PER_SECOND = RATE_HZ / HOP
ADDING_POWER = 0.4
"""Excitations from several bands add up to this power."""
LOWER_DB_PER_BARK = 27.0
LONGEST_S, SHORTEST_S = 0.030, 0.008
"""Time constants of smearing at 100 Hz and far above."""


def smearing(hz: ArrayLike) -> Array:
    """How much of a band's excitation is left one frame later.

    ``a = exp(-1 / (F τ))``, τ = 8 ms + (100 Hz / f) 22 ms, F frames a second

    ITU-R BS.1387, annex 2, 2.1.8.
    """
    tau_s = SHORTEST_S + 100.0 / np.asarray(hz, np.float64) * (LONGEST_S - SHORTEST_S)
    return np.asarray(np.exp(-1.0 / (FRAMES_PER_SECOND * tau_s)))


def mask_offset_db() -> Array:
    """How far under the excitation a noise has to stay to be masked.

    ITU-R BS.1387, annex 2, 3.2; Barks are counted from the first band.
    """
    places = BAND_BARK * np.arange(band_centres_hz().size)
    return np.where(places <= 12.0, 3.0, 0.25 * places)


def upper_slope_nepers() -> Array:
    """The upper slope from each band to the next, for energy 1.

    ``(-24 - 230 / f) dB a Bark``, to which a fifth of the level is added

    ITU-R BS.1387, annex 2, 2.1.7.
    """
    slope_db = -24.0 - 230.0 / band_centres_hz()
    return np.asarray(0.1 * slope_db * BAND_BARK * np.log(10.0))


def lower_sum() -> Array:
    """What the lower slope adds up to over a band and all below it."""
    step = 10.0 ** (-0.1 * LOWER_DB_PER_BARK * BAND_BARK)
    return np.asarray((1.0 - step ** (np.arange(band_centres_hz().size) + 1)) / (1.0 - step))


@cache
def spreading_normal() -> Array:
    """What spreading adds up to in each band where every band has energy 1.

    ITU-R BS.1387, annex 2, 2.1.7.
    """
    count = band_centres_hz().size
    upper = np.exp(upper_slope_nepers())
    upper_sum = (1.0 - upper ** (count - np.arange(count))) / (1.0 - upper)
    lower = 10.0 ** (-0.1 * LOWER_DB_PER_BARK * BAND_BARK)
    apart = np.arange(count)[:, None] - np.arange(count)  # from masker (column) to band (row)
    reach = np.where(apart >= 0, upper ** np.maximum(apart, 0), lower ** np.maximum(-apart, 0))
    shares = reach / (lower_sum() + upper_sum - 1.0)
    normal = (shares**ADDING_POWER).sum(axis=1) ** (1.0 / ADDING_POWER)
    normal.flags.writeable = False
    return np.asarray(normal)


@cache
def line_range() -> tuple[int, int]:
    """The lines of a spectrum that some band takes part of."""
    edges = band_edges_hz()
    return _nearest_line(float(edges[0])), _nearest_line(float(edges[-1])) + 1


def _nearest_line(hz: float) -> int:
    return int(np.floor(hz / LINE_HZ + 0.5))


@cache
def line_weights() -> Array:
    """The ear's weight of each line, as a factor of magnitude."""
    hz = np.arange(FRAME // 2 + 1)[slice(*line_range())] * LINE_HZ
    return np.asarray(10.0 ** (ear_weight_db(hz) / 20.0))[None, :]


@cache
def band_table() -> Array:
    """All that the kernels need to know of each band.

    ITU-R BS.1387, annex 2, 2.1.5: a line that lies across an edge is shared.
    """
    from stagefx.kernels import ear

    edges, start = band_edges_hz(), line_range()[0]
    table = np.zeros((ear.TABLE_ROWS, edges.size - 1))
    for band, (low, high) in enumerate(itertools.pairwise(edges)):
        first, last = _nearest_line(low), _nearest_line(high)
        share = (min(high, (first + 0.5) * LINE_HZ) - low) / LINE_HZ
        rest = (high - max(low, (last - 0.5) * LINE_HZ)) / LINE_HZ
        table[:4, band] = first - start, last - start, share, rest
    table[ear.INTERNAL_NOISE] = 10.0 ** (internal_noise_db(band_centres_hz()) / 10.0)
    table[ear.UPPER_SLOPE] = upper_slope_nepers()
    table[ear.LOWER_SUM] = lower_sum()
    table[ear.BANDS_ABOVE] = table.shape[1] - np.arange(table.shape[1])
    table[ear.SMEARING] = smearing(band_centres_hz())
    table[ear.NORMAL] = 1.0 / spreading_normal()
    return table
