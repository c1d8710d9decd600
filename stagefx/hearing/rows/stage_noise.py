"""The noise of two stages as it arrives at the seat."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import Circuit
from stagefx.circuit.knob import seat_spl_db
from stagefx.circuit.noise import noise_bands
from stagefx.circuit.response import Response

Array = NDArray[np.float64]


def noise_at_seat(
    first: Circuit, second: Circuit, *, full_scale_spl_db: float
) -> tuple[Array, Array, Array]:
    """Third octaves in Hz, and the noise of two stages in them at the seat, dB SPL.

    Through the listening chains where both stages describe one; else re the stage's full scale,
    which plays at the level at the ear.
    """
    circuits = (first, second)
    chains = [circuit.stage.listening for circuit in circuits]
    described = all(chain is not None for chain in chains)
    bands = [noise_bands(circuit) for circuit in circuits]
    levels = [
        seat_spl_db(circuit, volts)
        if described
        else _re_full_scale(circuit, volts) + full_scale_spl_db
        for circuit, (_, volts) in zip(circuits, bands, strict=True)
    ]
    return bands[0][0], levels[0], levels[1]


def _re_full_scale(circuit: Circuit, volts: Array) -> Array:
    """Noise voltages at the load re what a full-scale sine makes there, dB."""
    level = circuit.stage.source.level
    assert level is not None
    to_load = np.abs(Response(circuit, np.array([1000.0])).to_load)[0, 0]
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(volts / (level.value * to_load)))
