"""Crosstalk between channels: through a capacitance, and through a shared ground."""

from __future__ import annotations

import math
from collections.abc import Sequence


def coupling_capacitance_f(share: float, hz: float, impedance_ohm: complex) -> float:
    """The capacitance that passes a share of one channel to the other.

    |share| = |s C Z / (1 + s C Z)|

    Parameters
    ----------
    share : float, ratio, 0 to 1
        Undriven over driven channel.
    hz : float, Hz
        Frequency.
    impedance_ohm : complex, ohm
        What the undriven channel's input is ended by.

    Returns
    -------
    float, F
        Infinite where the share is 1 or the end a short.

    Examples
    --------
    >>> round(coupling_capacitance_f(10 ** (-48.11887 / 20), 10e3, 12.5e3) * 1e12, 4)
    5.0
    """
    z = complex(impedance_ohm)
    size, keep = abs(z) ** 2, 1.0 - share**2
    if size == 0.0 or keep <= 0.0:
        return math.inf
    # y = 2 pi f C solves y² |Z|² (1 - share²) + 2 y share² Im Z - share² = 0
    half = share**2 * z.imag
    susceptance = (math.sqrt(half**2 + size * keep * share**2) - half) / (size * keep)
    return susceptance / (2.0 * math.pi * hz)


def crosstalk_share(
    hz: float, impedance_ohm: complex, *, capacitance_f: float, ground_share: float = 0.0
) -> float:
    """What of one channel reaches the other.

    Parameters
    ----------
    hz : float, Hz
        Frequency.
    impedance_ohm : complex, ohm
        What the undriven channel's input is ended by.
    capacitance_f : float, F
        From channel to channel.
    ground_share : float, ratio
        Shared ground resistance over load.

    Returns
    -------
    float, ratio
        Both added as they stand to one another.

    Examples
    --------
    >>> round(20 * math.log10(crosstalk_share(10e3, 2.5e3, capacitance_f=5e-12)), 5)
    -62.09821
    """
    through = 2j * math.pi * hz * capacitance_f * complex(impedance_ohm)
    return abs(through / (1.0 + through) + ground_share)


def two_paths(
    shares: Sequence[float], rising: Sequence[float], flat: Sequence[float]
) -> tuple[float, float]:
    """Split crosstalk into what a capacitance makes and what a shared ground makes.

    share² = (C rising)² + (R flat)²

    Parameters
    ----------
    shares : sequence of float, ratio
        Undriven over driven channel.
    rising : sequence of float, 1/F
        What a farad makes in each: 2 pi f times the impedance that the undriven input is ended by.
    flat : sequence of float, 1/ohm
        What an ohm makes in each: one over the driven channel's load.

    Returns
    -------
    capacitance, resistance : float, F and ohm
        0 where there is none.

    Notes
    -----
    The two stand at right angles while both are small; least squares of relative error.  Where
    one comes out imaginary the other alone is fitted.

    Examples
    --------
    >>> through, ground = two_paths([1.4142136e-4, 1.00499e-3], [1e3, 10e3], [1.0, 1.0])
    >>> round(through * 1e7, 3), round(ground * 1e4, 3)
    (1.0, 1.0)
    """
    rows = [
        ((c / share) ** 2, (r / share) ** 2)
        for share, c, r in zip(shares, rising, flat, strict=True)
    ]
    aa = math.fsum(a * a for a, _ in rows)
    ab = math.fsum(a * b for a, b in rows)
    bb = math.fsum(b * b for _, b in rows)
    a1, b1 = math.fsum(a for a, _ in rows), math.fsum(b for _, b in rows)
    determinant = aa * bb - ab * ab
    if determinant > 1e-9 * aa * bb:
        through, ground = (bb * a1 - ab * b1) / determinant, (aa * b1 - ab * a1) / determinant
        if through >= 0.0 and ground >= 0.0:
            return math.sqrt(through), math.sqrt(ground)
        if ground < 0.0:
            return math.sqrt(a1 / aa), 0.0
    return 0.0, math.sqrt(b1 / bb)
