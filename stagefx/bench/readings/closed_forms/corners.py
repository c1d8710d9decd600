"""Corners of first order from levels at single frequencies, and back.

Levels are relative to those at a reference frequency: a sheet's levels are re 1 kHz, a textbook's
re the passband (reference 0 Hz for a treble corner, infinite for a bass corner).
"""

from __future__ import annotations

import math
from collections.abc import Sequence


def treble_corner_hz(hz: float, level_db: float, *, reference_hz: float = 0.0) -> float:
    """The treble corner that a level at one frequency tells.

    D = (1 + f²/fc²) / (1 + r²/fc²), with D = 10^(-level/10)
    """
    loss = 10.0 ** (-level_db / 10.0)
    square = (hz**2 - loss * reference_hz**2) / (loss - 1.0) if loss > 1.0 else math.inf
    return math.sqrt(square) if square > 0.0 else 0.0


def bass_corner_hz(hz: float, level_db: float, *, reference_hz: float = math.inf) -> float:
    """The bass corner that a level at one frequency tells."""
    turned = treble_corner_hz(1.0 / hz, level_db, reference_hz=1.0 / reference_hz)
    return 1.0 / turned if turned > 0.0 else math.inf


def treble_level_db(hz: float, corner_hz: float, *, reference_hz: float = 0.0) -> float:
    """What a treble corner takes at a frequency."""
    there, reference = 1.0 + (hz / corner_hz) ** 2, 1.0 + (reference_hz / corner_hz) ** 2
    return -10.0 * math.log10(there / reference)


def bass_level_db(hz: float, corner_hz: float, *, reference_hz: float = math.inf) -> float:
    """What a bass corner takes at a frequency."""
    return treble_level_db(1.0 / hz, 1.0 / corner_hz, reference_hz=1.0 / reference_hz)


def fitted_treble_corner_hz(
    points: Sequence[tuple[float, float]], weights: Sequence[float], *, reference_hz: float = 0.0
) -> float:
    """The treble corner that several levels tell together, by least squares.

    With x = 1/fc² each point says x (f² - D r²) = D - 1, linear in x; a level's uncertainty
    weighs D - 1 by one over D squared.
    """
    above = below = 0.0
    for (hz, level_db), weight in zip(points, weights, strict=True):
        loss = 10.0 ** (-level_db / 10.0)
        reach, share = hz**2 - loss * reference_hz**2, weight / loss**2
        above += share * reach * (loss - 1.0)
        below += share * reach * reach
    return math.sqrt(below / above) if above > 0.0 else math.inf


def fitted_bass_corner_hz(
    points: Sequence[tuple[float, float]],
    weights: Sequence[float],
    *,
    reference_hz: float = math.inf,
) -> float:
    """The bass corner that several levels tell together, by least squares."""
    turned = [(1.0 / hz, level_db) for hz, level_db in points]
    return 1.0 / fitted_treble_corner_hz(turned, weights, reference_hz=1.0 / reference_hz)
