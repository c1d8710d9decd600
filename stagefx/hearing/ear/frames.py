"""Audio of any rate, in blocks of any size, cut into the ear's frames at 48 kHz."""

from __future__ import annotations

import math
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.resampling import resample
from stagefx.hearing.ear.scale import FRAME, HOP, RATE_HZ

Array = NDArray[np.float64]

BATCH_FRAMES = 32
"""Frames worked on at a time."""
_BATCH = BATCH_FRAMES * HOP
_LAP = FRAME - HOP
_STRETCH = 4 * _BATCH
_MARGIN_S = 0.03
"""What a stretch is resampled with on either side; several times the filter's reach."""


class FrameSource:
    """Cuts audio into batches of frames; what is left over can be asked for at any time.

    Audio of another rate is resampled stretch by stretch, on a grid counted from frame 0, each
    with some of its neighbours; so nothing depends on the size of the blocks.
    """

    def __init__(self, rate_hz: int, rows: int, pool: ThreadPoolExecutor | None = None) -> None:
        self._rate_hz = rate_hz
        self._batch = np.zeros((rows, _LAP + _BATCH))
        self._filled = 0
        self._resampler = Resampler(rate_hz, rows, pool) if rate_hz != RATE_HZ else None

    def add(self, *parts: Array) -> Iterator[Array]:
        """Take the next audio."""
        if self._resampler is None:
            yield from self._batches(parts)
        else:
            for stretch in self._resampler.add(np.concatenate(parts)):
                yield from self._batches((stretch,))

    def _batches(self, parts: tuple[Array, ...]) -> Iterator[Array]:
        begin, frames = 0, parts[0].shape[1]
        while begin < frames:
            count = min(frames - begin, self._batch.shape[1] - self._filled)
            row = 0
            for part in parts:
                target = self._batch[row : row + len(part), self._filled : self._filled + count]
                target[:] = part[:, begin : begin + count]
                row += len(part)
            begin += count
            self._filled += count
            if self._filled == self._batch.shape[1]:
                yield self._batch
                self._batch[:, :_LAP] = self._batch[:, -_LAP:]
                self._filled = _LAP

    def rest(self) -> Iterator[Array]:
        """What would follow if the audio ended here; leaves everything as it is."""
        tail = self._batch[:, : self._filled]
        if self._resampler is not None:
            tail = np.concatenate([tail, self._resampler.rest()], axis=1)
        frames = (tail.shape[1] - _LAP) // HOP
        for first in range(0, frames, BATCH_FRAMES):
            count = min(BATCH_FRAMES, frames - first)
            yield tail[:, first * HOP : (first + count) * HOP + _LAP]


class Resampler:
    """Audio at 48 kHz, made stretch by stretch on a grid counted from frame 0.

    Each stretch is resampled with some of its neighbours, so that what comes out depends neither
    on the size of the blocks nor on when it is asked for.
    """

    def __init__(self, rate_hz: int, rows: int, pool: ThreadPoolExecutor | None = None) -> None:
        self._rate_hz = rate_hz
        shared = math.gcd(rate_hz, RATE_HZ)
        # So many frames last as long as a whole number of frames at 48 kHz.
        self._unit, self._unit_out = rate_hz // shared, RATE_HZ // shared
        self._margin = math.ceil(_MARGIN_S * rate_hz / self._unit) * self._unit
        self._stretch = math.ceil(_STRETCH / self._unit_out) * self._unit
        self._pool = pool
        self._held = np.zeros((rows, 0))
        self._passed = 0
        """Frames held that have been resampled already."""

    def add(self, rows: Array) -> Iterator[Array]:
        """Take the next audio."""
        self._held = np.concatenate([self._held, rows], axis=1)
        while self._held.shape[1] >= self._passed + self._stretch + self._margin:
            yield self._resampled(self._stretch)
            gone = max(self._passed + self._stretch - self._margin, 0)
            self._held = self._held[:, gone:]
            self._passed += self._stretch - gone
        self._held = self._held.copy()

    def rest(self) -> Array:
        """What is left if the audio ends here."""
        return self._resampled(self._held.shape[1] - self._passed)

    def _resampled(self, frames: int) -> Array:
        stop = self._passed + frames + self._margin
        before = self._passed // self._unit * self._unit_out
        length = math.ceil(frames * RATE_HZ / self._rate_hz)
        done = np.zeros((len(self._held), length))

        def convert(row: int) -> None:
            known = self._held[row, :stop]
            fresh = resample(known, self._rate_hz, RATE_HZ, quality="HQ")
            fresh = fresh[before : before + length]
            done[row, : fresh.size] = fresh

        list((self._pool.map if self._pool else map)(convert, range(len(done))))
        return done
