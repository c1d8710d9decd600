"""Ratios in dB, where nothing at all is minus infinity."""

from __future__ import annotations

import math


def ratio_db(value: float, reference: float = 1.0) -> float:
    """A ratio of voltages in dB."""
    if value <= 0.0:
        return -math.inf
    return math.inf if reference <= 0.0 else 20.0 * math.log10(value / reference)


def root_sum(values: list[float]) -> float:
    """Voltages that add up by their powers."""
    return math.sqrt(math.fsum(value * value for value in values))
