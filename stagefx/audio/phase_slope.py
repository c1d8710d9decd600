"""By what part of a frame one piece lies behind another: the slope of the phase between them."""

from __future__ import annotations

import numpy as np

from stagefx.audio.spectra import PairSpectra

LOWEST_HZ, HIGHEST_HZ = 500.0, 16000.0
HIGHEST_SHARE = 0.45
"""Of the rate; converters and resamplers turn the phase above."""
_LOUDEST_SHARE = 1e-10
"""Lines 100 dB under the strongest hold what leaks from it, not music."""
_LEAST_UNEXPLAINED = 1e-9
"""Lines better than 90 dB count alike: what is left there is rounding."""


def delay_from_phase(spectra: PairSpectra) -> float:
    """The delay that best explains the phase between two pieces.

    ``phase = -2π f τ`` through the origin by least squares, each line weighted by the inverse
    variance of its phase, coherence / (1 - coherence).

    Parameters
    ----------
    spectra : PairSpectra
        Two pieces aligned to less than half a period of the highest line.

    Returns
    -------
    float, frames
        How late the second is; 0 where there is nothing to go by.

    References
    ----------
    G. C. Carter, "Coherence and time delay estimation", Proc. IEEE 75 (2), 1987: the weight.

    Examples
    --------
    >>> from stagefx.audio.spectra import PairMeter
    >>> frames = np.random.default_rng(1).standard_normal(48001)[:, None]
    >>> meter = PairMeter(48000, 1, 2048)
    >>> meter.add(frames[:-1], 0.5 * (frames[:-1] + frames[1:]))
    >>> round(delay_from_phase(meter.spectra()), 4)
    -0.5
    """
    hz = spectra.hz
    highest = min(HIGHEST_HZ, HIGHEST_SHARE * spectra.rate_hz)
    used = (hz >= LOWEST_HZ) & (hz <= highest) & _loud(spectra)
    if not used.any():
        used = (hz > 0.0) & (hz <= highest) & _loud(spectra)
    coherence = _unbiased_coherence(spectra)
    weight = np.where(used, coherence / np.maximum(1.0 - coherence, _LEAST_UNEXPLAINED), 0.0)
    radians_per_frame = 2.0 * np.pi * hz / spectra.rate_hz
    steepness = float((weight * radians_per_frame**2).sum())
    if steepness == 0.0:
        return 0.0
    phase = np.angle(spectra.cross)
    return -float((weight * radians_per_frame * phase).sum()) / steepness


def _loud(spectra: PairSpectra) -> np.ndarray:
    """Lines that stand out of what the window leaks."""
    peak = spectra.first.max(axis=1, keepdims=True)
    return np.asarray((spectra.first > _LOUDEST_SHARE * peak).sum(axis=0) > 0)


def _unbiased_coherence(spectra: PairSpectra) -> np.ndarray:
    """Coherence less what chance alone gives to as many segments."""
    if spectra.segments < 2:
        return spectra.coherence
    chance = 1.0 / spectra.segments
    return np.clip((spectra.coherence - chance) / (1.0 - chance), 0.0, 1.0)
