"""What a limiter did: how many frames, and in which moments most."""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stagefx.effects.effect import GRID_FRAMES
from stagefx.kernels.limiter import MARK_CLIPPED, MARK_SLEWING

Array = NDArray[np.float64]
MOMENT_BLOCKS = 8
"""Grid blocks that count as one moment: about a fifth of a second."""
MOMENTS = 10


@dataclass
class Tally:
    """What a limiter did so far, on one channel.

    Parameters
    ----------
    frames : int
        Frames worked on.
    clipped_frames, slewing_frames, nonlinear_frames : int
        Frames with clipping, with slewing, with either.
    extremes : array [4]
        Highest and lowest target, steepest rise and fall per frame, in units of full scale.
    """

    frames: int = 0
    clipped_frames: int = 0
    slewing_frames: int = 0
    nonlinear_frames: int = 0
    extremes: Array = field(default_factory=lambda: np.zeros(4))
    _worst: list[tuple[int, int, int, int]] = field(default_factory=list)
    _now: tuple[int, int, int, int] = (0, 0, 0, 0)

    def count(self, grid_block: int, marks: Array) -> None:
        """Add a block's marks.

        Parameters
        ----------
        grid_block : int
            Which block of the grid; rising.
        marks : array [GRID_FRAMES, nodes a frame]
            As `stagefx.kernels.limiter.limit` leaves them; as whole numbers, a bit a limit.
        """
        bits = marks.astype(np.uint8)
        frames = np.bitwise_or.reduce(np.ascontiguousarray(bits.T))
        clips = int(np.count_nonzero(frames & int(MARK_CLIPPED)))
        slews = int(np.count_nonzero(frames & int(MARK_SLEWING)))
        either = int(np.count_nonzero(frames))
        self.clipped_frames += clips
        self.slewing_frames += slews
        self.nonlinear_frames += either
        moment = grid_block // MOMENT_BLOCKS
        if self._now[1] != moment:
            self._worst, self._now = self._ranked(), (0, moment, 0, 0)
        before = self._now
        self._now = (before[0] + either, moment, before[2] + clips, before[3] + slews)

    def _ranked(self) -> list[tuple[int, int, int, int]]:
        if self._now[0] == 0:
            return self._worst
        return heapq.nlargest(MOMENTS, [*self._worst, self._now])

    def moments(self) -> tuple[tuple[int, int, int], ...]:
        """The moments in which most happened.

        Returns
        -------
        tuple of (frame, clipped frames, slewing frames)
            At most `MOMENTS`, worst first; the frame is where the moment begins.
        """
        span = MOMENT_BLOCKS * GRID_FRAMES
        return tuple((moment * span, clips, slews) for _, moment, clips, slews in self._ranked())
