"""From sections of sound to a finished 16-bit piece: silence, level, dither."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .signals import Samples, fft_length, frames_in, ratio, uniform

TRUE_PEAK_DB = -1.0
HEAD_S, GAP_S, TAIL_S = 0.25, 0.8, 0.35

_OVERSAMPLING = 4


def true_peak(samples: Samples) -> float:
    """Highest point of the curve through the samples, from four times as many."""
    length = fft_length(len(samples))
    peaks = []
    for channel in samples.T:
        spectrum = np.fft.rfft(channel, length)
        peaks.append(np.abs(np.fft.irfft(spectrum, _OVERSAMPLING * length)).max())
    return float(max(peaks)) * _OVERSAMPLING


def finished(sections: Sequence[Samples], *, seed: int) -> NDArray[np.int16]:
    """The piece as it is stored: sections with digital silence before, between and after them.

    Sound is brought to a true peak of -1 dBFS and gets triangular dither of two steps peak to
    peak; silence gets none and stays exactly zero.
    """
    head, gap, tail = (np.zeros((frames_in(s), 2)) for s in (HEAD_S, GAP_S, TAIL_S))
    parts = [head]
    for number, section in enumerate(sections):
        parts += [section, tail if number == len(sections) - 1 else gap]
    silent = np.repeat([index % 2 == 0 for index in range(len(parts))], [len(p) for p in parts])
    sound = np.concatenate(parts)
    sound *= ratio(TRUE_PEAK_DB) / true_peak(sound)

    draws = uniform(seed, 2 * sound.size).reshape(2, *sound.shape)
    dither = draws[0] - draws[1]
    dither[silent] = 0.0
    return np.asarray(np.rint(sound * 32_768.0 + dither), dtype=np.int16)
