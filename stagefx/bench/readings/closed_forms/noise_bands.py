"""A stage's noise as an instrument of some bandwidth reads it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.noise import AUDIO_BAND_HZ, FLICKER_FROM_HZ, noise_density
from stagefx.circuit.noise_budget import noise_budget
from stagefx.circuit.supply.psrr import ripple_at_load_v_rms
from stagefx.dsp.weighting import a_weighting_db

_EDGES_HZ = (
    0.0, 0.02, 0.1, 0.5, 2.0, 8.0, FLICKER_FROM_HZ, 60.0, 200.0, 600.0, 2e3, 5e3, 1e4, 1.5e4,
    AUDIO_BAND_HZ, 4e4, 1e5, 2.5e5, 6e5, 1.5e6, 4e6, 1e7, 3e7, 1e8, 1e9,
)  # fmt: skip
_NODES_A_PANEL = 12


@dataclass(frozen=True)
class Band:
    """What of a noise an instrument counts."""

    bandwidth_hz: float = AUDIO_BAND_HZ
    one_pole: bool = False
    weighted: bool = False

    @property
    def white_hz(self) -> float:
        """Bandwidth of the brick wall that lets as much white noise through, Hz, unweighted."""
        return self.bandwidth_hz * (0.5 * np.pi if self.one_pole else 1.0)


def noise_powers(circuit: Circuit, band: Band) -> dict[str, float]:
    """A stage's noise at its load in a band, contributor by contributor."""
    if band.weighted or band == Band():
        budget = noise_budget(circuit, weighting=a_weighting_db if band.weighted else None)
        return {name: float(volts[0]) ** 2 for name, volts in budget.contributors.items()}
    hz, power = _one_pole(band.bandwidth_hz) if band.one_pole else _wall(band.bandwidth_hz)
    density = noise_density(circuit, hz)
    parts = {name: float(psd[0] @ power) for name, psd in density.white.items()}
    audible = np.where(hz >= FLICKER_FROM_HZ, power, 0.0)
    for name, psd in density.flicker.items():
        parts[name] += float(psd[0] @ audible)
    ripple = ripple_at_load_v_rms(circuit)
    if ripple is not None:
        parts["supply ripple"] = float(ripple[0]) ** 2
    return parts


def _wall(bandwidth_hz: float) -> tuple[Array, Array]:
    inner = [edge for edge in _EDGES_HZ if edge < bandwidth_hz]
    return _panels(np.array([*inner, bandwidth_hz]))


def _one_pole(bandwidth_hz: float) -> tuple[Array, Array]:
    """Over the angle whose tangent is f/B: there one pole weighs every frequency alike."""
    edges = np.arctan(np.array([*_EDGES_HZ, np.inf]) / bandwidth_hz)
    angle, weight = _panels(edges)
    return bandwidth_hz * np.tan(angle), bandwidth_hz * weight


def _panels(edges: Array) -> tuple[Array, Array]:
    """Nodes and weights of Gauss-Legendre integration, panel by panel."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES_A_PANEL)
    low, high = edges[:-1, None], edges[1:, None]
    middle = 0.5 * (high - low) * nodes + 0.5 * (high + low)
    return middle.ravel(), np.ravel(0.5 * (high - low) * weights)
