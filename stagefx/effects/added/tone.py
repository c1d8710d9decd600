"""A steady sine added to the signal."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.fir_design import BAND_EDGE
from stagefx.effects.effect import Setting
from stagefx.errors import EffectError

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Tone:
    """A sine, alike in all channels, whose phase is zero at frame 0."""

    name: str
    peak_v: float
    frequency_hz: float
    settings: tuple[Setting, ...] = ()
    gain: ClassVar[float] = 1.0

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> ToneRunner:  # noqa: ARG002
        """A running copy."""
        if self.frequency_hz > BAND_EDGE * rate_hz:
            raise EffectError(
                f"a sampling rate of {rate_hz} Hz is too low for {self.name} at "
                f"{self.frequency_hz:g} Hz; convert the music to a higher rate, or use "
                f"--without {self.name}"
            )
        return ToneRunner(self.peak_v / unit_v, self.frequency_hz / rate_hz)


class ToneRunner:
    """Adds a sine to blocks; a frame's value depends on its number alone."""

    delay_frames = 0

    def __init__(self, peak: float, cycles_per_frame: float) -> None:
        self._peak = peak
        self._cycles = cycles_per_frame
        self._first = self._next = 0

    def start_at(self, frame: int) -> None:
        """Say which frame of the music the first block starts at."""
        self._first = self._next = frame

    def rewind(self) -> None:
        """The next block is the first."""
        self._next = self._first

    def through(self, block: Array) -> Array:
        """Add the sine to the next block."""
        frames = np.arange(self._next, self._next + block.shape[0], dtype=np.float64)
        self._next += block.shape[0]
        cycles = frames * self._cycles
        return block + self._peak * np.sin(2.0 * math.pi * (cycles - np.floor(cycles)))[:, None]
