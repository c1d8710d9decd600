"""Contours of equal loudness: how strong a tone has to be to sound as loud as one at 1 kHz.

They tell why a level in decibels means little for hum: at 50 Hz a tone of 64 dB is no louder than
one of 20 dB at 1 kHz.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.errors import ComparisonError

LOWEST_PHON, HIGHEST_PHON, HIGHEST_PHON_ABOVE_4_KHZ = 20.0, 90.0, 80.0

_HZ = np.array([
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0,
    500.0, 630.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0,
    8000.0, 10000.0, 12500.0,
])  # fmt: skip
_EXPONENT = np.array([
    0.635, 0.602, 0.569, 0.537, 0.509, 0.482, 0.456, 0.433, 0.412, 0.391, 0.373, 0.357, 0.343,
    0.330, 0.320, 0.311, 0.303, 0.300, 0.295, 0.292, 0.290, 0.290, 0.289, 0.289, 0.289, 0.293,
    0.303, 0.323, 0.354,
])  # fmt: skip
_TRANSFER_DB = np.array([
    -31.5, -27.2, -23.1, -19.3, -16.1, -13.1, -10.4, -8.2, -6.3, -4.6, -3.2, -2.1, -1.2, -0.5, 0.0,
    0.4, 0.5, 0.0, -2.7, -4.2, -1.2, 1.4, 2.3, 1.0, -2.3, -7.2, -11.2, -10.9, -3.5,
])  # fmt: skip
_THRESHOLD_DB = np.array([
    78.1, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.6, 6.2, 4.4, 3.0, 2.2,
    2.4, 3.5, 1.7, -1.3, -4.2, -6.0, -5.4, -1.5, 6.0, 12.6, 13.9, 12.3,
])  # fmt: skip
"""Exponent of loudness, gain to the ear re 1 kHz, threshold of hearing, in the standard's rows."""


def contour_db_spl(phon: float, hz: ArrayLike) -> NDArray[np.float64]:
    """How strong tones have to be to sound as loud as one at 1 kHz.

    ``L = (10/a) lg[(4e-10)^(0.3-a) (10^(0.03 phon) - 10^0.072) + 10^(a (T+U)/10)] - U``

    ISO 226:2023, formula 1 and table 1.
    """
    tones = np.asarray(hz, dtype=np.float64)
    most = HIGHEST_PHON_ABOVE_4_KHZ if bool((tones > 4000.0).any()) else HIGHEST_PHON
    if not LOWEST_PHON <= phon <= most:
        raise ComparisonError(
            f"equal loudness is not known at {phon:g} phon; give {LOWEST_PHON:g} to {most:g}"
        )
    exponent, transfer_db, threshold_db = _rows_at(tones)
    loud = (4e-10) ** (0.3 - exponent) * (10.0 ** (0.03 * phon) - 10.0**0.072)
    at_threshold = 10.0 ** (0.1 * exponent * (threshold_db + transfer_db))
    return np.asarray(10.0 / exponent * np.log10(loud + at_threshold) - transfer_db)


def loudness_level_phon(level_db_spl: ArrayLike, hz: ArrayLike) -> NDArray[np.float64]:
    """How strong a tone at 1 kHz would have to be to sound as loud as tones do.

    ``phon = (100/3) lg[(10^(a (L+U)/10) - 10^(a (T+U)/10)) / (4e-10)^(0.3-a) + 10^0.072]``

    ISO 226:2023, formula 2 and table 1.
    """
    exponent, transfer_db, threshold_db = _rows_at(np.asarray(hz, dtype=np.float64))
    level = np.asarray(level_db_spl, dtype=np.float64)
    over = 10.0 ** (0.1 * exponent * (level + transfer_db)) - 10.0 ** (
        0.1 * exponent * (threshold_db + transfer_db)
    )
    with np.errstate(invalid="ignore"):
        inside = over / (4e-10) ** (0.3 - exponent) + 10.0**0.072
        return np.asarray(100.0 / 3.0 * np.log10(inside))


def _rows_at(hz: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    if bool((hz < _HZ[0]).any() or (hz > _HZ[-1]).any()):
        raise ComparisonError(
            f"equal loudness is known from {_HZ[0]:g} to {_HZ[-1]:g} Hz; give a frequency in "
            "between"
        )
    columns = (_EXPONENT, _TRANSFER_DB, _THRESHOLD_DB)
    return tuple(np.interp(np.log(hz), np.log(_HZ), column) for column in columns)
