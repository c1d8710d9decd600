"""The softest tone that young ears hear, and the noise of a room."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.audio.weighting import a_weighting_db
from stagefx.difference.bands import third_octaves_hz

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

    Parameters
    ----------
    frequency_hz : array-like of float, Hz, > 0
        Frequency.

    Returns
    -------
    ndarray of float64, dB SPL
        Between the tabulated frequencies along their logarithm; held beyond 20 Hz and 18 kHz.

    References
    ----------
    ISO 389-7:2019: reference threshold of hearing under free-field conditions.

    Examples
    --------
    >>> threshold_db_spl([50.0, 1000.0, 3150.0, 16000.0])
    array([44. ,  2.4, -6. , 40.2])
    """
    return np.asarray(
        np.interp(
            np.log(np.asarray(frequency_hz, dtype=np.float64)),
            np.log(REFERENCE_THRESHOLD_HZ),
            REFERENCE_THRESHOLD_DB_SPL,
        )
    )


def room_band_db_spl(room_noise_dba: float) -> float:
    """How loud a room's noise is in each third octave, taken as pink.

    Parameters
    ----------
    room_noise_dba : float, dBA
        A-weighted level of the whole.

    Returns
    -------
    float, dB SPL
        The same in every third octave from 20 Hz to 20 kHz.

    Notes
    -----
    That a room's noise is pink is a working assumption; real ones have more at the bottom.

    Examples
    --------
    >>> round(room_band_db_spl(30.0), 2)
    18.07
    """
    weights = 10.0 ** (a_weighting_db(third_octaves_hz()) / 10.0)
    return float(room_noise_dba - 10.0 * np.log10(weights.sum()))
