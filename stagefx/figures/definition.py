"""What a figure on paper is: its key, its unit, its formula, and how it is worked out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from stagefx.circuit.amplifier.stability import Stability, stability
from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.knob import ASSUMED_PROGRAMME_DB
from stagefx.circuit.limits import Limits, limits
from stagefx.circuit.noise_budget import AudioNoise, NoiseBudget, noisiest_position
from stagefx.circuit.response import Response
from stagefx.dsp.weighting import a_weighting_db

NO_AMPLIFIER = "there is no amplifier"
NO_SUPPLY = "no supply is described"
SILENT = "the knob stands at zero"
NO_LEVEL = "the source's level is not stated"
NO_CHAIN = "no listening chain is described"
NO_RATED_POWER = "no power amplifier with rated_power and speaker_impedance is described"


@dataclass(frozen=True)
class Missing:
    """Why a figure has no number."""

    reason: str


Worked = Array | Missing
"""A figure's draws, shape (draws,), or why there are none."""


@dataclass(frozen=True)
class Working:
    """A circuit, and the intermediate results that its figures share."""

    circuit: Circuit
    noisiest_position: float | None = None
    programme_db: float = ASSUMED_PROGRAMME_DB

    @cached_property
    def at_kilohertz(self) -> Response:
        """The circuit at 1 kHz."""
        return Response(self.circuit, np.array([1000.0]))

    @cached_property
    def at_full(self) -> Response:
        """The circuit at 1 kHz with its knob at maximum."""
        return Response(self.circuit.at_position(1.0), np.array([1000.0]))

    @cached_property
    def limits(self) -> Limits | None:
        """The amplifier's large-signal limits."""
        return limits(self.circuit)

    @cached_property
    def audio_noise(self) -> AudioNoise:
        """Noise at the load over the audio band, not yet weighted."""
        return AudioNoise(self.circuit)

    @cached_property
    def noise(self) -> NoiseBudget:
        """Noise at the load over 20 kHz."""
        return self.audio_noise.budget()

    @cached_property
    def noise_a(self) -> NoiseBudget:
        """Noise at the load, A-weighted."""
        return self.audio_noise.budget(a_weighting_db)

    @cached_property
    def worst_position(self) -> float | None:
        """The knob position at which the stage is noisiest."""
        if self.noisiest_position is not None:
            return self.noisiest_position
        return noisiest_position(self.circuit.stage)

    @cached_property
    def stability(self) -> Stability | None:
        """How steady the amplifier's loop is."""
        return stability(self.circuit)

    @cached_property
    def full_scale_v(self) -> Array | None:
        """Peak of a full-scale 1 kHz sine at the amplifier's output, V, shape (draws,)."""
        level = self.circuit.source_v_rms
        if level is None:
            return None
        gain = np.abs(self.at_kilohertz.to_amplifier_output)[:, 0]
        return np.asarray(np.sqrt(2.0) * level[:, 0] * gain)


@dataclass(frozen=True)
class Definition:
    """One figure on paper."""

    key: str
    unit: str
    group: str
    meaning: str
    formula: str
    inputs: tuple[str, ...]
    work: Callable[[Working], Worked]


def decibels_of(gain: Array) -> Array:
    """Magnitudes as levels."""
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(gain))
