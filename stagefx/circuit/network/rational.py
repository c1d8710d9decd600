"""A ladder as a ratio of polynomials, for what happens faster than its coupling capacitors.

A capacitor in series with the line is taken as a short: at the speed of an amplifier's loop it is
one, and left in it would hide a fast overshoot under a slow sag.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stagefx.circuit.network.ladder import Part
from stagefx.circuit.network.polynomial import plus, raised
from stagefx.circuit.values import Array

UNIT_RAD_PER_S = 2.0 * np.pi * 1e6
"""The polynomials' variable is s in units of this, so that their coefficients stay near one."""


@dataclass(frozen=True)
class Ratio:
    """One polynomial over another, of s in units of `UNIT_RAD_PER_S`."""

    above: Array
    below: Array


def fast_admittance(parts: Sequence[Part], draws: int) -> Ratio:
    """The admittance of a ladder seen from its beginning, nothing at its end."""
    above, below = np.zeros((draws, 1)), np.ones((draws, 1))
    for part in reversed(parts):
        if part.across and part.kind == "capacitor":
            above = plus(above, raised(below) * part.value * UNIT_RAD_PER_S)
        elif part.across:
            above, below = plus(above * part.value, below), below * part.value
        elif part.kind == "resistor":
            below = plus(below, above * part.value)
    return Ratio(above, below)


def fast_source_impedance(parts: Sequence[Part], draws: int) -> Ratio:
    """The impedance of a ladder seen from its end, its EMF shorted."""
    above, below = np.zeros((draws, 1)), np.ones((draws, 1))
    for part in parts:
        if part.across and part.kind == "capacitor":
            below = plus(below, raised(above) * part.value * UNIT_RAD_PER_S)
        elif part.across:
            above, below = above * part.value, plus(above, below * part.value)
        elif part.kind == "resistor":
            above = plus(above, below * part.value)
    return Ratio(above, below)
