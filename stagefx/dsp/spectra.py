"""What two pieces have in common, frequency by frequency: averaged spectra of both and across.

Welch's method: raised-cosine segments that overlap by half.  Nothing is taken off the segments,
and powers are sums, so that two stretches of one piece simply add up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class PairSpectra:
    """Power spectra of two pieces, and their cross spectrum, summed over segments.

    P. D. Welch, "The use of fast Fourier transform for the estimation of power spectra", IEEE
    Trans. Audio and Electroacoustics 15 (2), 1967: averaged overlapping segments.
    J. S. Bendat, A. G. Piersol, "Random Data", Wiley: transfer estimate and coherence.
    """

    rate_hz: int
    segment_frames: int
    segments: int
    first: Array
    second: Array
    cross: Complex

    @property
    def hz(self) -> Array:
        """Frequencies of the lines."""
        return np.asarray(np.fft.rfftfreq(self.segment_frames, 1.0 / self.rate_hz), np.float64)

    @property
    def transfer(self) -> Complex:
        """Least-squares transfer from first to second, Σ X* Y / Σ |X|²; 0 where nothing is."""
        return np.divide(
            self.cross, self.first, out=np.zeros_like(self.cross), where=self.first > 0.0
        )

    @property
    def explained(self) -> Array:
        """Power of the second that a linear filter makes of the first, |Σ X* Y|² / Σ |X|²."""
        power = np.square(self.cross.real) + np.square(self.cross.imag)
        explained: Array = np.zeros_like(self.first)
        np.divide(power, self.first, out=explained, where=self.first > 0.0)
        return explained

    @property
    def unexplained(self) -> Array:
        """Power of the second that no linear filter makes of the first.

        The one complex number a line that was fitted takes 1/K of plain noise with it; that is
        given back.
        """
        left = np.maximum(self.second - self.explained, 0.0)
        return left * (self.segments / (self.segments - 1.0)) if self.segments > 1 else left

    @property
    def coherence(self) -> Array:
        """Share of the second's power that a linear filter makes of the first, 0 to 1."""
        share = np.zeros_like(self.second)
        np.divide(self.explained, self.second, out=share, where=self.second > 0.0)
        return np.minimum(share, 1.0)

    def noise_power(self, mean_square: float) -> float:
        """What white noise adds to every line."""
        return (
            mean_square * self.segments * float(np.square(raised_cosine(self.segment_frames)).sum())
        )


def raised_cosine(frames: int) -> Array:
    """The window that segments are seen through."""
    return np.asarray(np.sin(np.pi * np.arange(frames) / frames) ** 2)


class PairMeter:
    """A meter that two pieces are passed through side by side."""

    def __init__(self, rate_hz: int, channels: int, segment_frames: int) -> None:
        self._rate_hz = rate_hz
        self._channels = channels
        self._window = raised_cosine(segment_frames)
        lines = segment_frames // 2 + 1
        self._first = np.zeros((channels, lines))
        self._second = np.zeros((channels, lines))
        self._cross = np.zeros((channels, lines), dtype=np.complex128)
        self._segments = 0
        self.restart()

    def restart(self) -> None:
        """Begin a stretch that does not follow on from what went before."""
        self._waiting = np.empty((2, self._channels, 0))

    def add(self, first: Array, second: Array) -> None:
        """Pass the next stretch of both pieces through the meter."""
        frames = len(self._window)
        self._waiting = np.concatenate([self._waiting, np.stack([first.T, second.T])], axis=2)
        begin = 0
        while begin + frames <= self._waiting.shape[2]:
            self._add_segment(self._waiting[:, :, begin : begin + frames])
            begin += frames // 2
        self._waiting = self._waiting[:, :, begin:].copy()

    def _add_segment(self, pair: Array) -> None:
        x, y = np.fft.rfft(pair * self._window, axis=2)
        self._first += np.square(x.real) + np.square(x.imag)
        self._second += np.square(y.real) + np.square(y.imag)
        self._cross += x.conj() * y
        self._segments += 1

    def add_spectra(self, spectra: PairSpectra) -> None:
        """Add what another meter of the same kind has measured."""
        self._first += spectra.first
        self._second += spectra.second
        self._cross += spectra.cross
        self._segments += spectra.segments

    def spectra(self) -> PairSpectra:
        """What was measured so far."""
        return PairSpectra(
            rate_hz=self._rate_hz,
            segment_frames=len(self._window),
            segments=self._segments,
            first=self._first.copy(),
            second=self._second.copy(),
            cross=self._cross.copy(),
        )
