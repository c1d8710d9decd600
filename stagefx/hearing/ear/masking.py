"""Noise under music: how far a difference, or a remainder, stays below what the music masks."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.dsp.blocks import as_block
from stagefx.errors import ComparisonError
from stagefx.hearing.ear.account import MaskAccount
from stagefx.hearing.ear.frames import BATCH_FRAMES, FrameSource
from stagefx.hearing.ear.listening import Desk, Listener
from stagefx.hearing.ear.scale import FRAME, HOP, RATE_HZ, band_centres_hz
from stagefx.hearing.ear.spreading import band_table, mask_offset_db

Array = NDArray[np.float64]

SHORTEST_S = 0.5
"""Shorter music is not judged."""
WORKERS = 2
"""Threads of a meter."""
TOO_SHORT = "shorter than half a second"
DISTURBED = 10.0 ** (1.5 / 10.0)
"""A frame in which some band's noise passes its mask by 1.5 dB is disturbed."""


def frame_time_s(frame: int) -> float:
    """The middle of a frame."""
    return (frame * HOP + FRAME / 2) / RATE_HZ


class MaskTally:
    """Noise over mask, summed up over a piece."""

    def __init__(self, channels: int) -> None:
        self._mask = 10.0 ** (-mask_offset_db() / 10.0)
        self._sums = np.zeros(channels)
        self._frames = self._sounding = self._disturbed = 0
        self._worst = (0.0, 0, 0)

    def take(
        self, noises: Sequence[Array], excitations: Sequence[Array], sounding: NDArray[np.bool_]
    ) -> None:
        """Add a batch of frames."""
        nearest = np.zeros_like(noises[0])
        for channel, (noise, excitation) in enumerate(zip(noises, excitations, strict=True)):
            ratio = noise / (excitation * self._mask)
            self._sums[channel] += ratio[sounding].mean(axis=1).sum()
            np.maximum(nearest, ratio, out=nearest)
        self._disturbed += int((nearest.max(axis=1) > DISTURBED).sum())
        frame, band = divmod(int(nearest.argmax()), nearest.shape[1])
        if nearest[frame, band] > self._worst[0]:
            self._worst = (float(nearest[frame, band]), self._frames + frame, band)
        self._frames += len(nearest)
        self._sounding += int(sounding.sum())

    def account(self, reason: str) -> MaskAccount:
        """What was found so far."""
        if reason:
            return MaskAccount(None, None, None, None, None, reason)
        mean = float(self._sums.max()) / max(self._sounding, 1)
        share = self._disturbed / max(self._sounding, 1)
        highest, frame, band = self._worst
        if mean <= 0.0:
            return MaskAccount(float("-inf"), share, None, None, None)
        return MaskAccount(
            noise_to_mask_db=float(10.0 * np.log10(mean)),
            disturbed_frames_share=share,
            worst_s=frame_time_s(frame),
            worst_hz=float(band_centres_hz()[band]),
            worst_db=float(10.0 * np.log10(highest)),
        )


def check_pair(first: ArrayLike, second: ArrayLike, channels: int) -> tuple[Array, Array]:
    """The same frames of two pieces, channel by channel."""
    one, other = as_block(first, channels=channels), as_block(second, channels=channels)
    if len(one) != len(other):
        raise ComparisonError(
            f"the first block has {len(one)} frames and the second {len(other)}; "
            "give the same frames of both"
        )
    return one.T, other.T


class MaskMeter:
    """A meter that music and a remainder are passed through side by side.

    The noise is the remainder's own weighted spectrum.  The figure is the worst channel's; the
    standard's is the mean of all, which would let a remainder hide in one of many.  Frames in
    which there is no sound at all do not count.

    ITU-R BS.1387, annex 2, 3.2 and 4.4: mask, noise-to-mask ratio, disturbed frames.
    """

    def __init__(
        self,
        rate_hz: int,
        channels: int,
        full_scale_spl_db: float,
        room_dba: float | None = None,
    ) -> None:
        self._rate_hz, self._channels, self._frames = rate_hz, channels, 0
        self._pool = ThreadPoolExecutor(WORKERS, thread_name_prefix="ear")
        self._source = FrameSource(rate_hz, 2 * channels, self._pool)
        self._heard = _Masked(channels, full_scale_spl_db, room_dba)

    def add(self, music: ArrayLike, remainder: ArrayLike) -> None:
        """Pass the next stretch through the meter."""
        rows = check_pair(music, remainder, self._channels)
        self._frames += rows[0].shape[1]
        for batch in self._source.add(*rows):
            self._heard.take(batch, self._pool)

    def account(self) -> MaskAccount:
        """What was found so far."""
        if self._frames < SHORTEST_S * self._rate_hz:
            return self._heard.tally.account(TOO_SHORT)
        heard = copy.deepcopy(self._heard)
        for batch in self._source.rest():
            heard.take(batch, self._pool)
        return heard.tally.account("")


class _Masked:
    """Ears for the music, eyes for the remainder, and what they found."""

    def __init__(self, channels: int, full_scale_spl_db: float, room_dba: float | None) -> None:
        self._desks = [Desk() for _ in range(channels)]
        self._ears = [Listener(full_scale_spl_db, desk, room_dba) for desk in 2 * self._desks]
        self._nothing = np.zeros_like(self._ears[0].magnitudes)
        self._noises = np.empty((channels, BATCH_FRAMES, band_table().shape[1]))
        self.tally = MaskTally(channels)

    def take(self, batch: Array, pool: ThreadPoolExecutor) -> None:
        """A batch of frames, music's channels before the remainder's."""
        channels = len(self._noises)
        alike = [batch] * channels
        count, *_ = list((pool.map if channels > 1 else map)(self._look, alike, range(channels)))
        self.tally.take(
            [noise[:count] for noise in self._noises],
            [ear.excitation[:count] for ear in self._ears[:channels]],
            sounding(batch, count),
        )

    def _look(self, batch: Array, channel: int) -> int:
        """One channel of both; touches nothing of another channel."""
        from stagefx.kernels.ear import noise_of_difference

        channels = len(self._noises)
        remainder = self._ears[channels + channel]
        self._ears[channel].hear(batch[channel])
        count = remainder.look(batch[channels + channel])
        noise_of_difference(
            remainder.magnitudes[:count],
            self._nothing[:count],
            band_table(),
            self._desks[channel].squares,
            self._noises[channel, :count],
        )
        return count


def sounding(batch: Array, frames: int) -> NDArray[np.bool_]:
    """Which frames of a batch hold any sound."""
    from stagefx.kernels.ear import find_sound

    marks = np.zeros(frames)
    for row in batch:
        find_sound(row, HOP, marks)
    return marks > 0.0
