"""Running copies that treat every channel alike and apart, on as many threads as there are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class OneChannel(Protocol):
    """What runs on one channel: contiguous samples in, as many out."""

    @property
    def delay_frames(self) -> int:
        """By how many frames the output is late."""
        ...

    def through(self, samples: Array) -> Array:
        """Work on the next samples; may return them untouched, never changes them.

        Parameters
        ----------
        samples : array [n GRID_FRAMES]
            One channel.

        Returns
        -------
        array [n GRID_FRAMES]
            Late by `delay_frames`.
        """
        ...

    def rewind(self) -> None:
        """Forget everything."""
        ...


class Channelwise:
    """A `Running` made of a row of runners for each channel.

    Parameters
    ----------
    makers : sequence of callables
        Each makes one of the runners of a channel, in order, from the channel's number.
    channels : int
        Channels of every block.
    pool : ThreadPoolExecutor or None
        Threads to spread the channels over; the samples do not depend on it.
    """

    def __init__(
        self,
        makers: Sequence[Callable[[int], OneChannel]],
        channels: int,
        pool: ThreadPoolExecutor | None = None,
    ) -> None:
        self.rows = [[make(channel) for make in makers] for channel in range(channels)]
        self._pool = pool

    @property
    def delay_frames(self) -> int:
        """By how many frames the output is late."""
        return sum(runner.delay_frames for runner in self.rows[0])

    def through(self, block: Array) -> Array:
        """Work on the next block.

        Parameters
        ----------
        block : array [n GRID_FRAMES, channels]
            Not changed.

        Returns
        -------
        array [n GRID_FRAMES, channels]
            `block` itself where no channel was touched.
        """
        columns = [np.ascontiguousarray(block[:, c]) for c in range(block.shape[1])]
        if self._pool is None or len(columns) == 1:
            done = [_run(row, column) for row, column in zip(self.rows, columns, strict=True)]
        else:
            done = list(self._pool.map(_run, self.rows, columns))
        if all(after is before for after, before in zip(done, columns, strict=True)):
            return block
        result = np.empty_like(block, order="C")
        for c, column in enumerate(done):
            result[:, c] = column
        return result

    def rewind(self) -> None:
        """Forget everything."""
        for row in self.rows:
            for runner in row:
                runner.rewind()


def _run(row: Sequence[OneChannel], samples: Array) -> Array:
    for runner in row:
        samples = runner.through(samples)
    return samples
