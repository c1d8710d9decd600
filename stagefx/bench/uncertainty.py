"""Values with their uncertainties, carried through whatever is worked out from them.

Each value has two accounts of how wrong it may be.  Its *uncertainty* adds unrelated errors as
root of the sum of squares, correlations kept (the ``uncertainties`` library).  Its *range* has
every reading at its worst end at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from uncertainties import nominal_value, std_dev, ufloat, wrap

_SMALL = 1e-4


@dataclass(frozen=True)
class Measured:
    """A value with its uncertainty.

    Parameters
    ----------
    exact : float or uncertainties' own number
        Value and uncertainty, related to all others from the same readings.
    low, high : float
        With every reading at its worst end.
    readings : tuple of int
        Which readings it comes from, counted from 1.
    assumed : bool
        Whether any of them states no uncertainty, so that a usual one was taken.
    """

    exact: Any = field(repr=False)
    low: float
    high: float
    readings: tuple[int, ...] = ()
    assumed: bool = False

    @property
    def value(self) -> float:
        """The value alone."""
        return float(nominal_value(self.exact))

    @property
    def uncertainty(self) -> float:
        """What unrelated errors come to."""
        return float(std_dev(self.exact))

    @property
    def half_range(self) -> float:
        """What the worst of all errors comes to."""
        return 0.5 * (self.high - self.low)

    def meets(self, other: Measured) -> bool:
        """Whether the ranges of two values overlap.

        Parameters
        ----------
        other : Measured
            A value of the same thing.

        Returns
        -------
        bool
            Overlap, ends included.
        """
        slack = 1e-12 * max(abs(self.value), abs(other.value))
        return self.low <= other.high + slack and other.low <= self.high + slack


def stated(
    value: float, half_width: float = 0.0, *, reading: int | None = None, assumed: bool = False
) -> Measured:
    """A value as it was read.

    Parameters
    ----------
    value : float
        What the instrument showed.
    half_width : float, >= 0
        By how much it may be wrong; 0 is exact.
    reading : int
        Which reading, counted from 1.
    assumed : bool
        Whether the half width is only a usual one.

    Returns
    -------
    Measured
        With a symmetrical range.

    Examples
    --------
    >>> stated(2.0, 0.1).low
    1.9
    """
    exact = ufloat(value, half_width) if half_width > 0.0 else value
    numbers = () if reading is None else (reading,)
    return Measured(exact, value - half_width, value + half_width, numbers, assumed)


def carry(law: Callable[..., float], *given: Measured) -> Measured:
    """Carry values and their uncertainties through a law.

    Parameters
    ----------
    law : callable
        From as many floats to one; it should rise or fall with each of them.
    *given : Measured
        What goes in.

    Returns
    -------
    Measured
        What comes out: uncertainties to first order, the range by the law itself.

    Examples
    --------
    >>> loaded = carry(lambda a, b: 1e3 * (a - b) / b, stated(1.0, 1e-3), stated(0.953, 1e-3))
    >>> round(loaded.value, 3), round(loaded.low, 3), round(loaded.high, 3)
    (49.318, 47.17, 51.471)
    >>> round(loaded.uncertainty, 3)
    1.521
    """
    slopes = [_slope(law, index, one.half_range) for index, one in enumerate(given)]
    value = wrap(law, slopes)(*(one.exact for one in given))
    middle = [one.value for one in given]
    low, high = list(middle), list(middle)
    for index, one in enumerate(given):
        if one.low == one.high:
            continue
        ends = []
        for end in (one.low, one.high):
            there = list(middle)
            there[index] = end
            ends.append((law(*there), end))
        ends.sort(key=lambda pair: pair[0])
        low[index], high[index] = ends[0][1], ends[1][1]
    readings = tuple(sorted({number for one in given for number in one.readings}))
    return Measured(value, law(*low), law(*high), readings, any(one.assumed for one in given))


def _slope(law: Callable[..., float], index: int, half_range: float) -> Callable[..., float]:
    """A law's derivative, by a step that is small beside the value's range."""
    step = _SMALL * half_range if 0.0 < half_range < math.inf else _SMALL

    def slope(*values: float) -> float:
        above, below = list(values), list(values)
        above[index] += step
        below[index] -= step
        return (law(*above) - law(*below)) / (above[index] - below[index])

    return slope


def combined(given: Sequence[Measured]) -> Measured:
    """The mean of several values of one thing, the surer ones counting more.

    Parameters
    ----------
    given : sequence of Measured
        At least one.

    Returns
    -------
    Measured
        Weighted by one over the squares of their uncertainties (least squares).

    Examples
    --------
    >>> both = combined([stated(1.0, 0.1), stated(1.3, 0.2)])
    >>> round(both.value, 3), round(both.uncertainty, 4)
    (1.06, 0.0894)
    """
    if len(given) == 1:
        return given[0]
    sure = [one for one in given if one.uncertainty == 0.0]
    if sure:
        return sure[0]
    weights = [one.uncertainty**-2 for one in given]
    total = math.fsum(weights)
    return carry(
        lambda *values: math.fsum(w * v for w, v in zip(weights, values, strict=True)) / total,
        *given,
    )


def exactly(value: float, like: Measured) -> Measured:
    """A value that readings leave no doubt of.

    Parameters
    ----------
    value : float
        The value.
    like : Measured
        What it was concluded from.

    Returns
    -------
    Measured
        Without uncertainty, from the same readings.

    Examples
    --------
    >>> exactly(1.0, stated(0.999, 0.01)).uncertainty
    0.0
    """
    return replace(like, exact=value, low=value, high=value)


def rounded(value: float, uncertainty: float) -> float:
    """A value without the digits that its uncertainty makes meaningless.

    Parameters
    ----------
    value : float
        Any value.
    uncertainty : float, >= 0
        Its uncertainty.

    Returns
    -------
    float
        Off by at most a hundredth of the uncertainty.

    Examples
    --------
    >>> rounded(49.317943, 1.5)
    49.32
    """
    if value == 0.0 or uncertainty <= 0.0 or not math.isfinite(uncertainty):
        return value
    finest = math.floor(math.log10(0.02 * uncertainty))
    digits = math.floor(math.log10(abs(value))) - finest
    return float(f"{value:.{max(digits, 0)}e}")
