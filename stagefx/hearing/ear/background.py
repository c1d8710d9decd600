"""What sounds besides the music, new at every moment: the room, and the ear's own threshold."""

from __future__ import annotations

from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.ear.scale import FRAME, LINE_HZ, band_centres_hz, ear_weight_db, off_line_loss
from stagefx.hearing.ear.spreading import band_table, line_range, line_weights
from stagefx.hearing.ear.threshold_of_hearing import room_band_db_spl, threshold_db_spl

Array = NDArray[np.float64]


@cache
def threshold_energy() -> Array:
    """Energy in each band [109] of a tone at the threshold of hearing (ISO 389-7), re 0 dB SPL.

    It follows the measured threshold where the standard's own noise does not: at 8 kHz by 10 dB.
    """
    hz = band_centres_hz()
    return np.asarray(10.0 ** ((threshold_db_spl(hz) + ear_weight_db(hz)) / 10.0))


@lru_cache(maxsize=8)
def room_energy(room_dba: float | None) -> Array:
    """Energy in each band [109] of a room's noise of an A-weighted level, after the outer ear."""
    from stagefx.kernels.ear import group

    bands = band_table()
    energy = np.zeros(bands.shape[1])
    if room_dba is None:
        return energy
    hz = np.arange(FRAME // 2 + 1)[slice(*line_range())] * LINE_HZ
    lines_a_band = hz * (10.0**0.05 - 10.0**-0.05) / LINE_HZ
    # A sine's lines have together 1.5 times the energy of one that is met by its frequency.
    density = 1.5 / off_line_loss() ** 2 * 10.0 ** (room_band_db_spl(room_dba, hz) / 10.0)
    group(density / lines_a_band * line_weights()[0] ** 2, bands, energy)
    return energy


@lru_cache(maxsize=8)
def bands_in(room_dba: float | None) -> Array:
    """`band_table` of an ear in a room: its noise is added to the ear's own."""
    from stagefx.kernels.ear import INTERNAL_NOISE

    table = band_table().copy()
    table[INTERNAL_NOISE] += room_energy(room_dba)
    return table
