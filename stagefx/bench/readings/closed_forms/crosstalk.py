"""Crosstalk between channels: through a capacitance, and through a shared ground."""

from __future__ import annotations

import math
from collections.abc import Sequence


def coupling_capacitance_f(share: float, hz: float, impedance_ohm: complex) -> float:
    """The capacitance that passes a share of one channel to the other.

    |share| = |s C Z / (1 + s C Z)|
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
    """What of one channel reaches the other."""
    through = 2j * math.pi * hz * capacitance_f * complex(impedance_ohm)
    return abs(through / (1.0 + through) + ground_share)


def two_paths(
    shares: Sequence[float], rising: Sequence[float], flat: Sequence[float]
) -> tuple[float, float]:
    """Split crosstalk into what a capacitance makes and what a shared ground makes.

    share² = (C rising)² + (R flat)²

    The two stand at right angles while both are small; least squares of relative error.  Where
    one comes out imaginary the other alone is fitted.
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
