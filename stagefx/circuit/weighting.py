"""The A curve of sound level meters, for noise worked out on paper."""

from __future__ import annotations

import numpy as np

from stagefx.circuit.values import Array

_POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
"""IEC 61672-1, equations (E.1) to (E.3): the first and the last are double poles."""


def a_weighting_db(hz: Array) -> Array:
    """How much softer a sound level meter takes a frequency than 1 kHz.

    A = 20 log10(f4² f⁴ / ((f² + f1²) sqrt((f² + f2²)(f² + f3²)) (f² + f4²))), less A at 1 kHz.

    Parameters
    ----------
    hz : array, Hz, > 0
        Frequency.

    Returns
    -------
    array, dB
        Same shape; 0 at 1 kHz.

    References
    ----------
    IEC 61672-1, annex E: the analytic form, with the pole frequencies.

    Examples
    --------
    >>> a_weighting_db(np.array([100.0, 1000.0, 10000.0])).round(1) + 0.0
    array([-19.1,   0. ,  -2.5])
    """
    return _gain_db(np.asarray(hz, dtype=np.float64)) - _gain_db(np.array(1000.0))


def _gain_db(hz: Array) -> Array:
    square = hz**2
    p1, p2, p3, p4 = (pole**2 for pole in _POLES_HZ)
    below = (square + p1) * np.sqrt((square + p2) * (square + p3)) * (square + p4)
    return np.asarray(20.0 * np.log10(p4 * square**2 / below))
