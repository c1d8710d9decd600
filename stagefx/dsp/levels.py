"""Levels re a full-scale sine: rms, peak, A-weighted; and what matches two pieces."""

from __future__ import annotations

import math
from array import array

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.dsp.blocks import as_block
from stagefx.dsp.loudness import HOPS_PER_SECOND, MOMENTARY_HOPS, LoudnessMeter, sliding_power
from stagefx.dsp.weighting import a_weighting
from stagefx.errors import AudioError

SINE_POWER = 0.5
"""Mean square of a sine whose peak is full scale: 0 dBFS."""


def _decibels(power: ArrayLike) -> NDArray[np.float64]:
    with np.errstate(divide="ignore"):
        level_db: NDArray[np.float64] = 10.0 * np.log10(np.asarray(power, dtype=np.float64))
    return level_db


def rms_dbfs(samples: ArrayLike) -> NDArray[np.float64]:
    """The rms level of each channel re a full-scale sine."""
    rows = np.ascontiguousarray(as_block(samples).T)
    return _decibels(np.square(rows).sum(axis=1) / (SINE_POWER * max(rows.shape[1], 1)))


def peak_dbfs(samples: ArrayLike) -> NDArray[np.float64]:
    """The largest sample of each channel re the peak of a full-scale sine."""
    rows = np.ascontiguousarray(as_block(samples).T)
    return 2.0 * _decibels(np.abs(rows).max(axis=1, initial=0.0))


class AWeightedMeter:
    """A meter of the A-weighted level of a programme, over the blocks that count for loudness.

    The curve of IEC 61672-1 as filters, see `a_weighting`.  What comes out is summed up every
    100 ms; the level is that of the blocks of 400 ms that pass the gates of the loudness.
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        self.loudness = LoudnessMeter(rate_hz, channels)
        self._rate_hz = rate_hz
        self._channels = channels
        treble, bass = a_weighting(rate_hz)
        self._treble, self._bass = np.array(treble), np.array(bass)
        self._treble_state = np.zeros((channels, 3))
        self._bass_state = np.zeros((channels, 5))
        self._frame = 0
        self._energies = array("d")

    def add(self, block: ArrayLike) -> None:
        """Pass the next stretch of audio through the meter."""
        from stagefx.kernels.filters.loudness import weighted_energy
        from stagefx.kernels.filters.treble import filter_treble

        block = as_block(block, channels=self._channels)
        self.loudness.add(block)
        filtered = np.empty_like(block)
        energy = np.empty((self._channels, len(block) * HOPS_PER_SECOND // self._rate_hz + 1))
        filter_treble(block, self._treble, self._treble_state, filtered)
        hops = weighted_energy(
            filtered,
            self._frame,
            self._rate_hz,
            HOPS_PER_SECOND,
            self._bass,
            self._bass_state,
            energy,
        )
        self._frame += len(block)
        self._energies.extend(energy[:, :hops].sum(axis=0).tolist())

    @property
    def level_db(self) -> float:
        """A-weighted level in dB re a full-scale sine; minus infinity where nothing counts."""
        passes = self.loudness.gated_blocks
        if not passes.any():
            return -math.inf
        power = sliding_power(
            np.array(self._energies),
            first=0,
            length=MOMENTARY_HOPS,
            rate_hz=self._rate_hz,
            per_second=HOPS_PER_SECOND,
        )
        return float(_decibels(power[passes].mean() / SINE_POWER))


def a_weighted_level_db(samples: ArrayLike, *, rate_hz: int) -> float:
    """The A-weighted level of a whole piece in memory, over the blocks that count for loudness."""
    block = as_block(samples)
    meter = AWeightedMeter(rate_hz, block.shape[1])
    meter.add(block)
    return meter.level_db


def match_gain_db(first_lufs: float, second_lufs: float) -> float:
    """The gain that brings a second piece to the loudness of a first."""
    for which, loudness in (("first", first_lufs), ("second", second_lufs)):
        if not math.isfinite(loudness):
            raise AudioError(
                f"the {which} piece has no loudness, for it is silent or shorter than 0.4 s; "
                "match by gain instead, or not at all"
            )
    return first_lufs - second_lufs
