"""Short frames in batches as they come: judged beside their neighbours, tallied in turn."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.events.account import EventAccount, EventTally
from stagefx.hearing.events.desk import BATCH_FRAMES, NEAR, Batch, Desk

Array = NDArray[np.float64]

SURROUNDINGS = 15
"""Batches, 3 s, in the middle of which a batch is judged: what sounds in half of them is steady."""
FEWEST_BATCHES = 5
"""Of a piece shorter than 1 s nothing is called steady."""
EXPLAINED_AGAIN = 2.0
"""Where 0.2 s come to 3 dB together the short filter is tried, too: less comes to no event."""


class Stream:
    """Two versions and what is left of them, cut on a grid that is counted from the first frame."""

    def __init__(
        self, desk: Desk, hop: int, gain: float, taps: Array | None, tally: EventTally
    ) -> None:
        self._hop = hop
        self._context = 0 if taps is None else taps.shape[1] // 2
        self._desk, self._tally = desk, tally
        self._gain = gain
        self._taps = None if taps is None else gain * np.asarray(taps, np.float64)
        self._lap = self._hop + 2 * self._context
        self._fresh = np.zeros((3, desk.channels, BATCH_FRAMES * self._hop + self._lap))
        """The samples of the next batch, its context included."""
        self._filled = self._hop + self._context
        self._spare: list[Array] = []
        """Room for samples that is free again."""
        self._frames = self._cut = self._judged = self._counted = 0
        """Frames of audio that came; batches cut, judged and counted."""
        self._ring: dict[int, Batch] = {}

    def take(self, rows: tuple[Array, Array, Array]) -> None:
        """Take the next samples of first, second and left, channel by channel."""
        self._frames += rows[0].shape[1]
        self._fill(rows)

    def _fill(self, rows: tuple[Array, Array, Array]) -> None:
        begin, frames, length = 0, rows[0].shape[1], self._fresh.shape[2]
        while begin < frames:
            count = min(frames - begin, length - self._filled)
            for row, target in zip(rows, self._fresh, strict=True):
                target[:, self._filled : self._filled + count] = row[:, begin : begin + count]
            begin += count
            self._filled += count
            if self._filled == length:
                self._whole()

    def _whole(self) -> None:
        """A batch is whole: judge the one before it, and tally what is far enough behind."""
        whole = self._fresh
        self._fresh = self._spare.pop() if self._spare else np.empty_like(whole)
        self._fresh[:, :, : self._lap] = whole[:, :, -self._lap :]
        self._filled = self._lap
        self._ring[self._cut] = Batch(whole)
        self._cut += 1
        if self._cut > 1:
            self._judge(self._cut - 2)
            done = self._ring.get(self._cut - 3)
            if done is not None and done.samples is not None:
                self._spare.append(done.samples)
                done.forget()
        while self._judged >= max(self._counted + SURROUNDINGS // 2 + 1, SURROUNDINGS):
            self._count(self._judged)

    def end(self) -> EventAccount:
        """What was found when silence has followed until the last frame is over."""
        if not self._frames:
            return self._tally.account()
        batches = -(-(-(-self._frames // self._hop) + 1) // BATCH_FRAMES)
        missing = (batches + 1 - self._cut) * BATCH_FRAMES * self._hop + self._lap - self._filled
        silence = np.zeros((self._fresh.shape[1], missing))
        self._fill((silence, silence, silence))
        while self._counted < batches:
            self._count(batches)
        return self._tally.account()

    def _judge(self, number: int) -> None:
        """Find what is left in a batch, and what is masked there; its neighbours are known."""
        batch, desk = self._ring[number], self._desk
        self._judged = number + 1
        seen = self._inside(batch)
        if not desk.may_be_heard(seen[2]):
            return
        left = desk.energies(seen[2])
        if desk.over(left).max() < NEAR:
            batch.usual = desk.usual(left, None)
            return
        self._hear(batch)
        assert batch.plain is not None
        left = np.minimum(left, batch.plain)
        masked = desk.masked_at_least(batch)
        over = desk.over(left, masked)
        for closer in (self._mask_at_once, self._mask_around):
            if over.max() < NEAR:
                break
            closer(number, (over >= NEAR).astype(np.float64), masked)
            over = desk.over(left, masked)
        together = np.sqrt(np.square(over).sum(axis=1)).max()
        if self._taps is not None and together >= EXPLAINED_AGAIN:
            left = np.minimum(left, desk.energies(self._short(batch)))
            over = desk.over(left, masked)
        batch.usual = desk.usual(left, masked)
        if over.max() >= NEAR:
            batch.left, batch.masked = left, masked

    def _mask_at_once(self, number: int, near: Array, masked: Array) -> None:
        self._desk.mask_at_once(self._ring[number], near, masked)

    def _mask_around(self, number: int, near: Array, masked: Array) -> None:
        around = [self._ring.get(one) for one in (number - 1, number, number + 1)]
        for batch in around:
            if batch is not None:
                self._hear(batch)
        self._desk.mask(around, near, masked)

    def _inside(self, batch: Batch) -> Array:
        assert batch.samples is not None
        inside: Array = batch.samples[:, :, self._context : batch.samples.shape[2] - self._context]
        return inside

    def _hear(self, batch: Batch) -> None:
        if batch.energies is not None:
            return
        first, second, _ = self._inside(batch)
        self._desk.hear(batch, first, second, self._gain)

    def _short(self, batch: Batch) -> Array:
        """What the short filter leaves of the second."""
        from stagefx.kernels.events import filter_short

        assert self._taps is not None
        assert batch.samples is not None
        second = self._inside(batch)[1]
        made = np.empty(second.shape)
        for samples, taps, row in zip(batch.samples[0], self._taps, made, strict=True):
            filter_short(samples, taps, row)
        return np.asarray(second - made)

    def _count(self, last: int) -> None:
        """Tally the next batch, by what surrounds it up to the last that is known."""
        number = self._counted
        begin = max(min(number - SURROUNDINGS // 2, last - SURROUNDINGS), 0)
        near = [self._ring[one] for one in range(begin, min(begin + SURROUNDINGS, last))]
        around = [one.usual for one in near] if last >= FEWEST_BATCHES else []
        batch = self._ring[number]
        self._tally.take(self._desk.excess(batch.left, batch.masked, around))
        for gone in [one for one in self._ring if one < begin]:
            del self._ring[gone]
        self._counted += 1
