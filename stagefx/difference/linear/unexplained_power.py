"""What no linear filter explains of a difference: distortion and noise, told from response.

A segment cut out of a filtered piece is not the filtered segment: what the filter remembers
crosses the cut.  To first order, ``w (h * x) = h * (w x) + (t h) * (w' x)``, so the second version
is fitted by two spectra of the first, one under the window and one under its slope.  Without the
second a coupling capacitor's 20 Hz would look like distortion at -60 dB.
"""

from __future__ import annotations

import numpy as np

from stagefx.dsp.spectra import Array, PairMeter
from stagefx.kernels.pair_sums import add_spectra

_LEAST_APART = 1e-9
"""Where the two spectra of the first are alike to this share, the second adds nothing."""


class RemainderMeter(PairMeter):
    """A pair meter that also finds what a linear filter leaves over."""

    def __init__(self, rate_hz: int, channels: int, segment_frames: int) -> None:
        super().__init__(rate_hz, channels, segment_frames)
        lines = segment_frames // 2 + 1
        self._powers = np.zeros((channels, 3, lines))
        self._products = np.zeros((channels, 3, lines), dtype=np.complex128)
        self._first, self._second, self._sloped = self._powers.transpose(1, 0, 2)
        self._cross, self._own, self._sloped_cross = self._products.transpose(1, 0, 2)

    def _add_segment(self, pair: Array) -> None:
        for channel, both in enumerate(pair.transpose(1, 0, 2)):
            x, y = np.fft.rfft(both, axis=1).view(np.float64).reshape(2, -1, 2)
            products = self._products[channel].view(np.float64).reshape(3, -1, 2)
            add_spectra(x, y, self._powers[channel], products)
        self._segments += 1

    def left_over(self) -> Array:
        """Power of the second that no linear filter makes of the first."""
        spectra = self.spectra()
        first = np.where(spectra.first > 0.0, spectra.first, 1.0)
        apart = self._sloped - np.abs(self._own) ** 2 / first
        across = self._sloped_cross - self._own.conj() * self._cross / first
        useful = apart > _LEAST_APART * self._sloped
        more = np.where(useful, np.abs(across) ** 2 / np.where(useful, apart, 1.0), 0.0)
        left = np.maximum(spectra.second - spectra.explained - more, 0.0)
        fitted = 2.0 / max(spectra.segments, 3)
        return np.asarray(left / (1.0 - fitted))
