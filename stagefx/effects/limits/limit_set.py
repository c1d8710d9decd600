"""Limits at the amplifier's output, and what takes part of them away."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stagefx.errors import StageError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LimitSet:
    """Limits at the amplifier's output."""

    high_v: float = np.inf
    low_v: float = -np.inf
    slew_rise_v_per_s: float = np.inf
    slew_fall_v_per_s: float = np.inf
    time_constant_s: float = 0.0
    shift_v: float = 0.0
    eaten_v: float = 0.0
    eaten_v_per_s: float = 0.0

    def both(self, other: LimitSet) -> LimitSet:
        """Take these limits and others at once."""
        return LimitSet(
            min(self.high_v, other.high_v),
            max(self.low_v, other.low_v),
            min(self.slew_rise_v_per_s, other.slew_rise_v_per_s),
            min(self.slew_fall_v_per_s, other.slew_fall_v_per_s),
            max(self.time_constant_s, other.time_constant_s),
            self.shift_v + other.shift_v,
            self.eaten_v + other.eaten_v,
            self.eaten_v_per_s + other.eaten_v_per_s,
        )

    @property
    def takes(self) -> bool:
        """Whether something takes of the limits: a direct voltage, or a parasitic tone."""
        return bool(self.shift_v or self.eaten_v or self.eaten_v_per_s)

    def taking(self, times: float) -> LimitSet:
        """Multiply what is taken of the limits."""
        return replace(
            self,
            shift_v=times * self.shift_v,
            eaten_v=times * self.eaten_v,
            eaten_v_per_s=times * self.eaten_v_per_s,
        )

    def left(self) -> LimitSet:
        """What shift and parasitic tone leave of the limits."""
        found = LimitSet(
            self.high_v - self.shift_v - self.eaten_v,
            self.low_v - self.shift_v + self.eaten_v,
            self.slew_rise_v_per_s - self.eaten_v_per_s,
            self.slew_fall_v_per_s - self.eaten_v_per_s,
            self.time_constant_s,
        )
        slowest = min(found.slew_rise_v_per_s, found.slew_fall_v_per_s)
        if found.high_v <= 0.0 or found.low_v >= 0.0 or slowest <= 0.0:
            raise StageError(
                "oscillates: what stands at the amplifier's output leaves the music no swing or "
                "no slew; cure the fault, or leave it out with --without oscillation"
            )
        return found

    def per(self, unit_v: float, intervals_per_s: float) -> tuple[Array, Array]:
        """The limits in the units of samples and intervals."""
        left = self.left()
        high, low = left.high_v / unit_v, left.low_v / unit_v
        rise = left.slew_rise_v_per_s / (unit_v * intervals_per_s)
        fall = -left.slew_fall_v_per_s / (unit_v * intervals_per_s)
        if unit_v < 0.0:
            high, low, rise, fall = low, high, fall, rise
        constant = self.time_constant_s * intervals_per_s if np.isfinite(rise - fall) else 0.0
        return np.array([high, low]), np.array([rise, fall, constant])
