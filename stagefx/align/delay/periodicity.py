"""Where else two pieces would fit as well: a steady tone looks the same every period."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.spectra import PairSpectra, raised_cosine

_FINER = 16
"""Lags are looked at a sixteenth of a frame apart."""
_AS_WELL = 0.995
_DIP = 0.9
"""Between two places the fit has to fall below this, or they are one."""
_LONGEST_SHARE = 0.25
"""Of a segment: farther on its window hides what repeats itself."""


@dataclass(frozen=True)
class Repeat:
    """The nearest other delay at which two pieces fit as well."""

    frames: float
    turned_over: bool


def nearest_repeat(spectra: PairSpectra) -> Repeat | None:
    """Look for another delay at which two versions of a piece fit as well.

    ``r(τ) = Σ f² |X|² cos(2π f τ) / Σ f² |X|²``: whether the first looks the same some time later
    """
    movement = (spectra.first * np.square(spectra.hz)).sum(axis=0)
    if not movement.any():
        return None
    fit = np.fft.irfft(movement, _FINER * spectra.segment_frames)
    fit = fit[: round(_LONGEST_SHARE * fit.size)] / fit[0]
    fit /= _own_likeness(spectra.segment_frames)[: fit.size]
    height = np.abs(fit)
    dips = np.flatnonzero(height < _DIP)
    if not len(dips):
        return None
    again = np.flatnonzero(height[dips[0] :] >= _AS_WELL)
    if not len(again):
        return None
    begin = dips[0] + again[0]
    hump = height[begin:]
    end = int(np.argmax(hump < _AS_WELL)) or len(hump)
    best = begin + int(np.argmax(hump[:end]))
    rest = 0.0
    if best + 1 < len(height):
        before, here, after = height[best - 1 : best + 2].tolist()
        bend = before - 2.0 * here + after
        rest = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return Repeat(float(best + rest) / _FINER, bool(fit[best] < 0.0))


def _own_likeness(frames: int) -> NDArray[np.float64]:
    """How like a segment's window is to itself some time later: it hides what is farther off."""
    power = np.square(np.abs(np.fft.rfft(raised_cosine(frames), 2 * frames)))
    likeness = np.fft.irfft(power)[:frames]
    lags = np.arange(_FINER * frames) / _FINER
    return np.asarray(np.interp(lags, np.arange(frames), likeness / likeness[0]), np.float64)
