"""Frequency weightings: A of sound level meters, K of loudness meters, 468 of noise meters."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

A_POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
"""IEC 61672-1, equations (E.1) to (E.3): the first and the last are double poles."""

NOISE_POLES_RAD_PER_S = (
    -25903.70104781628,
    -23615.53521363528 + 36379.90893732929j,
    -18743.74669072136 + 62460.15645250649j,
    -62675.1700584679,
)
"""ITU-R BS.468-4: poles of its weighting network; the complex ones stand for pairs."""
NOISE_LOUDEST_HZ, NOISE_LOUDEST_DB = 6300.0, 12.2
"""By definition of the curve."""

Section = tuple[tuple[float, ...], tuple[float, ...]]
"""A filter of second order: numerator and denominator in powers of 1/z."""

K_TABLE_RATE_HZ = 48000
K_SHELF: Section = (
    (1.53512485958697, -2.69169619940638, 1.19839281085285),
    (1.0, -1.69065929318241, 0.73248077421585),
)
"""ITU-R BS.1770-4, Table 1: numerator and denominator of the head's shelf at 48 kHz."""
K_HIGH_PASS: Section = ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621))
"""ITU-R BS.1770-4, Table 2: the revised low-frequency B curve (RLB) at 48 kHz."""

_HIGHEST_HEARD_HZ = 20000.0
_TREBLE_ORDER = 3
_FITTED_POINTS = 100
_MATCHED_HZ = (0.0, 600.0, 1200.0, 2400.0, 16000.0)
_HIGHEST_MATCHED = 0.45
"""Share of the rate above which nothing is matched: close to half of it a filter is bent anyway."""


def a_weighting_db(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """How much softer a sound level meter takes a frequency than 1 kHz.

    ``A = 20 log10( f4² f⁴ / ((f² + f1²) √((f² + f2²)(f² + f3²)) (f² + f4²)) )``,
    less the same at 1 kHz.

    IEC 61672-1, annex E: the analytic form, with the pole frequencies.
    """
    hz = np.asarray(frequency_hz, dtype=np.float64)
    with np.errstate(divide="ignore"):  # 0 Hz is not heard at all
        level_db = 20.0 * np.log10(_a_gain(hz)) - 20.0 * np.log10(_a_gain(np.array(1000.0)))
    return np.asarray(level_db)


def _a_gain(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    f2 = np.square(hz)
    p1, p2, p3, p4 = (pole**2 for pole in A_POLES_HZ)
    return np.asarray(p4 * f2**2 / ((f2 + p1) * np.sqrt((f2 + p2) * (f2 + p3)) * (f2 + p4)))


def noise_weighting_db(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """How much louder a quasi-peak or rms noise meter takes a frequency than 1 kHz.

    CCIR-RMS readings (AES17) take 5.63 dB off it.

    ITU-R BS.468-4, annex 1: the network, here by its poles and one zero at 0 Hz.
    """
    hz = np.asarray(frequency_hz, dtype=np.float64)
    with np.errstate(divide="ignore"):  # 0 Hz is not heard at all
        level = 20.0 * np.log10(_noise_network(hz) / _noise_network(np.array(NOISE_LOUDEST_HZ)))
    return np.asarray(level + NOISE_LOUDEST_DB)


def _noise_network(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    s = 2j * np.pi * hz
    gain = np.abs(s)
    for pole in NOISE_POLES_RAD_PER_S:
        gain = gain / np.abs(s - pole)
        if isinstance(pole, complex):
            gain = gain / np.abs(s - pole.conjugate())
    return np.asarray(gain)


@lru_cache(maxsize=32)
def k_weighting(rate_hz: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """The two second-order sections of the K weighting at any rate.

    BS.1770 tabulates 48 kHz and asks for the same response elsewhere.  The high-pass is moved by
    the bilinear transform of its poles, its gain kept.  The shelf is then solved for so that the
    power response of both equals that of 48 kHz at 0, 600, 1200, 2400 and 16,000 Hz (or 0.45 of
    the rate).  Deviation from the 48 kHz response up to 20 kHz or 0.45 of the rate: below
    0.00004 dB from 32 kHz upwards, 0.0013 dB at 16 kHz, 0.012 dB at 8 kHz.

    ITU-R BS.1770-5, annex 1: the sections at 48 kHz, and the demand for other rates.
    """
    if rate_hz == K_TABLE_RATE_HZ:
        shelf, high_pass = K_SHELF, K_HIGH_PASS
    else:
        high_pass = _high_pass_at(rate_hz)
        shelf = _shelf_beside(high_pass, rate_hz)
    return (*shelf[0], *shelf[1][1:]), (*high_pass[0], *high_pass[1][1:])


def k_weighting_db(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """The K-weighting of ITU-R BS.1770, by its filters for 48 kHz."""
    turn = np.exp(-2j * np.pi * np.asarray(frequency_hz, dtype=np.float64) / 48000)
    gain = np.ones_like(turn)
    for b0, b1, b2, a1, a2 in k_weighting(48000):
        gain *= (b0 + turn * (b1 + turn * b2)) / (1.0 + turn * (a1 + turn * a2))
    return np.asarray(20.0 * np.log10(np.abs(gain)))


def _power(
    section: Section, frequency_hz: NDArray[np.float64], rate_hz: float
) -> NDArray[np.float64]:
    z = np.exp(-2j * np.pi * frequency_hz / rate_hz)
    numerator, denominator = (np.polyval(part[::-1], z) for part in section)
    return np.asarray(np.abs(numerator / denominator) ** 2, dtype=np.float64)


def _high_pass_at(rate_hz: int) -> Section:
    """The same poles in the s plane, and the same gain far above them, at another rate."""
    _, a1, a2 = K_HIGH_PASS[1]
    corner = np.sqrt((1.0 + a1 + a2) / (1.0 - a1 + a2))  # tan(π corner / rate)
    damping = 2.0 * (1.0 - a2) / (1.0 - a1 + a2) / corner  # 1 / Q
    moved = float(np.tan(np.arctan(corner) * K_TABLE_RATE_HZ / rate_hz))
    damping, stiffness = float(damping) * moved, moved * moved
    a0 = 1.0 + damping + stiffness
    gain = 4.0 / (1.0 - a1 + a2) / a0  # the table's numerator is not normalised
    return (
        (gain, -2.0 * gain, gain),
        (1.0, 2.0 * (stiffness - 1.0) / a0, (1.0 - damping + stiffness) / a0),
    )


def _shelf_beside(high_pass: Section, rate_hz: int) -> Section:
    """The section that makes up the tabulated power response beside a given high-pass.

    With s = sin²(ω/2) the power response of a second-order section is a ratio of two quadratics,
    (B0 + B1 s + B2 s²) / (1 + A1 s + A2 s²): five unknowns, linear in five points.
    """
    frequency_hz = np.minimum(_MATCHED_HZ, _HIGHEST_MATCHED * rate_hz)
    power = np.asarray(_power(K_SHELF, frequency_hz, K_TABLE_RATE_HZ))
    above = frequency_hz > 0.0
    power[above] *= _power(K_HIGH_PASS, frequency_hz[above], K_TABLE_RATE_HZ)
    power[above] /= _power(high_pass, frequency_hz[above], rate_hz)
    s = np.sin(np.pi * frequency_hz / rate_hz) ** 2
    equations = np.stack([np.ones_like(s), s, s * s, -power * s, -power * s * s], axis=1)
    b0, b1, b2, a1, a2 = np.linalg.solve(equations, power)
    numerator, denominator = _minimum_phase(b0, b1, b2), _minimum_phase(1.0, a1, a2)
    return (
        tuple(float(c) for c in numerator / denominator[0]),
        tuple(float(c) for c in denominator / denominator[0]),
    )


def _minimum_phase(c0: float, c1: float, c2: float) -> NDArray[np.float64]:
    """The polynomial in 1/z, roots inside the circle, with power c0 + c1 s + c2 s²."""
    # With T = tan²(ω/2), s = T / (1 + T), the power times (1 + T)² is the square of
    # p + jq√T - rT, whose three coefficients the bilinear transform carries to 1/z.
    p, r = np.sqrt(c0), np.sqrt(c0 + c1 + c2)
    q = np.sqrt(2.0 * c0 + c1 + 2.0 * p * r)
    return np.array([p + q + r, 2.0 * (p - r), p - q + r])


@lru_cache(maxsize=32)
def a_weighting(rate_hz: int) -> tuple[tuple[float, ...], tuple[tuple[float, ...], ...]]:
    """The A weighting as filters at any rate.

    Poles of the bass lie where exp(s / rate) carries them, zeros at 0 Hz.  The treble has its
    double pole there too; its numerator is fitted so that all three together have the power
    response of the curve.  Deviation up to 20 kHz or 0.45 of the rate: below 0.08 dB, and that at
    the upper end; below 0.03 dB up to 15 kHz from 44.1 kHz upwards.

    IEC 61672-1, annex E: the analytic form, with the pole frequencies.
    """
    f1, f2, f3, f4 = (float(np.exp(-2.0 * np.pi * pole / rate_hz)) for pole in A_POLES_HZ)
    bass: list[Section] = [
        ((1.0, -2.0, 1.0), (1.0, -(p + q), p * q)) for p, q in ((f1, f1), (f2, f3))
    ]
    poles = (1.0, -2.0 * f4, f4 * f4)
    highest = min(_HIGHEST_HEARD_HZ, _HIGHEST_MATCHED * rate_hz)
    turns = np.pi * (np.arange(_FITTED_POINTS) + 0.5) / _FITTED_POINTS
    # First 1 kHz, where it shall be exact; far below the lowest the bass leaves rounding errors.
    hz = np.append([1000.0, 2.0 * A_POLES_HZ[0]], 0.5 * highest * (1.0 - np.cos(turns)))
    power = 10.0 ** (a_weighting_db(hz) / 10.0) * _power((poles, (1.0,)), hz, rate_hz)
    for section in bass:
        power = power / _power(section, hz, rate_hz)
    powers_of_s = np.sin(np.pi * hz / rate_hz)[:, None] ** (2 * np.arange(_TREBLE_ORDER + 1))
    relative = powers_of_s / power[:, None]
    fit = relative[1:]
    fitted = np.linalg.solve((fit[:, :, None] * fit[:, None, :]).sum(axis=0), fit.sum(axis=0))
    treble = _numerator(fitted / (relative[0] * fitted).sum())
    return (*treble, *poles[1:]), tuple((*n, *d[1:]) for n, d in bass)


def _numerator(powers: NDArray[np.floating]) -> tuple[float, ...]:
    """The polynomial in 1/z, roots inside the circle, with power Σ powers[k] s^k."""
    roots = np.roots(powers[::-1])
    # s = (2 - z - 1/z) / 4, so z + 1/z = 2 - 4 s; of the two solutions the one inside
    middle = 1.0 - 2.0 * roots.astype(complex)
    beside = np.sqrt(middle * middle - 1.0)
    inside = np.where(np.abs(middle + beside) < 1.0, middle + beside, middle - beside)
    found = np.poly(inside).real
    return tuple(float(c) for c in found * np.sqrt(powers[0]) / found.sum())
