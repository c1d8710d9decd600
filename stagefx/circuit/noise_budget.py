"""The noise budget: what every contributor leaves at the load over the audio band."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from stagefx.circuit.circuit import Array, Circuit, build
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.noise import AUDIO_BAND_HZ, FLICKER_FROM_HZ, NoiseDensity, noise_density
from stagefx.circuit.supply.psrr import ripple_at_load_v_rms, ripple_lines

Weighting = Callable[[Array], Array]
"""From frequencies in Hz to levels in dB."""

RIPPLE = "supply ripple"
"""What the supply's ripple is called in a budget."""

_EDGES_HZ = (
    0.0, 0.02, 0.1, 0.5, 2.0, 8.0, 20.0, 60.0, 200.0, 600.0, 2e3, 5e3, 1e4, 1.5e4, AUDIO_BAND_HZ,
)  # fmt: skip
_NODES_A_PANEL = 8
"""Within 1e-9 of twice as many, for every ready-made stage and for corners within the band."""
_KNOB_POINTS, _KNOB_ROUNDS = 33, 4


@dataclass(frozen=True)
class NoiseBudget:
    """Noise voltages at the load, contributor by contributor."""

    contributors: dict[str, Array]
    total: Array


def noise_budget(circuit: Circuit, *, weighting: Weighting | None = None) -> NoiseBudget:
    """Noise at the load over the audio band, contributor by contributor."""
    return AudioNoise(circuit).budget(weighting)


@dataclass(frozen=True)
class AudioNoise:
    """A circuit's noise over the audio band, ready to be weighted."""

    circuit: Circuit

    @cached_property
    def density(self) -> NoiseDensity:
        """Noise density at the nodes of the integration."""
        return noise_density(self.circuit, _quadrature()[0])

    def budget(self, weighting: Weighting | None = None) -> NoiseBudget:
        """Noise over 20 kHz."""
        hz, power = _quadrature()
        if weighting is not None:
            power = power * 10.0 ** (weighting(hz) / 10.0)
        audible = np.where(hz >= FLICKER_FROM_HZ, power, 0.0)
        parts = {name: _integral(psd, power) for name, psd in self.density.white.items()}
        for name, psd in self.density.flicker.items():
            parts[name] = parts[name] + _integral(psd, audible)
        ripple = ripple_at_load_v_rms(self.circuit)
        if ripple is not None:
            parts[RIPPLE] = ripple**2 * self._ripple_share(weighting)
        total = np.sqrt(sum(parts.values(), start=np.zeros(self.circuit.draws)))
        return NoiseBudget({name: np.sqrt(p) for name, p in parts.items()}, total)

    def _ripple_share(self, weighting: Weighting | None) -> float:
        if weighting is None:
            return 1.0
        hz, share = ripple_lines(self.circuit, AUDIO_BAND_HZ)
        return float(np.sum(share * 10.0 ** (weighting(hz) / 10.0)))


def _quadrature() -> tuple[Array, Array]:
    """Frequencies and weights of Gauss-Legendre integration, panel by panel."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES_A_PANEL)
    low, high = np.array(_EDGES_HZ[:-1])[:, None], np.array(_EDGES_HZ[1:])[:, None]
    hz = 0.5 * (high - low) * nodes + 0.5 * (high + low)
    return hz.ravel(), np.ravel(0.5 * (high - low) * weights)


def _integral(density: Array, power: Array) -> Array:
    # not a matrix product, whose rounding may depend on how many threads the library has
    return np.asarray(np.einsum("df,f->d", density, power))


def noisiest_position(stage: Stage) -> float | None:
    """The knob position at which a stage is noisiest."""
    if stage.volume is None:
        return None
    steps = len(stage.volume.law.steps_db)
    travel = np.linspace(0.0, 1.0, steps or _KNOB_POINTS)
    best = 0
    for _ in range(1 if steps else _KNOB_ROUNDS):
        best = int(np.argmax(_noise_at(stage, travel)))
        left, right = travel[max(best - 1, 0)], travel[min(best + 1, travel.size - 1)]
        found, travel = float(travel[best]), np.linspace(left, right, _KNOB_POINTS)
    return found


def _noise_at(stage: Stage, travel: Array) -> Array:
    rows = np.ones((travel.size, 1))
    circuit = build(stage, lambda _key, spread: float(spread[1]) * rows)
    return noise_budget(circuit.at_position(travel[:, None])).total
