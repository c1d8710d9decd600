"""The true peak of a waveform: how high it rises between its samples."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.dsp.blocks import as_block

PAIRS = 24
"""Samples on either side of an interpolated instant."""
KAISER_BETA = 7.0
TWICE_FROM_HZ = 88200
ONCE_FROM_HZ = 176400

_STRETCH = 128
_ROUNDING = 1.0 + 1e-12


def _gains(instant: float) -> NDArray[np.float64]:
    """Gains of the 48 samples around an instant, 0 to 1 of the way from one sample to the next."""
    away = np.arange(-PAIRS + 1, PAIRS + 1) - instant
    window = np.i0(KAISER_BETA * np.sqrt(1.0 - (away / PAIRS) ** 2))
    gains = np.sinc(away) * window
    normalised: NDArray[np.float64] = gains / gains.sum()
    return normalised


def interpolation_gains() -> tuple[NDArray[np.float64], float]:
    """The filter that looks between samples, a quarter, half and three quarters of the way."""
    half, quarter = _gains(0.5), _gains(0.25)
    before = slice(PAIRS - 1, None, -1)
    even = (quarter[before] + quarter[PAIRS:]) / 2.0
    odd = (quarter[before] - quarter[PAIRS:]) / 2.0
    pair_gains = np.stack([half[PAIRS:], even, odd])
    largest = max(float(np.abs(half).sum()), float(np.abs(quarter).sum()))
    return pair_gains, largest * _ROUNDING


class TruePeakMeter:
    """A meter that audio is passed through, block by block.

    The interpolation is a Kaiser-windowed sinc of 48 samples, within 0.005 dB up to 0.453 of the
    rate (20 kHz at 44.1 kHz).  Between the instants a sine of 0.45 of the rate can rise another
    0.55 dB, less for lower frequencies (BS.1770-5, annex 2, attachment 1).
    A stretch is passed over where the largest sample around it, times Σ|h| = 2.69, does not reach
    the highest point so far: nothing in it could, so the reading is the same bit for bit.

    ITU-R BS.1770-5, annex 2: oversampling; a result rate of 192 kHz needs four times from 48 kHz.
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._channels = channels
        self._between = rate_hz < ONCE_FROM_HZ
        self._quarters = int(rate_hz < TWICE_FROM_HZ)
        self._pair_gains, self._largest_gain = interpolation_gains()
        self._work = np.empty((3, _STRETCH))
        self._recent = np.zeros((channels, 2 * PAIRS - 1))
        self._peak = np.zeros((channels, 1))

    def add(self, block: ArrayLike) -> None:
        """Pass the next stretch of audio through the meter."""
        block = as_block(block, channels=self._channels)
        samples = self._after_recent(block)
        np.maximum(self._peak, np.abs(samples).max(axis=1, keepdims=True), out=self._peak)
        if self._between:
            self._look_between(samples, self._peak)
        self._recent = samples[:, -(2 * PAIRS - 1) :].copy()

    def _after_recent(self, block: NDArray[np.float64]) -> NDArray[np.float64]:
        """One contiguous row for each channel: what is still needed of the past, then a block."""
        known = self._recent.shape[1]
        samples = np.empty((self._channels, known + len(block)))
        samples[:, :known] = self._recent
        samples[:, known:] = block.T
        return samples

    def _look_between(self, samples: NDArray[np.float64], peak: NDArray[np.float64]) -> None:
        from stagefx.kernels.true_peak import raise_peak

        gains, largest = self._pair_gains, self._largest_gain
        for channel in range(self._channels):
            raise_peak(samples[channel], gains, largest, self._quarters, self._work, peak[channel])

    @property
    def peak(self) -> NDArray[np.float64]:
        """Highest point of each channel so far, silence assumed before and after; full scale 1."""
        peak = self._peak.copy()
        if self._between:
            silence = np.zeros((2 * PAIRS - 1, self._channels))
            self._look_between(self._after_recent(silence), peak)
        return peak[:, 0]

    @property
    def peak_dbtp(self) -> NDArray[np.float64]:
        """Highest point of each channel so far in dB re full scale; minus infinity for silence."""
        with np.errstate(divide="ignore"):
            level_db: NDArray[np.float64] = 20.0 * np.log10(self.peak)
        return level_db
