"""By what part of a frame one piece lies behind another: the slope of the phase between them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from stagefx.dsp.spectra import Array, Complex, PairSpectra

LOWEST_HZ, HIGHEST_HZ = 500.0, 16000.0
HIGHEST_SHARE = 0.45
"""Of the rate; converters and resamplers turn the phase above."""
_LOUDEST_SHARE = 1e-10
"""Lines 100 dB under the strongest hold what leaks from it, not music."""
_LEAST_UNEXPLAINED = 1e-9
"""Lines better than 90 dB count alike: what is left there is rounding."""
_ROUNDS = 2
_BENT_RADIANS = 0.5
"""Lines that lie farther off a straight phase count little: an all-pass turned them round."""
_LEAST_STRAIGHT = 0.1
_CLEARLY_STRAIGHTER = 1.2
"""One channel alone is gone by only where the others clearly do not follow it."""
_LINES_ALIKE = 1.5
"""Lines that count as one: the noise bandwidth of a raised cosine."""
_SEGMENT_S = 0.17
_SEGMENT_COUNTS = 0.95
"""What one of many raised-cosine segments that overlap by half is worth."""


@dataclass(frozen=True)
class PhaseDelay:
    """A delay read from phases, and how far to trust it."""

    frames: float
    uncertainty_frames: float


def delay_from_phase(spectra: PairSpectra, response: Complex | None = None) -> PhaseDelay:
    """The delay that best explains the phase between two pieces.

    ``phase = -2π f τ`` through the origin by least squares, each line weighted by the inverse
    variance of its phase, coherence / (1 - coherence), and less where it lies far off the line.

    The variance of a phase is (1 - coherence) / (2 K coherence) for K segments; raised-cosine
    segments that overlap by half count 0.95 each, and their lines 1.5 to one.

    G. C. Carter, "Coherence and time delay estimation", Proc. IEEE 75 (2), 1987: the weight.
    J. S. Bendat, A. G. Piersol, "Random Data", Wiley: the variance of a phase.
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
        return PhaseDelay(0.0, math.inf)
    cross = spectra.cross if response is None else spectra.cross * response.conj()
    phase = np.angle(cross)
    delay = _straightest(weight, radians_per_frame, phase)
    for _ in range(_ROUNDS):
        left = np.angle(np.exp(1j * (phase + radians_per_frame * delay)))
        straight = weight * np.exp(-np.square(left / _BENT_RADIANS))
        bottom = float((straight * radians_per_frame**2).sum())
        if not bottom > _LEAST_STRAIGHT * steepness:
            break
        delay -= float((straight * radians_per_frame * left).sum()) / bottom
    alike = _LINES_ALIKE / (2.0 * _SEGMENT_COUNTS * spectra.segments)
    return PhaseDelay(delay, math.sqrt(alike / steepness))


def _straightest(weight: Array, radians_per_frame: Array, phase: Array) -> float:
    """The least-squares delay of all channels, or of one, by which most lines lie straight."""
    slope = weight * radians_per_frame
    below, above = (slope * radians_per_frame).sum(axis=1), -(slope * phase).sum(axis=1)
    known = below > 0.0
    tried = [float(above.sum() / below.sum())]
    if len(weight) > 1:
        tried += (above[known] / below[known]).tolist()
    scores = [
        float((slope * radians_per_frame * np.exp(-np.square(left / _BENT_RADIANS))).sum())
        for left in (np.angle(np.exp(1j * (phase + radians_per_frame * each))) for each in tried)
    ]
    best = int(np.argmax(scores))
    return tried[best] if scores[best] > _CLEARLY_STRAIGHTER * scores[0] else tried[0]


def direction(spectra: PairSpectra, delay_frames: float) -> Complex:
    """The phase of the response between two pieces, less a delay that is in it."""
    turned = spectra.cross * np.exp(2j * np.pi * spectra.hz / spectra.rate_hz * delay_frames)
    size = np.abs(turned)
    found: Complex = np.ones_like(turned)
    np.divide(turned, size, out=found, where=size > 0.0)
    return found


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


def segment_frames(length: int, *, rate_hz: int) -> int:
    """How long the segments are of which delays are read."""
    target = math.log2(min(_SEGMENT_S * rate_hz, length / 4))
    return 1 << round(target - 0.4)
