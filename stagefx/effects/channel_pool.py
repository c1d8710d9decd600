"""Running copies that treat every channel alike and apart, on as many threads as there are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from time import perf_counter
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.blocks import GRID_FRAMES

Array = NDArray[np.float64]


_NEAR_FRAMES = 64 * GRID_FRAMES
"""Frames of one channel that go through all runners before the next, while they are near."""


_WORTH = 1.5
"""How much longer than another thread a chain has to take before it gets more than one itself."""


class Helpers:
    """Threads to spread channels over, unless the processors have enough to do."""

    def __init__(self, threads: int) -> None:
        self._pool = ThreadPoolExecutor(threads)
        self._needed_s = 0.0
        self.others_s: Callable[[], float] = lambda: 0.0

    def run(self, work: Callable[[int], bool], channels: int) -> list[bool]:
        """Do the work of each channel."""
        start = perf_counter()
        spread = self._needed_s >= _WORTH * self.others_s()
        if spread:
            others = self._pool.map(work, range(1, channels))
            found = [work(0), *others]
        else:
            found = [work(channel) for channel in range(channels)]
        self._needed_s = (perf_counter() - start) * (channels if spread else 1)
        return found

    def close(self) -> None:
        """Let the threads go."""
        self._pool.shutdown(cancel_futures=True)


class OneChannel(Protocol):
    """What runs on one channel: contiguous samples in, as many out."""

    @property
    def delay_frames(self) -> int:
        """By how many frames the output is late."""
        ...

    def through(self, samples: Array) -> Array:
        """Work on the next samples; may return them untouched, never changes them."""
        ...

    def rewind(self) -> None:
        """Forget everything."""
        ...


class Channelwise:
    """A `Running` made of a row of runners for each channel."""

    def __init__(
        self,
        makers: Sequence[Callable[[int], OneChannel]],
        channels: int,
        helpers: Helpers | None = None,
    ) -> None:
        self.rows = [[make(channel) for make in makers] for channel in range(channels)]
        self._helpers = helpers

    @property
    def delay_frames(self) -> int:
        """By how many frames the output is late."""
        return sum(runner.delay_frames for runner in self.rows[0])

    def through(self, block: Array) -> Array:
        """Work on the next block."""
        result = np.empty_like(block, order="C")

        def work(channel: int) -> bool:
            touched = False
            for start in range(0, block.shape[0], _NEAR_FRAMES):
                piece = slice(start, start + _NEAR_FRAMES)
                before = np.ascontiguousarray(block[piece, channel])
                after = before
                for runner in self.rows[channel]:
                    after = runner.through(after)
                result[piece, channel] = after
                touched = touched or after is not before
            return touched

        channels = block.shape[1]
        if self._helpers is None:
            touched = [work(channel) for channel in range(channels)]
        else:
            touched = self._helpers.run(work, channels)
        return result if any(touched) else block

    def rewind(self) -> None:
        """Forget everything."""
        for row in self.rows:
            for runner in row:
                runner.rewind()
