"""The amplifier's slew limit and clip levels at work on one channel.

What leaves is u + decimate(limiter(u) - u): exactly u while the limiter is idle, so idle spans
cost next to nothing and joins are seamless by construction.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from stagefx.effects.channelwise import Channelwise
from stagefx.effects.effect import GRID_FRAMES, Setting
from stagefx.effects.oversampling import (
    DOWN_REACH,
    FACTOR,
    UP_REACH,
    down,
    up,
)
from stagefx.effects.tally import Tally
from stagefx.errors import StageError
from stagefx.kernels.extremes import extremes
from stagefx.kernels.limiter import (
    AFTER,
    BEFORE,
    TRACKING,
    limit,
)

Array = NDArray[np.float64]

_EDGE_FRAMES = 2
"""Frames beside a block whose nodes the limiter looks at."""
LEVEL_OVER_PEAK = 2.91
SLOPE_OVER_PEAK = 6.48
SLOPE_OVER_STEP = 3.88
"""How far whatever samples can go between themselves: level over the highest sample, slope a frame
over it, slope a frame over the largest step (sums of the sizes of the interpolation's weights)."""
_LAG_FLOOR = 4e-8
"""Lag, in units of full scale, below which the limiter counts as idle; brought back to the file's
rate it is at most 2.4 times as much."""


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


@dataclass(frozen=True)
class Limiting:
    """Slew limit, clip levels, or both, as an effect.

    Parameters
    ----------
    name : str
        The effect's name.
    limits : LimitSet
        At the amplifier's output.
    settings : tuple of Setting
        Parameters, for display.
    """

    name: str
    limits: LimitSet
    settings: tuple[Setting, ...] = ()
    gain: ClassVar[float] = 1.0
    delay_frames: ClassVar[int] = 2 * GRID_FRAMES

    def followed_by(self, other: Limiting) -> Limiting:
        """Join this effect and another at the same place into one.

        Parameters
        ----------
        other : Limiting
            More limits.

        Returns
        -------
        Limiting
            Both at once, which is what an amplifier does.
        """
        return Limiting(f"{self.name}, {other.name}", self.limits.both(other.limits))

    def runners(
        self, rate_hz: int, *, unit_v: float = 1.0, skip_idle: bool = True
    ) -> Callable[[int], Limiter]:
        """What makes the limiter of one channel.

        Parameters
        ----------
        rate_hz : int
            Sampling rate.
        unit_v : float, V
            What a sample of 1.0 means.
        skip_idle : bool
            Whether blocks on which nothing can happen are passed by; off only in tests.

        Returns
        -------
        callable
            Makes a limiter at rest, which keeps a tally.
        """
        return lambda _channel: Limiter(self.limits, rate_hz, unit_v, skip_idle=skip_idle)

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> Channelwise:
        """A running copy.

        Parameters
        ----------
        rate_hz : int
            Sampling rate.
        channels : int
            Channels of every block.
        unit_v : float, V
            What a sample of 1.0 means.

        Returns
        -------
        Channelwise
            At rest.
        """
        return Channelwise([self.runners(rate_hz, unit_v=unit_v)], channels)


class Limiter:
    """Slew limit and clip levels on one channel; late by two blocks of the grid.

    Parameters
    ----------
    limits : LimitSet
        At the amplifier's output.
    rate_hz : int
        Sampling rate.
    unit_v : float, V
        What a sample of 1.0 means.
    skip_idle : bool
        Whether blocks on which nothing can happen are passed by; off only in tests.
    """

    delay_frames = 2 * GRID_FRAMES

    def __init__(
        self, limits: LimitSet, rate_hz: int, unit_v: float, *, skip_idle: bool = True
    ) -> None:
        self._limits, self._law = limits.per(unit_v, float(FACTOR * rate_hz))
        self._skip_idle = skip_idle
        self.tally = Tally()
        self.rewind()

    def rewind(self) -> None:
        """Forget everything."""
        self._past = np.zeros(2 * GRID_FRAMES)
        self._lacking: list[Array | None] = [None, None]
        self._state = np.zeros(2)
        self._heard = np.zeros(5)
        self._next = 0
        self.tally = Tally()

    def through(self, samples: Array) -> Array:
        """Work on the next samples.

        Parameters
        ----------
        samples : array [n GRID_FRAMES]
            Target at the amplifier's output.

        Returns
        -------
        array [n GRID_FRAMES]
            What the limits leave of it, late by two blocks.
        """
        heard = np.concatenate((self._heard, samples))
        self.tally.frames += extremes(heard, self.tally.extremes)
        self._heard = heard[-5:].copy()
        line = np.concatenate((self._past, samples))
        blocks = samples.size // GRID_FRAMES
        lacking = self._lacking + self._limit_blocks(line, blocks)
        self._past, self._lacking = line[-2 * GRID_FRAMES :].copy(), lacking[-2:]
        self._next += blocks
        result = line[: samples.size]
        for block in range(blocks):
            around = lacking[block : block + 3]
            if any(part is not None for part in around):
                result[block * GRID_FRAMES : (block + 1) * GRID_FRAMES] += _brought_down(around)
        return result

    def _limit_blocks(self, line: Array, blocks: int) -> list[Array | None]:
        """What the blocks from the second of a line on lack, on their nodes; None while idle.

        Each needs a little of the block after it.
        """
        if self._skip_idle and self._state[1] == TRACKING and self._idle(line):
            return [None] * blocks
        reach = _EDGE_FRAMES + UP_REACH
        found = []
        for block in range(1, blocks + 1):
            near = line[block * GRID_FRAMES - reach + 1 : (block + 1) * GRID_FRAMES + reach]
            found.append(self._limit_block(near, self._next + block - 2))
        return found

    def _limit_block(self, near: Array, grid_block: int) -> Array | None:
        if self._skip_idle and self._state[1] == TRACKING and self._idle(near):
            return None
        beside = FACTOR * _EDGE_FRAMES
        nodes = np.empty(FACTOR * (GRID_FRAMES + 2 * _EDGE_FRAMES))
        up(near, nodes)
        intervals = FACTOR * GRID_FRAMES
        lacking, marks = np.zeros(intervals + 3), np.empty(intervals)
        near_nodes = nodes[beside - BEFORE : beside + intervals + AFTER]
        left = limit(near_nodes, self._limits, self._law, self._state, np.empty(4), lacking, marks)
        if left:
            self.tally.count(grid_block, marks.reshape(GRID_FRAMES, FACTOR))
        return lacking if left or self._law[2] > 0.0 else None

    def _idle(self, near: Array) -> bool:
        """Whether nothing can happen on a block, judged at the file's own rate."""
        peak = max(float(near.max()), -float(near.min()))
        level = LEVEL_OVER_PEAK * peak
        if not (level < self._limits[0] and -level > self._limits[1]):
            return False
        slowest = min(self._law[0], -self._law[1]) * FACTOR
        if not np.isfinite(slowest) or self._calm(SLOPE_OVER_PEAK * peak, slowest):
            return True
        return self._calm(SLOPE_OVER_STEP * float(np.abs(np.diff(near)).max()), slowest)

    def _calm(self, slope: float, slowest: float) -> bool:
        r = slope / slowest
        lag = slowest * self._law[2] / FACTOR * r**3 * (1.0 / 3.0 + r**2 * (0.2 + r**2 / 7.0))
        return r < 1.0 and lag < _LAG_FLOOR


def _brought_down(around: list[Array | None]) -> Array:
    """What three blocks' nodes add to the frames of the middle one."""
    span = FACTOR * GRID_FRAMES
    whole = np.zeros(3 * span + 3)  # element k belongs to node k - 1 of the first block
    for position, lacking in enumerate(around):
        if lacking is not None:
            whole[position * span : (position + 1) * span + 3] += lacking
    first = span + 1 - FACTOR * DOWN_REACH
    needed = FACTOR * (GRID_FRAMES + 2 * DOWN_REACH - 1)
    added = np.empty(GRID_FRAMES)
    down(whole[first : first + needed], added)
    return added
