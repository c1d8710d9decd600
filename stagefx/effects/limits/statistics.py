"""What a limiter did: how many frames, and in which moments most."""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stagefx.effects.effect import GRID_FRAMES
from stagefx.kernels.marks import count_marks

Array = NDArray[np.float64]
MOMENT_BLOCKS = 8
"""Grid blocks that count as one moment: about a fifth of a second."""
MOMENTS = 10


@dataclass
class Tally:
    """What a limiter did so far, on one channel."""

    frames: int = 0
    clipped_frames: int = 0
    slewing_frames: int = 0
    nonlinear_frames: int = 0
    extremes: Array = field(default_factory=lambda: np.zeros(4))
    _worst: list[tuple[int, int, int, int]] = field(default_factory=list)
    _now: tuple[int, int, int, int] = (0, 0, 0, 0)

    def count(self, first_block: int, marks: Array) -> list[int]:
        """Add the marks of blocks."""
        counts = np.empty((marks.shape[0], 3))
        count_marks(marks, counts)
        clips, slews, either = ([int(count) for count in part] for part in counts.T)
        self.clipped_frames += sum(clips)
        self.slewing_frames += sum(slews)
        self.nonlinear_frames += sum(either)
        for block in range(len(either)):
            if either[block] == 0:
                continue
            moment = (first_block + block) // MOMENT_BLOCKS
            if self._now[1] != moment:
                self._worst, self._now = self._ranked(), (0, moment, 0, 0)
            before = self._now
            self._now = (
                before[0] + either[block],
                moment,
                before[2] + clips[block],
                before[3] + slews[block],
            )
        return either

    def _ranked(self) -> list[tuple[int, int, int, int]]:
        if self._now[0] == 0:
            return self._worst
        return heapq.nlargest(MOMENTS, [*self._worst, self._now])

    def moments(self) -> tuple[tuple[int, int, int], ...]:
        """The moments in which most happened."""
        span = MOMENT_BLOCKS * GRID_FRAMES
        return tuple((moment * span, clips, slews) for _, moment, clips, slews in self._ranked())
