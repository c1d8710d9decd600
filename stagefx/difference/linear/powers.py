"""Levels of two versions as powers: by third octaves, K-weighted, and between the channels.

A ratio of powers stays what it is where a phase was turned, which a least-squares gain does not.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.bands import band_edges_hz, third_octaves_hz
from stagefx.dsp.spectra import PairSpectra, raised_cosine
from stagefx.dsp.weighting import K_HIGH_PASS, K_SHELF, K_TABLE_RATE_HZ

Array = NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 20.0, 18e3
"""What counts as heard of a level."""
DIRECTION_BELOW_HZ = 1400.0
"""Where the ears go by the phase between the channels."""
_SEGMENT_S = 0.09
_LEAST_SHARE = 1e-12
"""A channel 120 dB under the other is rounding."""


_LEAST_ABOVE = 0.5e-6
"""-60 dBFS: a filter at the end of the band changes as much in music that has treble."""
_SHARE_ABOVE = 1.0
"""A change by less than 3 dB is what converters and coders do there."""


def both_powers(spectra: PairSpectra, gain: float) -> Array:
    """Power of both versions line by line; [2, channels, lines], full scale squared.

    The spectra are of the first, and of what the second has more at a gain.
    """
    second = spectra.first + 2.0 * spectra.cross.real + spectra.second
    return np.stack([spectra.first, gain**2 * np.maximum(second, 0.0)])


def heard_lines(spectra: PairSpectra) -> NDArray[np.bool_]:
    """The lines from 20 Hz to 18 kHz."""
    return np.asarray((spectra.hz >= LOWEST_HZ) & (spectra.hz <= HIGHEST_HZ))


def level_change_db(spectra: PairSpectra, powers: Array) -> float | None:
    """Second less first, 20 Hz to 18 kHz, lines weighted by BS.1770's K, channels summed."""
    heard = heard_lines(spectra)
    first, second = (powers[:, :, heard].sum(axis=1) * _k_weights(spectra.hz[heard])).sum(axis=1)
    return 10.0 * math.log10(second / first) if first > 0.0 and second > 0.0 else None


def balance_change_db(spectra: PairSpectra, powers: Array) -> float | None:
    """Power ratio of the first channel re that of the second; of more the largest re the least."""
    first, second = powers[:, :, heard_lines(spectra)].sum(axis=2)
    sounding = first > _LEAST_SHARE * first.max()
    if sounding.sum() < 2 or np.any(second[sounding] <= 0.0):
        return None
    changes = 10.0 * np.log10(second[sounding] / first[sounding])
    return float(changes[0] - changes[1]) if len(changes) == 2 else float(np.ptp(changes))


def above_hearing_dbfs(spectra: PairSpectra, powers: Array) -> float | None:
    """What one version has more above 18 kHz, re a full-scale sine, its loudest channel.

    None where that is next to nothing, or no more than what both have.
    """
    first, second = mean_square_scale(spectra) * powers[:, :, spectra.hz > HIGHEST_HZ].sum(axis=2)
    more = np.abs(second - first)
    told = (more > _LEAST_ABOVE) & (more > _SHARE_ABOVE * np.minimum(first, second))
    return 10.0 * math.log10(2.0 * float(more[told].max())) if told.any() else None


def mean_square_scale(spectra: PairSpectra) -> float:
    """From a sum of squared lines to the mean square of what they stand for."""
    window = float(np.square(raised_cosine(spectra.segment_frames)).sum())
    return 2.0 / (spectra.segment_frames * window * max(spectra.segments, 1))


def third_octave_powers(spectra: PairSpectra, powers: Array) -> Array:
    """Mean squares of both in third octaves; [2, channels, 31], full scale squared."""
    scale = mean_square_scale(spectra)
    bands = []
    for middle in third_octaves_hz().tolist():
        low, high = band_edges_hz(middle)
        bands.append(powers[:, :, (spectra.hz >= low) & (spectra.hz < high)].sum(axis=2))
    return np.asarray(scale * np.stack(bands, axis=2))


@lru_cache(maxsize=4)
def _k_table() -> tuple[Array, Array]:
    hz = np.linspace(0.0, K_TABLE_RATE_HZ / 2.0, 8193)
    turn = np.exp(-2j * np.pi * hz / K_TABLE_RATE_HZ)[:, None] ** np.arange(3)
    gain = np.ones(len(hz))
    for above, below in (K_SHELF, K_HIGH_PASS):
        gain = gain * np.square(np.abs((turn @ np.array(above)) / (turn @ np.array(below))))
    return hz, gain


def _k_weights(hz: Array) -> Array:
    return np.asarray(np.interp(hz, *_k_table()))


class BetweenChannels:
    """A meter of the coherence between two channels that a piece is passed through."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._frames = 1 << round(math.log2(_SEGMENT_S * rate_hz))
        self._window = raised_cosine(self._frames)
        hz = np.fft.rfftfreq(self._frames, 1.0 / rate_hz)
        self._low = (hz >= LOWEST_HZ) & (hz < DIRECTION_BELOW_HZ)
        self._powers = np.zeros((2, int(self._low.sum())))
        self._across = np.zeros(int(self._low.sum()), dtype=np.complex128)
        self._segments = 0

    def add(self, block: Array) -> None:
        """Hear the beginning of the next block: three segments that overlap by half."""
        for begin in range(0, min(len(block), 2 * self._frames) - self._frames + 1,
                           self._frames // 2):  # fmt: skip
            part = block[begin : begin + self._frames].T * self._window
            one, other = np.fft.rfft(part, axis=1)[:, self._low]
            self._powers += np.square(np.abs([one, other]))
            self._across += one.conj() * other
            self._segments += 1

    def coherence(self) -> float | None:
        """Mean by power over the lines below 1.4 kHz, 0 to 1, less what chance gives."""
        weight = np.sqrt(self._powers[0] * self._powers[1])
        if self._segments < 2 or not weight.any():
            return None
        share = np.divide(
            np.square(np.abs(self._across)), np.square(weight),
            out=np.zeros_like(weight), where=weight > 0.0,
        )  # fmt: skip
        chance = 1.0 / self._segments
        mean = float((weight * share).sum() / weight.sum())
        return min(max((mean - chance) / (1.0 - chance), 0.0), 1.0)
