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

    Parameters
    ----------
    hz : array-like of float, Hz
        Frequency.

    Returns
    -------
    ndarray of float64, Bark
        Place.

    References
    ----------
    ITU-R BS.1387, annex 2, 2.1.5.

    Examples
    --------
    >>> float(bark(80.0).round(5)), float(bark(18000.0).round(5))
    (0.85938, 28.10239)
    """
    return np.asarray(7.0 * np.arcsinh(np.asarray(hz, np.float64) / 650.0))


@cache
def band_edges_hz() -> Array:
    """Edges of the ear's bands.

    Returns
    -------
    ndarray of float64 [110], Hz
        A quarter of a Bark apart from 80 Hz to 18 kHz; the last band is a little narrower.

    References
    ----------
    ITU-R BS.1387, annex 2, 2.1.5; by its formula, since printed tables have misprints.

    Examples
    --------
    >>> edges = band_edges_hz()
    >>> edges.size, edges[[0, 1, -2, -1]].round(3).tolist()
    (110, [80.0, 103.445, 17385.417, 18000.0])
    """
    low, high = bark([LOWEST_HZ, HIGHEST_HZ])
    count = math.ceil((high - low) / BAND_BARK)
    places = np.minimum(low + BAND_BARK * np.arange(count + 1), high)
    edges = 650.0 * np.sinh(places / 7.0)
    edges.flags.writeable = False
    return np.asarray(edges)


@cache
def band_centres_hz() -> Array:
    """Middles of the ear's bands, half way along the ear.

    Returns
    -------
    ndarray of float64 [109], Hz
        Rising.

    Examples
    --------
    >>> band_centres_hz()[[0, -1]].round(2).tolist()
    [91.71, 17690.04]
    """
    places = bark(band_edges_hz())
    centres = np.asarray(650.0 * np.sinh((places[:-1] + places[1:]) / 14.0))
    centres.flags.writeable = False
    return centres


def ear_weight_db(hz: ArrayLike) -> Array:
    """What the outer and middle ear do to a sound's level.

    ``W = -0.6 · 3.64 f^-0.8 + 6.5 exp(-0.6 (f - 3.3)²) - 0.001 f^3.6``, f in kHz

    Parameters
    ----------
    hz : array-like of float, Hz, above 0
        Frequency.

    Returns
    -------
    ndarray of float64, dB
        Gain of the magnitude.

    References
    ----------
    ITU-R BS.1387, annex 2, 2.1.4.

    Examples
    --------
    >>> ear_weight_db([100.0, 3300.0]).round(2)
    array([-13.77,   5.59])
    """
    f = np.asarray(hz, np.float64) / 1000.0
    return np.asarray(-0.6 * 3.64 * f**-0.8 + 6.5 * np.exp(-0.6 * (f - 3.3) ** 2) - 0.001 * f**3.6)


def internal_noise_db(hz: ArrayLike) -> Array:
    """The ear's own noise, below which nothing is heard.

    ``E = 0.4 · 3.64 f^-0.8``, f in kHz

    Parameters
    ----------
    hz : array-like of float, Hz, above 0
        Frequency.

    Returns
    -------
    ndarray of float64, dB
        Energy in a band, to be added to the sound's.

    References
    ----------
    ITU-R BS.1387, annex 2, 2.1.6.

    Examples
    --------
    >>> internal_noise_db([1000.0, 4000.0]).round(3)
    array([1.456, 0.48 ])
    """
    f = np.asarray(hz, np.float64) / 1000.0
    return np.asarray(0.4 * 3.64 * f**-0.8)


@cache
def window() -> Array:
    """The raised cosine under which a frame is looked at.

    Returns
    -------
    ndarray of float64 [2048]
        From 0 to 1 and back to 0.

    Examples
    --------
    >>> window()[[0, 1, -1]].round(9).tolist()
    [0.0, 2.355e-06, 0.0]
    """
    curve = 0.5 * (1.0 - np.cos(2.0 * np.pi * np.arange(FRAME) / (FRAME - 1)))
    curve.flags.writeable = False
    return np.asarray(curve)


def off_line_loss() -> float:
    """By how much the nearest line of a spectrum falls short of the calibration sine.

    ``g = sin(πd) / (πd (1 - d²))``, d the distance from the line, in lines of N - 1 points

    Returns
    -------
    float
        Share of the sine's own magnitude.

    References
    ----------
    ITU-R BS.1387, annex 2, 2.1.3, in closed form as given by P. Kabal, "An examination and
    interpretation of ITU-R BS.1387", McGill University, 2003.

    Examples
    --------
    >>> round(off_line_loss(), 5)
    0.84972
    """
    share = CALIBRATION_HZ / RATE_HZ
    d = abs(share - round(share * FRAME) / FRAME) * (FRAME - 1)
    return math.sin(math.pi * d) / (math.pi * d * (1.0 - d * d))


def spectrum_scale(full_scale_spl_db: float) -> float:
    """What turns a frame's transform into sound pressure re the threshold.

    Parameters
    ----------
    full_scale_spl_db : float, dB SPL
        Of a full-scale sine.

    Returns
    -------
    float
        Factor of the samples.

    Examples
    --------
    >>> round(spectrum_scale(92.0), 3)
    91.552
    """
    return float(10.0 ** (full_scale_spl_db / 20.0) / (off_line_loss() / 4.0 * (FRAME - 1)))
