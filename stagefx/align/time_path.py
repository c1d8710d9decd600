"""Where each frame of one piece is found in another: a delay that changes, smoothly or at once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_GRID_FRAMES = 64


@dataclass(frozen=True)
class Jump:
    """A place where the delay changes at once: samples were dropped, or played twice."""

    frame: int
    frames: float
    unsure_frames: int = 0

    def left_out(self, reach: int) -> tuple[int, int]:
        """The frames of the first that cannot be compared for it."""
        dropped = math.ceil(max(-self.frames, 0.0))
        return self.frame - dropped - reach, self.frame + reach


@dataclass(frozen=True)
class TimePath:
    """A delay that changes along a piece.

    ``delay(n) = offset + slope n + s(n) + Σ jumps up to n``, s a cubic spline on equal steps
    """

    offset_frames: float
    slope: float
    start: float = 0.0
    step: float = 1.0
    wander: tuple[float, ...] = ()
    jumps: tuple[Jump, ...] = ()

    def smooth_delay_at(self, frames: Array) -> Array:
        """The delay without jumps."""
        delay: Array = self.offset_frames + self.slope * frames
        if self.wander:
            index, weights = spline_weights(frames, self.start, self.step, len(self.wander) - 3)
            wander = np.array(self.wander)
            for each in range(4):
                delay += weights[each] * wander[index + each]
        return delay

    def delay_at(self, frames: Array) -> Array:
        """The delay at some frames."""
        delay = self.smooth_delay_at(frames)
        for jump in self.jumps:
            delay += jump.frames * (frames >= jump.frame)
        return delay

    def delays(self, start: int, stop: int) -> Array:
        """The delay at every frame of a stretch."""
        frames = np.arange(start, stop, dtype=np.float64)
        first = start - start % _GRID_FRAMES
        grid = np.arange(first, stop + _GRID_FRAMES, _GRID_FRAMES, dtype=np.float64)
        delay: Array = np.interp(frames, grid, self.smooth_delay_at(grid))
        for jump in self.jumps:
            delay[max(jump.frame - start, 0) :] += jump.frames
        return delay

    def common_stretch(self, first_frames: int, second_frames: int, reach: int) -> tuple[int, int]:
        """The frames of the first that are found in the second."""
        start = self.first_beyond(reach, first_frames)
        stop = self.first_beyond(second_frames - reach, first_frames)
        return start, stop

    def first_beyond(self, position: float, frames: int) -> int:
        """The first frame, of so many, that is found at or after a position of the second.

        What was cut is passed by: its frames are found nowhere.
        """
        for low in reversed([0, *(min(max(jump.frame, 0), frames) for jump in self.jumps)]):
            if low == 0 or self._found_at(low) < position:
                break
        high = frames
        while low < high:
            middle = (low + high) // 2
            if self._found_at(middle) >= position:
                high = middle
            else:
                low = middle + 1
        return low

    def _found_at(self, frame: int) -> float:
        return frame + float(self.delay_at(np.array([float(frame)]))[0])


def spline_weights(
    frames: Array, start: float, step: float, steps: int
) -> tuple[NDArray[np.intp], Array]:
    """The four cubic B-splines that are not zero at some frames.

    C. de Boor, "A Practical Guide to Splines", Springer, 1978: B-splines on equal steps.
    """
    place = np.clip((frames - start) / step, 0.0, float(steps))
    index = np.minimum(place.astype(np.intp), steps - 1)
    u = place - index
    v = 1.0 - u
    return index, np.stack([
        v * v * v,
        (3.0 * u - 6.0) * u * u + 4.0,
        (3.0 * v - 6.0) * v * v + 4.0,
        u * u * u,
    ]) / 6.0  # fmt: skip
