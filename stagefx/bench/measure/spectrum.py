"""Noise in a stretch of a recording: its power from 20 Hz to 20 kHz, weighted or not."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.measure.sines import window
from stagefx.dsp.weighting import a_weighting_db, noise_weighting_db

Array = NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 20.0, 20e3
"""AES17: between a high-pass at 20 Hz and the standard low-pass at 20 kHz."""
_EDGE_HZ = 15.0
"""What a tone at the edge of the band spreads over in these spectra."""
CCIR_RMS_DB = -5.63
"""AES17: the curve of ITU-R BS.468 with 0 dB at 2 kHz."""
NOTCH_Q = 3.0
"""AES17: the standard notch has a quality of 1.2 to 3."""

Weight = Callable[[Array], Array]


def power_lines(samples: Array, rate_hz: float) -> tuple[Array, Array]:
    """Mean square by frequency."""
    shape = window(len(samples))
    spectrum = np.fft.rfft((samples - float(shape @ samples)) * shape)
    lines = np.square(spectrum.real) + np.square(spectrum.imag)
    lines[1:] *= 2.0
    hz = np.asarray(np.fft.rfftfreq(len(samples), 1.0 / rate_hz), np.float64)
    return hz, lines / (len(samples) * float(np.square(shape).sum()))


def in_band(hz: Array) -> Array:
    """The audio band: 1 from 20 Hz to 20 kHz, else 0."""
    return np.where((hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ + _EDGE_HZ), 1.0, 0.0)


def a_weighted(hz: Array) -> Array:
    """The audio band, A-weighted."""
    return np.asarray(10.0 ** (a_weighting_db(hz) / 10.0) * in_band(hz))


def ccir_rms(hz: Array) -> Array:
    """The audio band through the curve of AES17."""
    return np.asarray(10.0 ** ((noise_weighting_db(hz) + CCIR_RMS_DB) / 10.0) * in_band(hz))


def notch(hz: Array, middle_hz: float) -> Array:
    """The standard notch, that a tone is taken out with."""
    off = (middle_hz**2 - hz**2) ** 2
    return np.asarray(off / (off + (hz * middle_hz / NOTCH_Q) ** 2))


def band_rms(samples: Array, rate_hz: float, weight: Weight = in_band) -> float:
    """The rms of a stretch through a weighting."""
    hz, lines = power_lines(samples, rate_hz)
    return float(np.sqrt((lines * weight(hz)).sum()))
