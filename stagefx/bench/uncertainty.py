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
    """A value with its uncertainty."""

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
        """Whether the ranges of two values overlap."""
        slack = 1e-12 * max(abs(self.value), abs(other.value))
        return self.low <= other.high + slack and other.low <= self.high + slack


def stated(
    value: float, half_width: float = 0.0, *, reading: int | None = None, assumed: bool = False
) -> Measured:
    """A value as it was read."""
    exact = ufloat(value, half_width) if half_width > 0.0 else value
    numbers = () if reading is None else (reading,)
    return Measured(exact, value - half_width, value + half_width, numbers, assumed)


def carry(law: Callable[..., float], *given: Measured) -> Measured:
    """Carry values and their uncertainties through a law."""
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
    """The mean of several values of one thing, the surer ones counting more."""
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
    """A value that readings leave no doubt of."""
    return replace(like, exact=value, low=value, high=value)


def rounded(value: float, uncertainty: float) -> float:
    """A value without the digits that its uncertainty makes meaningless."""
    if value == 0.0 or uncertainty <= 0.0 or not math.isfinite(uncertainty):
        return value
    finest = math.floor(math.log10(0.02 * uncertainty))
    digits = math.floor(math.log10(abs(value))) - finest
    return float(f"{value:.{max(digits, 0)}e}")
