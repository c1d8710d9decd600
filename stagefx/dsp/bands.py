"""Third-octave bands by their exact frequencies."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_HALF_BAND = 10.0**0.05
_LOWEST, _HIGHEST = -17, 13  # 20 Hz to 20 kHz


def third_octaves_hz() -> NDArray[np.float64]:
    """Middle frequencies of the third-octave bands from 20 Hz to 20 kHz.

    ``f = 1000 · 10^(n/10)``, so that "20 Hz" is 19.953 Hz and "16 kHz" 15,849 Hz.

    IEC 61260-1: exact middle frequencies and band edges.
    """
    return np.asarray(1000.0 * 10.0 ** (np.arange(_LOWEST, _HIGHEST + 1) / 10.0))


def band_edges_hz(middle_hz: float) -> tuple[float, float]:
    """Where a third-octave band begins and ends."""
    return middle_hz / _HALF_BAND, middle_hz * _HALF_BAND


def nominal_hz(middle_hz: float) -> str:
    """What a third-octave band is called.

    IEC 61260-1: nominal frequencies.
    """
    mantissas = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
    step = round(10.0 * np.log10(middle_hz))
    value = mantissas[step % 10] * 10.0 ** (step // 10)
    return f"{value / 1000.0:g} kHz" if value >= 1000.0 else f"{value:g} Hz"
