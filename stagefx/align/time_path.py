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
    """A place where the delay changes at once: samples were dropped, or played twice.

    Parameters
    ----------
    frame : int, frames
        On the first's scale: the first frame after it.
    frames : float, frames
        What the delay changes by; negative where the second lacks samples.
    unsure_frames : int, frames
        How far to either side it may really lie, as where nothing is played.
    """

    frame: int
    frames: float
    unsure_frames: int = 0

    def left_out(self, reach: int) -> tuple[int, int]:
        """The frames of the first that cannot be compared for it.

        Parameters
        ----------
        reach : int, frames
            How far an interpolation looks to either side.

        Returns
        -------
        start, stop : int, frames
            What was dropped, and the reach on either side; where the place is unsure, both sides
            fit as well.

        Examples
        --------
        >>> Jump(1000, -3.0, unsure_frames=10).left_out(56)
        (941, 1056)
        """
        dropped = math.ceil(max(-self.frames, 0.0))
        return self.frame - dropped - reach, self.frame + reach


@dataclass(frozen=True)
class TimePath:
    """A delay that changes along a piece.

    ``delay(n) = offset + slope n + s(n) + Σ jumps up to n``, s a cubic spline on equal steps

    Parameters
    ----------
    offset_frames : float, frames
        Delay at frame 0, jumps and wandering left out.
    slope : float
        Frames of delay gained in a frame.
    start : float, frames
        Where the spline begins; before and after it, it keeps its first and last value.
    step : float, frames
        Distance of its knots.
    wander : tuple of float, frames
        Weights of its cubic B-splines, three more than it has steps; empty for a straight line.
    jumps : tuple of Jump
        In order.

    Examples
    --------
    >>> path = TimePath(10.0, -2e-5, jumps=(Jump(48000, -1.0),))
    >>> path.delay_at(np.array([0.0, 48000.0])).round(2)
    array([10.  ,  8.04])
    """

    offset_frames: float
    slope: float
    start: float = 0.0
    step: float = 1.0
    wander: tuple[float, ...] = ()
    jumps: tuple[Jump, ...] = ()

    def smooth_delay_at(self, frames: Array) -> Array:
        """The delay without jumps.

        Parameters
        ----------
        frames : ndarray of float64, frames
            On the first's scale.

        Returns
        -------
        ndarray of float64, frames
            How late the second is there.
        """
        delay: Array = self.offset_frames + self.slope * frames
        if self.wander:
            index, weights = spline_weights(frames, self.start, self.step, len(self.wander) - 3)
            wander = np.array(self.wander)
            for each in range(4):
                delay += weights[each] * wander[index + each]
        return delay

    def delay_at(self, frames: Array) -> Array:
        """The delay at some frames.

        Parameters
        ----------
        frames : ndarray of float64, frames
            On the first's scale.

        Returns
        -------
        ndarray of float64, frames
            How late the second is there.
        """
        delay = self.smooth_delay_at(frames)
        for jump in self.jumps:
            delay += jump.frames * (frames >= jump.frame)
        return delay

    def delays(self, start: int, stop: int) -> Array:
        """The delay at every frame of a stretch.

        Parameters
        ----------
        start, stop : int, frames
            On the first's scale.

        Returns
        -------
        ndarray of float64 [stop - start], frames
            How late the second is; straight lines over 64 frames, which a clock does not leave.
        """
        frames = np.arange(start, stop, dtype=np.float64)
        first = start - start % _GRID_FRAMES
        grid = np.arange(first, stop + _GRID_FRAMES, _GRID_FRAMES, dtype=np.float64)
        delay: Array = np.interp(frames, grid, self.smooth_delay_at(grid))
        for jump in self.jumps:
            delay[max(jump.frame - start, 0) :] += jump.frames
        return delay

    def common_stretch(self, first_frames: int, second_frames: int, reach: int) -> tuple[int, int]:
        """The frames of the first that are found in the second.

        Parameters
        ----------
        first_frames, second_frames : int, frames
            Lengths.
        reach : int, frames
            How many frames the second has to have on either side.

        Returns
        -------
        start, stop : int, frames
            On the first's scale; stop is at most start where there are none.
        """
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

    Parameters
    ----------
    frames : ndarray of float64 [n], frames
        Where.
    start, step : float, frames
        First knot, and distance of knots.
    steps : int, 1 or more
        Number of steps; frames outside count as the nearest end.

    Returns
    -------
    index : ndarray of int [n]
        The first of the four splines.
    weights : ndarray of float64 [4, n]
        Their values, which sum to 1.

    References
    ----------
    C. de Boor, "A Practical Guide to Splines", Springer, 1978: B-splines on equal steps.

    Examples
    --------
    >>> index, weights = spline_weights(np.array([1.0]), 0.0, 1.0, 2)
    >>> int(index[0]), (6.0 * weights[:, 0]).round(9)
    (1, array([1., 4., 1., 0.]))
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
