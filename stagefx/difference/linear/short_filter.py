"""A short filter between two versions: what of their difference is linear and quickly over.

A long filter, fitted to every frequency alike, rings for milliseconds before an attack, and where
the music has nothing one click is enough to set it.  This one is some milliseconds long, and
follows the spectra only as far as they agree.
"""

from __future__ import annotations

import numpy as np

from stagefx.dsp.spectra import Array, Complex, PairSpectra

REACH_FRAMES = 64
"""To either side of the present: a longer filter explains more, and rings for longer."""
_FADED_FRAMES = 16
"""At either end of the filter, so that it does not break off."""
_TRANSFORM = 1024
"""Neighbouring lines of longer spectra are averaged: so short a filter does not tell them apart."""
_LEAST_COHERENCE = 0.5
"""Below this a spectrum says more of what was added than of a filter: the plain gain is kept."""
_SILENT = 1e-16
"""Of the strongest line: what lies lower is rounding."""


def short_filter(spectra: PairSpectra) -> Array:
    """The impulse response from a first version to a second, 64 frames to either side.

    ``h = w H + (1 - w) g``, w = 2 (coherence - 1/2) from 0 to 1, g the gain of all that sounds
    """
    first, more = (_averaged(lines).real for lines in (spectra.first, spectra.second))
    cross = _averaged(spectra.cross)
    across, second = first + cross, first + 2.0 * cross.real + more
    channels, transform = len(first), 2 * (first.shape[1] - 1)
    sounding = np.minimum(first, second) > _SILENT * first.max(axis=1, keepdims=True)
    power, other = np.where(sounding, first, 1.0), np.where(sounding, second, 1.0)
    coherence = np.where(sounding, np.square(np.abs(across)) / (power * other), 0.0)
    weight = np.clip((coherence - _LEAST_COHERENCE) / (1.0 - _LEAST_COHERENCE), 0.0, 1.0)
    total = first.sum(axis=1)
    gain = np.where(total > 0.0, across.real.sum(axis=1) / np.where(total > 0.0, total, 1.0), 1.0)
    response = weight * np.where(sounding, across / power, 0.0) + (1.0 - weight) * gain[:, None]
    reach = min(REACH_FRAMES, transform // 4)
    near = np.roll(np.fft.irfft(response, transform), reach, axis=1)[:, : 2 * reach + 1]
    from_end = np.minimum(np.arange(2 * reach + 1), np.arange(2 * reach + 1)[::-1])
    fade = np.sin(0.5 * np.pi * np.minimum((from_end + 1.0) / (_FADED_FRAMES + 1.0), 1.0)) ** 2
    taps = np.zeros((channels, 2 * REACH_FRAMES + 1))
    taps[:, REACH_FRAMES - reach : REACH_FRAMES + reach + 1] = near * fade
    return taps


def _averaged(lines: Array | Complex) -> Complex:
    """Means over as many neighbouring lines as leave those of a short transform."""
    many = max(2 * (lines.shape[1] - 1) // _TRANSFORM, 1)
    below = lines[:, 1 : many // 2 + 1][:, ::-1].conj()
    above = lines[:, -many:-1][:, ::-1].conj()
    mirrored = np.concatenate([below, lines, above], axis=1)
    count = (lines.shape[1] - 1) // many + 1
    return np.asarray(mirrored[:, : count * many].reshape(len(lines), count, many).mean(axis=2))
