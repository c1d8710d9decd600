"""Levels re a full-scale sine: rms, peak, A-weighted; and what matches two pieces."""

from __future__ import annotations

import math
from array import array

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.audio.blocks import as_block
from stagefx.audio.loudness import HOPS_PER_SECOND, MOMENTARY_HOPS, LoudnessMeter
from stagefx.audio.weighting import a_weighting_db
from stagefx.errors import AudioError

SINE_POWER = 0.5
"""Mean square of a sine whose peak is full scale: 0 dBFS."""

FRAME_HOPS = 2
"""A-weighted spectra are taken over 200 ms, every 100 ms."""
_FRAMES_PER_BLOCK = MOMENTARY_HOPS - FRAME_HOPS + 1


def _decibels(power: ArrayLike) -> NDArray[np.float64]:
    with np.errstate(divide="ignore"):
        level_db: NDArray[np.float64] = 10.0 * np.log10(np.asarray(power, dtype=np.float64))
    return level_db


def rms_dbfs(samples: ArrayLike) -> NDArray[np.float64]:
    """The rms level of each channel re a full-scale sine.

    Parameters
    ----------
    samples : array-like [frames, channels], full scale 1.0
        Audio.

    Returns
    -------
    ndarray of float64 [channels], dBFS
        Level; minus infinity for silence and for no frames.

    Raises
    ------
    AudioError
        The array has not the shape (frames, channels).

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 1000.0 * np.arange(48000) / 48000)
    >>> rms_dbfs(np.stack([tone, tone / 10], axis=1)).round(4) + 0.0
    array([  0., -20.])
    """
    rows = np.ascontiguousarray(as_block(samples).T)
    return _decibels(np.square(rows).sum(axis=1) / (SINE_POWER * max(rows.shape[1], 1)))


def peak_dbfs(samples: ArrayLike) -> NDArray[np.float64]:
    """The largest sample of each channel re the peak of a full-scale sine.

    Parameters
    ----------
    samples : array-like [frames, channels], full scale 1.0
        Audio.

    Returns
    -------
    ndarray of float64 [channels], dBFS
        Level; minus infinity for silence and for no frames.

    Raises
    ------
    AudioError
        The array has not the shape (frames, channels).

    Examples
    --------
    >>> peak_dbfs([[0.25, 0.0], [-0.5, 0.0]]).round(2)
    array([-6.02,  -inf])
    """
    rows = np.ascontiguousarray(as_block(samples).T)
    return 2.0 * _decibels(np.abs(rows).max(axis=1, initial=0.0))


class AWeightedMeter:
    """A meter of the A-weighted level of a programme, over the blocks that count for loudness.

    Parameters
    ----------
    rate_hz : int, Hz, 8000 to 384000
        Sampling rate.
    channels : int, 1 or more
        Number of channels; their powers are summed.

    Attributes
    ----------
    loudness : LoudnessMeter
        The meter whose gates decide; it has been passed the same audio.

    Notes
    -----
    Spectra of 200 ms under a raised cosine, every 100 ms, each line weighted by the curve of
    IEC 61672-1 itself, so that nothing is bent towards half the rate.  A block of 400 ms is the
    mean of the three spectra inside it.  A tone at 20 Hz reads 1.1 dB high, at 50 Hz 0.1: the
    curve is steeper there than the spectrum is fine.

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 100.0 * np.arange(48000) / 48000)
    >>> meter = AWeightedMeter(48000, 1)
    >>> meter.add(tone[:, None])
    >>> round(meter.level_db, 1)
    -19.1
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        self.loudness = LoudnessMeter(rate_hz, channels)
        self._rate_hz = rate_hz
        self._channels = channels
        frames = FRAME_HOPS * (rate_hz // HOPS_PER_SECOND)
        self._window = np.sin(np.pi * (np.arange(frames) + 0.5) / frames) ** 2
        power_gains = 10.0 ** (a_weighting_db(np.fft.rfftfreq(frames, 1.0 / rate_hz)) / 10.0)
        power_gains *= 2.0  # the lines at negative frequencies
        power_gains[-1] /= 1.0 + (frames % 2 == 0)
        power_gains /= frames * np.square(self._window).sum()
        self._power_gains = np.repeat(power_gains, 2)  # for a real and an imaginary part
        self._waiting = np.empty((channels, 0))
        self._frame = 0
        self._powers = array("d")

    def add(self, block: ArrayLike) -> None:
        """Pass the next stretch of audio through the meter.

        Parameters
        ----------
        block : array-like [frames, channels], full scale 1.0
            Any number of frames.

        Raises
        ------
        AudioError
            The block has not the shape (frames, channels) of this meter.
        """
        block = as_block(block, channels=self._channels)
        self.loudness.add(block)
        known = self._waiting
        self._waiting = np.empty((self._channels, known.shape[1] + len(block)))
        self._waiting[:, : known.shape[1]] = known
        self._waiting[:, known.shape[1] :] = block.T
        while True:
            begin = len(self._powers) * self._rate_hz // HOPS_PER_SECOND - self._frame
            if begin + len(self._window) > self._waiting.shape[1]:
                break
            self._powers.append(self._weighted_power(begin))
        kept = min(begin, self._waiting.shape[1])
        self._waiting = self._waiting[:, kept:].copy()
        self._frame += kept

    def _weighted_power(self, begin: int) -> float:
        frame = self._waiting[:, begin : begin + len(self._window)] * self._window
        parts = np.fft.rfft(frame, axis=1).view(np.float64)
        np.square(parts, out=parts)
        parts *= self._power_gains
        return float(parts.sum())

    @property
    def level_db(self) -> float:
        """A-weighted level in dB re a full-scale sine; minus infinity where nothing counts."""
        passes = self.loudness.gated_blocks
        if not passes.any():
            return -math.inf
        powers = np.array(self._powers)
        blocks = sum(powers[k : k + len(passes)] for k in range(_FRAMES_PER_BLOCK))
        mean = np.asarray(blocks)[passes].mean() / _FRAMES_PER_BLOCK
        return float(_decibels(mean / SINE_POWER))


def a_weighted_level_db(samples: ArrayLike, *, rate_hz: int) -> float:
    """The A-weighted level of a whole piece in memory, over the blocks that count for loudness.

    Parameters
    ----------
    samples : array-like [frames, channels], full scale 1.0
        Audio.
    rate_hz : int, Hz, 8000 to 384000
        Sampling rate.

    Returns
    -------
    float, dB re a full-scale sine
        Level, channel powers summed; minus infinity for silence and for less than 0.4 s.

    Raises
    ------
    AudioError
        The array has not the shape (frames, channels).

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 1000.0 * np.arange(48000) / 48000)
    >>> round(a_weighted_level_db(np.stack([tone, tone], axis=1), rate_hz=48000), 2)
    3.01
    """
    block = as_block(samples)
    meter = AWeightedMeter(rate_hz, block.shape[1])
    meter.add(block)
    return meter.level_db


def match_gain_db(first_lufs: float, second_lufs: float) -> float:
    """The gain that brings a second piece to the loudness of a first.

    Parameters
    ----------
    first_lufs, second_lufs : float, LUFS
        Integrated loudness of each.

    Returns
    -------
    float, dB
        What the second has to be turned up by.

    Raises
    ------
    AudioError
        One of them has no loudness: silence, or less than 0.4 s.

    Examples
    --------
    >>> match_gain_db(-23.0, -20.5)
    -2.5
    """
    for which, loudness in (("first", first_lufs), ("second", second_lufs)):
        if not math.isfinite(loudness):
            raise AudioError(
                f"the {which} piece has no loudness, for it is silent or shorter than 0.4 s; "
                "match by gain instead, or not at all"
            )
    return first_lufs - second_lufs
