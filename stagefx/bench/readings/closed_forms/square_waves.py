"""What a square wave tells: rise time, tilt, and the steepest slope of a step."""

from __future__ import annotations

import math
from collections.abc import Callable

RISE_TIMES_CORNER = math.log(9.0) / (2.0 * math.pi)
"""Rise time from 10 % to 90 % of one pole, times its corner: 0.349699 (textbook)."""

DEFINITIONS = ("one top", "half peak-to-peak", "rule")
"""What a tilt may be counted as."""


def corner_of_rise_time_hz(time_s: float) -> float:
    """The corner of the one pole that has a rise time."""
    return RISE_TIMES_CORNER / time_s


def cascade_rise_time_s(first_s: float, second_s: float) -> float:
    """Rise time of two single poles in a row."""
    slow, fast = max(first_s, second_s), min(first_s, second_s)
    if fast == 0.0:
        return slow
    share = fast / slow

    def at(level: float) -> float:
        return _root(lambda t: level - _cascade_step(t, share), 0.0, 10.0)

    return max(slow, slow / math.log(9.0) * (at(0.9) - at(0.1)))  # but for rounding never less


def _cascade_step(t: float, share: float) -> float:
    """Step response of poles with time constants 1 and `share`."""
    apart = 1.0 - share
    # (e^-t - s e^(-t/s)) / (1 - s), written so that equal poles are no special case
    gap = t * apart / share
    grown = t / share if gap < 1e-12 else -math.expm1(-gap) / apart
    return -math.expm1(-t) - share * math.exp(-t) * grown


def root_square_rise_time_s(seen_s: float, generator_s: float) -> float:
    """A stage's rise time by the rule of squares: right only for many poles in a row."""
    return math.sqrt(max(seen_s**2 - generator_s**2, 0.0))


def own_rise_time_s(seen_s: float, generator_s: float) -> float:
    """A stage's own rise time, the generator's taken out exactly, both as single poles."""
    if seen_s <= generator_s:
        return 0.0
    return seen_s * _root(lambda x: cascade_rise_time_s(x, generator_s / seen_s) - 1.0, 0.0, 1.0)


def tilt(corner_hz: float, square_hz: float, definition: str) -> float:
    """How much a bass corner tilts a square wave's tops."""
    rule = math.pi * corner_hz / square_hz
    if definition == "one top":
        return -math.expm1(-rule)
    return 2.0 * math.tanh(0.5 * rule) if definition == "half peak-to-peak" else rule


def corner_of_tilt_hz(share: float, square_hz: float, definition: str) -> float:
    """The bass corner that a tilt tells."""
    if definition == "one top":
        rule = -math.log1p(-share) if share < 1.0 else math.inf
    elif definition == "half peak-to-peak":
        rule = 2.0 * math.atanh(0.5 * share)
    else:
        rule = share
    return rule * square_hz / math.pi


def steepest_slope_v_per_s(step_v: float, corner_hz: float) -> float:
    """The steepest slope that one pole lets a step have."""
    return 2.0 * math.pi * corner_hz * step_v


def slewing_rise_time_s(step_v: float, slew_v_per_s: float) -> float:
    """Rise time of a step that slews from bottom to top."""
    return 0.8 * step_v / slew_v_per_s


def largest_clean_step_v(slew_v_per_s: float, corner_hz: float) -> float:
    """The largest step that does not slew."""
    return slew_v_per_s / (2.0 * math.pi * corner_hz)


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a function changes sign, to the last digits."""
    from scipy.optimize import brentq

    return float(brentq(function, low, high, xtol=1e-15, rtol=8.9e-16))
