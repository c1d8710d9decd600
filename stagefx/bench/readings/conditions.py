"""A stage on the bench: driven by a generator, its knob and its load as the reading says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.response import Response

KILOHERTZ = 1000.0


def on_bench(
    stage: Stage,
    *,
    knob: float = 1.0,
    ended_by_ohm: float = 0.0,
    load_ohm: float | None = None,
    load_f: float | None = None,
    unloaded: bool = False,
) -> Circuit:
    """A stage's circuit as it stands on the bench."""
    circuit = replace(
        nominal(stage).at_position(knob),
        source_ohm=np.array([[ended_by_ohm]]),
        source_coupling_f=None,
        source_v_rms=None,
        source_offset_v=None,
    )
    if unloaded or load_ohm is not None or load_f is not None:
        circuit = replace(
            circuit,
            output_cable_f=None,
            load_ohm=None if load_ohm is None else np.array([[load_ohm]]),
            load_f=None if load_f is None else np.array([[load_f]]),
        )
    return circuit


def gain_of(circuit: Circuit, hz: float = KILOHERTZ) -> float:
    """Voltage at the output over that at the input socket."""
    return float(np.abs(Response(circuit, np.array([hz])).to_load[0, 0]))


def output_share(circuit: Circuit, hz: float = KILOHERTZ) -> float:
    """What of the amplifier's output reaches the load."""
    return float(np.abs(Response(circuit, np.array([hz])).output[0, 0]))
