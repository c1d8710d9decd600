"""What the parts of a supply must stand, and what its regulators have left.

Parts of `SupplyValues` that a function needs must be stated.
"""

from __future__ import annotations

import numpy as np

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.supply.reservoirs import (
    charged_through_resistance,
    crest_v,
    mains_tolerance,
    rails,
    ripple_v_pp,
    valley_v,
)

TRANSFORMER_RMS_PER_DIRECT = 1.8
"""A capacitor-input rectifier draws about 1.8 times its direct current, rms (common practice)."""


def regulator_margin_v(circuit: Circuit) -> Array:
    """What a regulator has left over its need at low mains."""
    supply = circuit.supply
    assert supply is not None
    need = np.maximum(supply.positive_v, -supply.negative_v)
    if supply.regulator_dropout_v is not None:
        need = need + supply.regulator_dropout_v
    return np.asarray(valley_v(circuit, mains=1.0 - mains_tolerance(circuit)) - need[:, 0])


def reservoir_peak_v(circuit: Circuit) -> Array:
    """Highest voltage a reservoir must stand: high mains, nothing drawn."""
    return crest_v(circuit, mains=1.0 + mains_tolerance(circuit), off_load=True)


def transformer_va(circuit: Circuit) -> Array:
    """What the transformer must be rated for."""
    supply = circuit.supply
    assert supply is not None
    assert supply.load_current_a is not None
    assert supply.secondary_v_rms is not None
    one = supply.load_current_a * supply.secondary_v_rms * TRANSFORMER_RMS_PER_DIRECT
    return np.asarray(one[:, 0] * rails(circuit))


def regulator_heat_w(circuit: Circuit) -> Array:
    """What one regulator turns into heat at nominal mains."""
    supply = circuit.supply
    assert supply is not None
    assert supply.load_current_a is not None
    charging = charged_through_resistance(circuit)
    if charging is None:
        mean = crest_v(circuit) - 0.5 * ripple_v_pp(circuit)
    else:
        mean = 0.5 * (charging.highest_v + charging.lowest_v)
    lower = supply.positive_v
    if rails(circuit) == 2:
        lower = np.minimum(lower, -supply.negative_v)
    return np.maximum((mean - lower[:, 0]) * supply.load_current_a[:, 0], 0.0)


def charging_current_peak_a(circuit: Circuit) -> Array:
    """Largest current into a reservoir [draws], A, at nominal mains in the steady state."""
    charging = charged_through_resistance(circuit)
    assert charging is not None
    return charging.peak_a


def charging_current_rms_a(circuit: Circuit) -> Array:
    """Rms of that current [draws], A, over whole cycles; its mean is the load's."""
    charging = charged_through_resistance(circuit)
    assert charging is not None
    return charging.rms_a
