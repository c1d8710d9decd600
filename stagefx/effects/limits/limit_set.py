"""Limits at the amplifier's output, and what takes part of them away."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stagefx.errors import StageError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LimitSet:
    """Limits at the amplifier's output.

    Parameters
    ----------
    high_v, low_v : float, V
        Clip levels; infinite where there is none.
    slew_rise_v_per_s, slew_fall_v_per_s : float, V/s, > 0
        Slew limits; infinite where there is none.
    time_constant_s : float, s
        The closed loop's small-signal time constant, for the lag below the limit.
    shift_v : float, V
        Direct voltage that stands at the output and is not among the samples.
    eaten_v, eaten_v_per_s : float, V and V/s, >= 0
        Swing and slope that a parasitic tone takes for itself.
    """

    high_v: float = np.inf
    low_v: float = -np.inf
    slew_rise_v_per_s: float = np.inf
    slew_fall_v_per_s: float = np.inf
    time_constant_s: float = 0.0
    shift_v: float = 0.0
    eaten_v: float = 0.0
    eaten_v_per_s: float = 0.0

    def both(self, other: LimitSet) -> LimitSet:
        """Take these limits and others at once.

        Parameters
        ----------
        other : LimitSet
            More limits at the same place.

        Returns
        -------
        LimitSet
            The narrower of each.
        """
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
        """Multiply what is taken of the limits.

        Parameters
        ----------
        times : float
            Factor.

        Returns
        -------
        LimitSet
            The same limits, with so much more or less taken.
        """
        return replace(
            self,
            shift_v=times * self.shift_v,
            eaten_v=times * self.eaten_v,
            eaten_v_per_s=times * self.eaten_v_per_s,
        )

    def left(self) -> LimitSet:
        """What shift and parasitic tone leave of the limits.

        Returns
        -------
        LimitSet
            Limits for the samples alone.

        Raises
        ------
        StageError
            Nothing is left.
        """
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
        """The limits in the units of samples and intervals.

        Parameters
        ----------
        unit_v : float, V
            What a sample of 1.0 means; negative where polarity is inverted.
        intervals_per_s : float, 1/s
            Nodes a second.

        Returns
        -------
        limits : array [2]
            High and low.
        law : array [3]
            Rise, fall (negative) and time constant, per interval; as
            `stagefx.kernels.limiter.limit` takes them.
        """
        left = self.left()
        high, low = left.high_v / unit_v, left.low_v / unit_v
        rise = left.slew_rise_v_per_s / (unit_v * intervals_per_s)
        fall = -left.slew_fall_v_per_s / (unit_v * intervals_per_s)
        if unit_v < 0.0:
            high, low, rise, fall = low, high, fall, rise
        constant = self.time_constant_s * intervals_per_s if np.isfinite(rise - fall) else 0.0
        return np.array([high, low]), np.array([rise, fall, constant])
