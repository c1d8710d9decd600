"""The stretches that test signals are made of.

Each is a formula of time, so that it can be written again on any clock, at any delay, without
interpolation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FADE_S = 0.01
"""Tones fade in and out, for a click is no part of any measurement."""


class Passage(Protocol):
    """One stretch of a test signal."""

    @property
    def start_s(self) -> float:
        """When it begins, counted from the signal's first frame."""

    @property
    def duration_s(self) -> float:
        """How long it lasts."""

    @property
    def gains(self) -> tuple[float, float]:
        """What the left and the right channel get of it."""

    def wave(self, time_s: Array) -> Array:
        """The voltage at any times since its beginning."""


@dataclass(frozen=True)
class Tones:
    """Steady sines that sound together: one tone, two, or the partials of a square wave."""

    start_s: float
    duration_s: float
    hz: tuple[float, ...]
    amplitudes: tuple[complex, ...]
    gains: tuple[float, float] = (1.0, 1.0)

    @property
    def level_dbfs(self) -> float:
        """Level of the strongest, re a full-scale sine."""
        return 20.0 * math.log10(max(abs(one) for one in self.amplitudes))

    def wave(self, time_s: Array) -> Array:
        """The voltage at any times since its beginning."""
        return self.steady(time_s) * faded(time_s, self.duration_s, FADE_S, FADE_S)

    def steady(self, time_s: Array) -> Array:
        """The voltage without beginning or end."""
        total = np.zeros_like(time_s)
        for hz, amplitude in zip(self.hz, self.amplitudes, strict=True):
            angle = math.atan2(amplitude.imag, amplitude.real)
            total += abs(amplitude) * np.sin(2.0 * np.pi * hz * time_s + angle)
        return total


@dataclass(frozen=True)
class Sweep:
    """A sine whose frequency grows by the same factor in every second.

    ``x = A sin( 2π f1 L (exp(t / L) - 1) )``, L = duration / ln(f2 / f1)

    A. Farina, "Simultaneous measurement of impulse response and distortion with a swept-sine
    technique", AES 108th Convention, 2000 (from memory): each harmonic of such a sweep is the
    sweep itself, early by ``L ln k``, so that harmonics come apart in time.
    """

    start_s: float
    duration_s: float
    low_hz: float
    high_hz: float
    amplitude: float
    gains: tuple[float, float] = (1.0, 1.0)

    @property
    def growth_s(self) -> float:
        """In what time the frequency grows by the factor e."""
        return self.duration_s / math.log(self.high_hz / self.low_hz)

    def wave(self, time_s: Array) -> Array:
        """The voltage at any times since its beginning."""
        return self.amplitude * self.harmonic(time_s, 1)

    def harmonic(self, time_s: Array, order: int) -> Array:
        """What a harmonic of the sweep looks like, with peak 1."""
        growth = self.growth_s
        lasts = self.duration_s - growth * math.log(order)
        inside = np.clip(time_s, 0.0, lasts)
        turns = order * self.low_hz * growth * np.expm1(inside / growth)
        # It fades in over two thirds of an octave, and out over the last hundredth of one.
        return np.sin(2.0 * np.pi * turns) * faded(time_s, lasts, 0.46 * growth, 0.02 * growth)


@dataclass(frozen=True)
class Ramp:
    """A sine that grows evenly from nothing and then stays."""

    start_s: float
    duration_s: float
    hz: float
    amplitude: float
    hold_s: float
    gains: tuple[float, float] = (1.0, 1.0)

    def envelope(self, time_s: Array) -> Array:
        """The peak at any time."""
        grown = time_s / (self.duration_s - self.hold_s)
        return np.asarray(self.amplitude * np.clip(grown, 0.0, 1.0))

    def wave(self, time_s: Array) -> Array:
        """The voltage at any times since its beginning."""
        tone = np.sin(2.0 * np.pi * self.hz * time_s) * self.envelope(time_s)
        return tone * faded(time_s, self.duration_s, FADE_S, FADE_S)


@dataclass(frozen=True)
class Silence:
    """Nothing is played."""

    start_s: float
    duration_s: float
    gains: tuple[float, float] = (1.0, 1.0)

    def wave(self, time_s: Array) -> Array:
        """The voltage at any times since its beginning."""
        return np.zeros_like(time_s)


def faded(time_s: Array, lasts_s: float, in_s: float, out_s: float) -> Array:
    """A raised-cosine beginning and end."""
    coming = np.clip(time_s / in_s, 0.0, 1.0)
    going = np.clip((lasts_s - time_s) / out_s, 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * coming) ** 2 * np.sin(0.5 * np.pi * going) ** 2)
