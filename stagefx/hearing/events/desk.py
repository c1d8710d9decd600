"""Where a batch of short frames is worked on: energies, what masks, and the excess over it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.events.scale import (
    BAND_BARK,
    LOWER_DB_PER_BARK,
    WINDOW_SHARE,
    band_table,
    curves,
    fades,
    hop_frames,
    line_weights,
    nepers,
    transform_frames,
)

Array = NDArray[np.float64]

BATCH_FRAMES = 80
"""Frames worked on at a time, 0.2 s: as far as forward masking reaches."""
STANDS_OUT = np.array([[10.0**1.5], [10.0**2.0]])
"""An event stands 15 dB out of what is steady in level, as a click out of the noise that just
hides it: less, and hiss is a row of events.  And 20 dB out of what is steady in relation to what
masks it: less, and coded music is."""
PARTS = 8
"""Of so many stretches of a batch the median is steady: clicks that come less often than some 20
times a second, from where on they are a sound of their own, do not count as such."""
NEAR = 0.2
"""What stays 7 dB below what hides it is not looked at closely; 0.2 s of it come to 2.5 dB, well
under the limit.  Less would cost time, and make no difference to an event."""


@dataclass
class Batch:
    """Some frames of all channels: samples, and what is found in them once it is wanted."""

    samples: Array | None
    """[first, second, left; channels; context + (frames + 1) × hop + context]"""
    energies: Array | None = None
    """[channels, frames, bands]: of what masks, the lesser of both versions."""
    plain: Array | None = None
    """The same shape: what the gain alone leaves."""
    levels: Array | None = None
    """The same shape: how far the energies spread, where that is known."""
    known: Array | None = None
    """[channels, frames]: 2 where it is."""
    left: Array | None = None
    """[channels, frames, bands]: the least that is left; None where it comes to nothing."""
    masked: Array | None = None
    usual: Array | None = None
    """[channels, 2, bands]: what is left most of the time, and its ratio to what is masked."""

    def forget(self) -> None:
        """Keep what its surroundings are judged by."""
        self.samples = self.energies = self.plain = self.levels = self.known = None


class Desk:
    """Tables and room to work in, for one meter."""

    def __init__(
        self, rate_hz: int, channels: int, full_scale_spl_db: float, room_dba: float | None
    ) -> None:
        from stagefx.kernels.events import HIDDEN, LEAST_ENERGY

        self.channels = channels
        self._hop, self._curves = hop_frames(rate_hz), curves(rate_hz)
        self._lines = line_weights(rate_hz, full_scale_spl_db)
        self._bands = band_table(rate_hz, room_dba)
        self._after, self._before = fades(rate_hz)
        self._lower = float(np.exp(-nepers(LOWER_DB_PER_BARK * BAND_BARK)))
        self._bands_count = self._bands.shape[1]
        self._shape = (channels, BATCH_FRAMES, self._bands_count)
        self._hidden = np.tile(self._bands[HIDDEN], (BATCH_FRAMES, 1))
        self._least = float(2.0 * NEAR * self._bands[HIDDEN].min() / self._lines.max())
        self._silence = np.full((BATCH_FRAMES, self._bands_count), np.log(LEAST_ENERGY))
        self._frames = np.zeros((BATCH_FRAMES, transform_frames(rate_hz)))
        lines = self._lines.shape[1]
        self._spectra = np.empty((3, BATCH_FRAMES, lines), np.complex128)
        self._powers = np.empty((2, max(lines, self._bands_count)))
        self._work = np.empty((3, self._bands_count))

    def may_be_heard(self, left: Array) -> bool:
        """Whether any frame's whole energy comes near what is heard in a band."""
        peak = float(np.abs(left).max())
        # the window's squares sum up to half the frame, lines of one side to half the transform
        return bool(
            WINDOW_SHARE * self._curves.shape[1] * self._frames.shape[1] * peak * peak > self._least
        )

    def energies(self, samples: Array) -> Array:
        """Energy in each band of each frame."""
        from stagefx.kernels.events import band_energies

        found = np.empty(self._shape)
        for row, energy in zip(samples, found, strict=True):
            seen = self._spectrum(row, 0)
            band_energies(seen, self._lines, self._bands, self._powers, energy, 0)
        return found

    def _spectrum(self, row: Array, place: int) -> Array:
        from stagefx.kernels.events import cut_frames

        cut_frames(np.ascontiguousarray(row), self._hop, self._curves, self._frames)
        np.fft.rfft(self._frames, out=self._spectra[place])
        return np.asarray(self._spectra[place].view(np.float64))

    def hear(self, batch: Batch, first: Array, second: Array, gain: float) -> None:
        """Energies of what masks, by the lesser of both; and what the gain leaves between them."""
        from stagefx.kernels.events import band_energies, difference_of

        batch.energies, batch.plain = np.empty(self._shape), np.empty(self._shape)
        batch.levels, batch.known = np.empty(self._shape), np.zeros(self._shape[:2])
        tables = (self._lines, self._bands, self._powers)
        apart = self._spectra[2].view(np.float64)
        for channel, (one, other) in enumerate(zip(first, second, strict=True)):
            seen = self._spectrum(one, 0), self._spectrum(other, 1)
            band_energies(seen[0], *tables, batch.energies[channel], 0)
            band_energies(seen[1], *tables, batch.energies[channel], 1)
            difference_of(*seen, gain, apart)
            band_energies(apart, *tables, batch.plain[channel], 0)

    def masked_at_least(self, batch: Batch) -> Array:
        """What is hidden in each frame at the very least; quickly found."""
        from stagefx.kernels.events import hide_at_least

        assert batch.energies is not None
        found = np.empty(self._shape)
        for energies, masked in zip(batch.energies, found, strict=True):
            hide_at_least(energies, self._bands, self._lower, masked)
        return found

    def mask_at_once(self, batch: Batch, near: Array, masked: Array) -> None:
        """What is hidden in the frames that are near by all that sounds in them."""
        from stagefx.kernels.events import hide

        for channel, row in enumerate(masked):
            levels = self._spread(batch, channel, near[channel] > 0.0)
            hide(levels, near[channel], self._after[:1], self._before[:1], self._bands, row)

    def mask(self, around: Sequence[Batch | None], near: Array, masked: Array) -> None:
        """What is hidden in the frames that are near by all that sounds around them, too."""
        from stagefx.kernels.events import hide

        earlier, later = len(self._after) - 1, len(self._before) - 1
        for channel, row in enumerate(masked):
            wanted = np.zeros(3 * BATCH_FRAMES, np.bool_)
            for frame in np.flatnonzero(near[channel]) + BATCH_FRAMES:
                wanted[frame - earlier : frame + later + 1] = True
            parts = [
                self._silence if batch is None else self._spread(batch, channel, here)
                for batch, here in zip(around, wanted.reshape(3, BATCH_FRAMES), strict=True)
            ]
            levels = np.concatenate(parts)[BATCH_FRAMES - earlier : 2 * BATCH_FRAMES + later]
            hide(levels, near[channel], self._after, self._before, self._bands, row)

    def _spread(self, batch: Batch, channel: int, wanted: NDArray[np.bool_]) -> Array:
        """Levels of one channel's frames, found where they are wanted and not known yet."""
        from stagefx.kernels.events import spread_levels

        assert batch.energies is not None
        assert batch.levels is not None
        assert batch.known is not None
        known: Array = batch.known[channel]
        levels: Array = batch.levels[channel]
        known[wanted & (known == 0.0)] = 1.0
        tables = (self._bands, self._lower, self._work)
        spread_levels(batch.energies[channel], known, *tables, levels)
        return levels

    def over(self, left: Array, masked: Array | None = None) -> Array:
        """Excess of each channel's frames over what is masked, or over what silence hides."""
        nothing = np.zeros((len(left), 2, left.shape[2]))
        return self._exceeding(left, masked, nothing)[:, 0]

    def _exceeding(self, left: Array, masked: Array | None, steady: Array) -> Array:
        """Excess of each frame in each channel, and the band in which it is greatest."""
        from stagefx.kernels.events import exceed

        found = np.empty((len(left), 2, left.shape[1]))
        for channel, excess in enumerate(found):
            hidden = self._hidden if masked is None else masked[channel]
            exceed(left[channel], hidden, steady[channel], BAND_BARK, self._work[0], excess)
        return found

    def usual(self, left: Array, masked: Array | None) -> Array:
        """What is left most of the time in a batch, and its ratio to what is hidden."""
        from stagefx.kernels.events import usual

        found, means = np.empty((len(left), 2, left.shape[2])), np.empty(PARTS)
        for channel, usually in enumerate(found):
            hidden = self._hidden if masked is None else masked[channel]
            usual(left[channel], hidden, means, usually)
        return found

    def excess(
        self, left: Array | None, masked: Array | None, around: Sequence[Array | None]
    ) -> Array:
        """What stands out of what is steady around it, frame by frame, and in which band."""
        from stagefx.kernels.events import medians

        if left is None or masked is None:
            return np.zeros((2, BATCH_FRAMES))
        channels, _, bands = left.shape
        steady = np.zeros((channels, 2 * bands))
        if around:
            nothing, work = np.zeros((channels, 2, bands)), np.empty(len(around))
            rows = np.stack([nothing if one is None else one for one in around], axis=1)
            for channel, row in enumerate(rows):
                medians(row.reshape(len(around), 2 * bands), work, steady[channel])
        found = self._exceeding(left, masked, STANDS_OUT * steady.reshape(channels, 2, bands))
        most = found[:, 0].argmax(axis=0)
        return np.ascontiguousarray(found[most, :, np.arange(left.shape[1])].T)
