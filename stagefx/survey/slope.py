"""How steep a waveform is, between its samples too."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.dsp.blocks import as_block
from stagefx.effects.effect import Setting
from stagefx.kernels.slope import MOST_BETWEEN, QUARTERS, raise_slopes
from stagefx.render.plan import WATCH

Array = NDArray[np.float64]
PAIRS = 32
"""Steps on either side of an instant."""
KAISER_BETA = 7.0
_STRETCH = 128
_ROUNDING = 1.0 + 1e-12
_QUADRATURE = 1 << 14


@cache
def slope_gains() -> tuple[Array, float]:
    """The filter that makes slopes of steps from sample to sample, at four instants a frame.

    ``d/dt = (w/2)/sin(w/2)`` times a step, w the frequency in radians a frame; windowed.

    Within 0.04 % up to 0.46 of the sampling rate.
    """
    w = (np.arange(_QUADRATURE) + 0.5) / _QUADRATURE * np.pi
    rises = 0.5 * w / np.sin(0.5 * w)
    quarters = np.arange(QUARTERS)[:, None] / QUARTERS
    away = np.arange(-PAIRS + 1, PAIRS + 1) - quarters
    ideal = np.array([[np.mean(rises * np.cos(w * a)) for a in row] for row in away])
    gains = ideal * np.i0(KAISER_BETA * np.sqrt(1.0 - (away / PAIRS) ** 2))
    gains /= gains.sum(axis=1, keepdims=True)
    largest = float(np.abs(gains).sum(axis=1).max()) * MOST_BETWEEN * _ROUNDING
    return gains, largest


class SlopeMeter:
    """A meter of the steepest slopes of a band-limited waveform.

    Slopes are worked out four times a frame, and the crest between these instants is a sine's.
    Stretches whose steps cannot make a steeper slope than was met already are passed by, which
    changes nothing.  The reading does not depend on how the audio is cut into blocks.
    """

    def __init__(self, channels: int) -> None:
        self._channels = channels
        self._gains, self._largest_gain = slope_gains()
        self._work = np.empty((QUARTERS, _STRETCH + 2))
        self._recent = np.zeros((channels, 2 * PAIRS + 2))
        self._found = np.zeros((channels, 2))

    def add(self, block: ArrayLike) -> None:
        """Pass the next stretch of audio through the meter."""
        block = as_block(block, channels=self._channels)
        self._recent = self._look(block, self._found)

    def _look(self, block: Array, found: Array) -> Array:
        """Raise what is found by a block; the samples that the next one needs."""
        samples = np.concatenate((self._recent, block.T), axis=1)
        for channel in range(self._channels):
            steps = np.diff(samples[channel])
            raise_slopes(steps, self._gains, self._largest_gain, self._work, found[channel])
        return samples[:, -self._recent.shape[1] :].copy()

    @property
    def slopes(self) -> Array:
        """Steepest rise and fall of each channel, per frame, silence assumed before and after."""
        found = self._found.copy()
        self._look(np.zeros((2 * PAIRS + 2, self._channels)), found)
        return found


@dataclass
class SlopeWatch:
    """What measures slopes in a chain, where it stands; it changes nothing."""

    name: ClassVar[str] = WATCH
    gain: ClassVar[float] = 1.0
    settings: ClassVar[tuple[Setting, ...]] = ()
    meter: SlopeMeter = field(default_factory=lambda: SlopeMeter(1))

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> Watching:  # noqa: ARG002
        """A running copy."""
        return Watching(self, channels)


class Watching:
    """A running copy of a `SlopeWatch`."""

    delay_frames = 0

    def __init__(self, watch: SlopeWatch, channels: int) -> None:
        self._watch, self._channels = watch, channels
        self.rewind()

    def through(self, block: Array) -> Array:
        """Measure the next block."""
        self._watch.meter.add(block)
        return block

    def rewind(self) -> None:
        """Forget everything."""
        self._watch.meter = SlopeMeter(self._channels)
