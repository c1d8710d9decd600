"""The ear's frequency scale: its bands, how it weighs sound on the way in, and its own noise."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

RATE_HZ = 48000
FRAME, HOP = 2048, 1024
LINE_HZ = RATE_HZ / FRAME
LOWEST_HZ, HIGHEST_HZ = 80.0, 18000.0
BAND_BARK = 0.25
CALIBRATION_HZ = 1019.5
"""A sine of this frequency stands for full scale."""


def bark(hz: ArrayLike) -> Array:
    """Place along the ear.

    ``z = 7 asinh(f / 650)``

    ITU-R BS.1387, annex 2, 2.1.5.
    """
    return np.asarray(7.0 * np.arcsinh(np.asarray(hz, np.float64) / 650.0))


@cache
def band_edges_hz() -> Array:
    """Edges of the ear's bands.

    ITU-R BS.1387, annex 2, 2.1.5; by its formula, since printed tables have misprints.
    """
    low, high = bark([LOWEST_HZ, HIGHEST_HZ])
    count = math.ceil((high - low) / BAND_BARK)
    places = np.minimum(low + BAND_BARK * np.arange(count + 1), high)
    edges = 650.0 * np.sinh(places / 7.0)
    edges.flags.writeable = False
    return np.asarray(edges)


@cache
def band_centres_hz() -> Array:
    """Middles of the ear's bands, half way along the ear."""
    places = bark(band_edges_hz())
    centres = np.asarray(650.0 * np.sinh((places[:-1] + places[1:]) / 14.0))
    centres.flags.writeable = False
    return centres


def ear_weight_db(hz: ArrayLike) -> Array:
    """What the outer and middle ear do to a sound's level.

    ``W = -0.6 · 3.64 f^-0.8 + 6.5 exp(-0.6 (f - 3.3)²) - 0.001 f^3.6``, f in kHz

    ITU-R BS.1387, annex 2, 2.1.4.
    """
    f = np.asarray(hz, np.float64) / 1000.0
    return np.asarray(-0.6 * 3.64 * f**-0.8 + 6.5 * np.exp(-0.6 * (f - 3.3) ** 2) - 0.001 * f**3.6)


def internal_noise_db(hz: ArrayLike) -> Array:
    """The ear's own noise, below which nothing is heard.

    ``E = 0.4 · 3.64 f^-0.8``, f in kHz

    ITU-R BS.1387, annex 2, 2.1.6.
    """
    f = np.asarray(hz, np.float64) / 1000.0
    return np.asarray(0.4 * 3.64 * f**-0.8)


@cache
def window() -> Array:
    """The raised cosine under which a frame is looked at."""
    curve = 0.5 * (1.0 - np.cos(2.0 * np.pi * np.arange(FRAME) / (FRAME - 1)))
    curve.flags.writeable = False
    return np.asarray(curve)


def off_line_loss() -> float:
    """By how much the nearest line of a spectrum falls short of the calibration sine.

    ``g = sin(πd) / (πd (1 - d²))``, d the distance from the line, in lines of N - 1 points

    ITU-R BS.1387, annex 2, 2.1.3, in closed form as given by P. Kabal, "An examination and
    interpretation of ITU-R BS.1387", McGill University, 2003.
    """
    share = CALIBRATION_HZ / RATE_HZ
    d = abs(share - round(share * FRAME) / FRAME) * (FRAME - 1)
    return math.sin(math.pi * d) / (math.pi * d * (1.0 - d * d))


def spectrum_scale(full_scale_spl_db: float) -> float:
    """What turns a frame's transform into sound pressure re the threshold."""
    return float(10.0 ** (full_scale_spl_db / 20.0) / (off_line_loss() / 4.0 * (FRAME - 1)))
