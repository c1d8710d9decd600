"""An ear that hears two versions of a piece, and sees what remains between them, in one go."""

from __future__ import annotations

import copy
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.hearing.ear.account import EarAccount, MaskAccount
from stagefx.hearing.ear.detection import _Heard
from stagefx.hearing.ear.frames import FrameSource
from stagefx.hearing.ear.listening import Listener
from stagefx.hearing.ear.masking import (
    SHORTEST_S,
    TOO_SHORT,
    WORKERS,
    MaskTally,
    check_pair,
    sounding,
)
from stagefx.hearing.ear.scale import FRAME, HOP
from stagefx.hearing.ear.spreading import band_table

Array = NDArray[np.float64]


class EarBeside:
    """What `EarPair` finds in two versions and `MaskMeter` in a remainder, the first heard once."""

    def __init__(
        self,
        rate_hz: int,
        channels: int,
        full_scale_spl_db: float,
        room_dba: float | None = None,
    ) -> None:
        self._rate_hz, self._channels, self._frames = rate_hz, channels, 0
        self._pool = ThreadPoolExecutor(WORKERS, thread_name_prefix="ear")
        self._source = FrameSource(rate_hz, 3 * channels, self._pool)
        self._heard = _HeardBeside(channels, full_scale_spl_db, room_dba)

    def add(self, first: ArrayLike, second: ArrayLike, remainder: ArrayLike) -> None:
        """Pass the next stretch of all three through the ear."""
        one, other = check_pair(first, second, self._channels)
        _, rest = check_pair(first, remainder, self._channels)
        self._frames += one.shape[1]
        for batch in self._source.add(one, other, rest):
            self._heard.take(batch, self._pool)

    def account(self) -> tuple[EarAccount, MaskAccount]:
        """What was found so far."""
        heard = copy.deepcopy(self._heard)
        for batch in self._source.rest():
            heard.take(batch, self._pool)
        reason = "" if self._frames >= SHORTEST_S * self._rate_hz else TOO_SHORT
        return heard.account(reason), heard.rest.account(reason)


class _HeardBeside(_Heard):
    """Ears for both versions, eyes for the remainder, and what they found."""

    def __init__(self, channels: int, full_scale_spl_db: float, room_dba: float | None) -> None:
        super().__init__(channels, full_scale_spl_db, room_dba)
        self._eyes = [Listener(full_scale_spl_db, desk) for desk in self._desks]
        self._nothing = np.zeros_like(self._eyes[0].magnitudes)
        self._remains = np.empty_like(self._noises)
        self._remainder = np.empty((channels, 0))
        self.rest = MaskTally(channels)

    def take(self, batch: Array, pool: ThreadPoolExecutor) -> None:
        channels = len(self._noises)
        self._remainder = batch[2 * channels :]
        super().take(batch[: 2 * channels], pool)
        frames = (batch.shape[1] - FRAME + HOP) // HOP
        sound = sounding(batch[:channels], frames) | sounding(self._remainder, frames)
        self.rest.take(
            [noise[:frames] for noise in self._remains],
            [ear.excitation[:frames] for ear in self._ears[:channels]],
            sound,
        )

    def _compare(self, batch: Array, channel: int) -> int:
        from stagefx.kernels.ear import noise_of_difference

        count = super()._compare(batch, channel)
        eye = self._eyes[channel]
        eye.look(self._remainder[channel])
        noise_of_difference(
            eye.magnitudes[:count],
            self._nothing[:count],
            band_table(),
            self._desks[channel].squares,
            self._remains[channel, :count],
        )
        return count
