"""Sines in a recording: how strong each is, at exactly which frequency, and how much is noise.

A stretch under a Kaiser window is laid against a complex exponential at each frequency.  The
window's side lobes lie 150 dB down, so that tones do not touch each other, whatever their
frequencies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_KAISER_BETA = 16.0
LOBE_BINS = 5.2
"""Half the width of the window's main lobe, in steps of one over its length:
``√(1 + (β / π)²)``."""
_MOST_OFF = 5e-5
"""How far, relatively, a tone may lie from where it is expected: clocks are better than that."""
_LEAST_CLEAR = 30.0
"""dB by which a tone has to stand out for its own frequency to be fitted."""


@lru_cache(maxsize=32)
def window(frames: int) -> Array:
    """The window that a stretch is looked at through."""
    shape = np.kaiser(frames, _KAISER_BETA)
    shape /= shape.sum()
    shape.setflags(write=False)
    return shape


def fourier(samples: Array, start_s: float, step_s: float, hz: Array) -> Complex:
    """The Fourier transform of evenly spaced samples at any frequencies.

    ``Σ x[n] exp(-2πi f (start + n step))``
    """
    # n = a · columns + b: few exponentials, and the rest is multiplied.
    columns = max(math.isqrt(len(samples)), 1)
    rows = -(-len(samples) // columns)
    padded = np.zeros(rows * columns)
    padded[: len(samples)] = samples
    turn = -2j * np.pi * hz * step_s
    within = np.exp(turn * np.arange(columns)[:, None])
    between = np.exp(turn * columns * np.arange(rows)[:, None])
    table = padded.reshape(rows, columns)
    # Not by matrix products, whose threads add up in an order of their own.
    parts = [np.einsum("ab,bk->ak", table, one) for one in (within.real, within.imag)]
    sums = (between * (parts[0] + 1j * parts[1])).sum(axis=0)
    return np.asarray(np.exp(-2j * np.pi * hz * start_s) * sums, dtype=np.complex128)


def transform_length(frames: int) -> int:
    """A length that is quick to transform."""
    power: int = 1 << max(frames.bit_length() - 3, 0)
    return next(many * power for many in (4, 5, 6, 8) if many * power >= frames)


@dataclass(frozen=True)
class Stretch:
    """A steady stretch of a recording, ready for its tones to be read."""

    samples: Array
    times_s: Array

    @property
    def lobe_hz(self) -> float:
        """How far apart two tones have to be in order not to touch."""
        return LOBE_BINS / (len(self.samples) * self.step_s)

    @property
    def step_s(self) -> float:
        """From frame to frame."""
        return float(self.times_s[-1] - self.times_s[0]) / (len(self.times_s) - 1)

    def amplitude(self, hz: float) -> complex:
        """Peak and phase of a sine."""
        return complex(self.amplitudes([hz])[0])

    def amplitudes(self, hz: list[float]) -> Complex:
        """Peak and phase of several sines."""
        seen = self.samples * window(len(self.samples))
        return 2j * fourier(seen, float(self.times_s[0]), self.step_s, np.array(hz))

    def faster(self, hz: float) -> float:
        """By what factor a tone is off the frequency it is expected at."""
        half = len(self.samples) // 2
        parts = [
            Stretch(self.samples[begin : begin + half], self.times_s[begin : begin + half])
            for begin in (0, len(self.samples) - half)
        ]
        first, second = (part.amplitude(hz) for part in parts)
        clear = self.noise_peak(hz) * 10.0 ** (_LEAST_CLEAR / 20.0)
        if min(abs(first), abs(second)) <= clear:
            return 1.0
        apart_s = float(parts[1].times_s[0] - parts[0].times_s[0])
        off = float(np.angle(second / first)) / (2.0 * np.pi * apart_s * hz)
        return 1.0 + off if abs(off) < _MOST_OFF else 1.0

    def noise_peak(self, hz: float, *, apart_hz: float | None = None) -> float:
        """What noise alone would show as at a frequency."""
        lobe = self.lobe_hz
        far = 3.0 * lobe if apart_hz is None else max(min(3.0 * lobe, apart_hz - lobe), lobe)
        lines_hz, found = self._lines
        off = np.abs(lines_hz - hz)
        near = found[(off >= min(1.15 * lobe, far)) & (off <= far) & (lines_hz > lobe)]
        if not len(near):
            near = found[np.argmin(np.abs(off - lobe))][None]
        # The median: hum, or a tone that was not expected, is no noise.
        return float(np.sqrt(np.median(np.square(near)) / np.log(2.0)))

    @cached_property
    def _lines(self) -> tuple[Array, Array]:
        """The peak that a sine at each line of the spectrum would have."""
        frames = len(self.samples)
        shape = window(frames)
        level = self.samples - float(shape @ self.samples)
        found = 2.0 * np.abs(np.fft.rfft(level * shape))
        return np.asarray(np.fft.rfftfreq(frames, self.step_s), np.float64), found

    def without(self, hz: float) -> Array:
        """What is left of the stretch when one sine is taken out."""
        found = self.amplitude(hz)
        turns = 2.0 * np.pi * hz * self.times_s
        return self.samples - (found.real * np.sin(turns) + found.imag * np.cos(turns))
