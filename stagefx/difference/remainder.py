"""What no linear filter explains of a difference: distortion and noise, told from response.

A segment cut out of a filtered piece is not the filtered segment: what the filter remembers
crosses the cut.  To first order, ``w (h * x) = h * (w x) + (t h) * (w' x)``, so the second version
is fitted by two spectra of the first, one under the window and one under its slope.  Without the
second a coupling capacitor's 20 Hz would look like distortion at -60 dB.
"""

from __future__ import annotations

import numpy as np

from stagefx.audio.spectra import Array, Complex, PairMeter

_LEAST_APART = 1e-9
"""Where the two spectra of the first are alike to this share, the second adds nothing."""


class RemainderMeter(PairMeter):
    """A pair meter that also finds what a linear filter leaves over.

    Parameters
    ----------
    rate_hz : int, Hz
        Sampling rate.
    channels : int, 1 or more
        Number of channels.
    segment_frames : int, frames, even
        Length of a segment.

    Examples
    --------
    >>> meter = RemainderMeter(48000, 1, 1024)
    >>> noise, hiss = np.random.default_rng(1).standard_normal((2, 480_000, 1))
    >>> meter.add(noise[1:], 0.5 * noise[:-1] + 0.01 * hiss[1:])
    >>> round(float(10.0 * np.log10(meter.left_over().sum() / meter.spectra().first.sum())), 1)
    -40.0
    """

    def __init__(self, rate_hz: int, channels: int, segment_frames: int) -> None:
        super().__init__(rate_hz, channels, segment_frames)
        self._slope = np.sin(2.0 * np.pi * np.arange(segment_frames) / segment_frames)
        self._sloped = np.zeros_like(self._first)
        self._own = np.zeros_like(self._cross)
        self._sloped_cross = np.zeros_like(self._cross)

    def _add_segment(self, pair: Array) -> tuple[Complex, Complex]:
        x, y = super()._add_segment(pair)
        sloped = np.fft.rfft(pair[0] * self._slope, axis=1)
        self._sloped += np.square(sloped.real) + np.square(sloped.imag)
        self._own += x.conj() * sloped
        self._sloped_cross += sloped.conj() * y
        return x, y

    def left_over(self) -> Array:
        """Power of the second that no linear filter makes of the first.

        Returns
        -------
        ndarray of float64 [channels, lines], full scale squared
            In the sums of `spectra`; what two fitted numbers a line take of plain noise is given
            back.
        """
        spectra = self.spectra()
        first = np.where(spectra.first > 0.0, spectra.first, 1.0)
        apart = self._sloped - np.abs(self._own) ** 2 / first
        across = self._sloped_cross - self._own.conj() * self._cross / first
        useful = apart > _LEAST_APART * self._sloped
        more = np.where(useful, np.abs(across) ** 2 / np.where(useful, apart, 1.0), 0.0)
        left = np.maximum(spectra.second - spectra.explained - more, 0.0)
        fitted = 2.0 / max(spectra.segments, 3)
        return np.asarray(left / (1.0 - fitted))
