"""The softest tone that young ears hear, and the noise of a room."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.dsp.bands import third_octaves_hz
from stagefx.dsp.weighting import a_weighting_db

REFERENCE_THRESHOLD_HZ = (
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0,
    500.0, 630.0, 750.0, 800.0, 1000.0, 1250.0, 1500.0, 1600.0, 2000.0, 2500.0, 3000.0, 3150.0,
    4000.0, 5000.0, 6000.0, 6300.0, 8000.0, 9000.0, 10000.0, 11200.0, 12500.0, 14000.0, 16000.0,
    18000.0,
)  # fmt: skip
REFERENCE_THRESHOLD_DB_SPL = (
    78.1, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.6, 6.2,
    4.4, 3.0, 2.4, 2.2, 2.4, 3.5, 2.4, 1.7, -1.3, -4.2, -5.8, -6.0,
    -5.4, -1.5, 4.3, 6.0, 12.6, 13.9, 13.9, 13.0, 12.3, 18.4, 40.2,
    70.4,
)  # fmt: skip
"""ISO 389-7:2019, table 1: tones in a free field, from the front, both ears."""


def threshold_db_spl(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """The reference threshold of hearing.

    ISO 389-7:2019: reference threshold of hearing under free-field conditions.
    """
    return np.asarray(
        np.interp(
            np.log(np.asarray(frequency_hz, dtype=np.float64)),
            np.log(REFERENCE_THRESHOLD_HZ),
            REFERENCE_THRESHOLD_DB_SPL,
        )
    )


NOISE_RATING_HZ = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
NOISE_RATING_AT_0_DB = (35.4, 22.0, 12.0, 4.2, 0.0, -3.5, -6.1, -8.0)
NOISE_RATING_STEP = (0.790, 0.870, 0.930, 0.980, 1.000, 1.015, 1.025, 1.030)
"""ISO/R 1996:1971, noise rating curves: a + b N, dB SPL in an octave, for the number N."""
HIGHEST_HEARD_HZ = 18000.0
"""ISO 389-7 ends here; sound above it is not judged."""


def room_band_db_spl(
    room_noise_dba: float, frequency_hz: ArrayLike | None = None
) -> NDArray[np.float64]:
    """How loud a room's noise is in third octaves: a noise-rating curve of its A-weighted level.

    Below 63 Hz the level is held: a working assumption, so that a room hides no hum that it may
    not have.  Third octaves from 20 Hz to 20 kHz unless other middle frequencies are given.
    """
    rating = _noise_rating(room_noise_dba)
    return _rated_db_spl(rating, third_octaves_hz() if frequency_hz is None else frequency_hz)


@lru_cache(maxsize=32)
def _noise_rating(room_noise_dba: float) -> float:
    """The number of the curve whose third octaves add up to an A-weighted level."""
    from scipy.optimize import brentq

    hz = third_octaves_hz()
    weights_db = a_weighting_db(hz)

    def over_db(rating: float) -> float:
        powers = 10.0 ** ((_rated_db_spl(rating, hz) + weights_db) / 10.0)
        return float(10.0 * np.log10(powers.sum())) - room_noise_dba

    return float(brentq(over_db, room_noise_dba - 100.0, room_noise_dba + 100.0))


def _rated_db_spl(rating: float, frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """Third octaves of a noise-rating curve; above 8 kHz it goes on as from 4 to 8 kHz."""
    octaves_db = np.array(NOISE_RATING_AT_0_DB) + rating * np.array(NOISE_RATING_STEP)
    place = np.log2(np.asarray(frequency_hz, dtype=np.float64) / NOISE_RATING_HZ[-1])
    level = np.interp(place, np.log2(np.array(NOISE_RATING_HZ) / NOISE_RATING_HZ[-1]), octaves_db)
    level += np.maximum(place, 0.0) * (octaves_db[-1] - octaves_db[-2])
    return np.asarray(level - 10.0 * np.log10(3.0))
