"""The supply: what its reservoirs stand at, and what the regulators make of it.

Voltages are of one rail's reservoir, its secondary at rated load unless said otherwise.  Parts of
`SupplyValues` that a function needs must be stated.
"""

from __future__ import annotations

import numpy as np

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.search import last
from stagefx.circuit.supply.charging import Charging, Winding

CREST_OF_RMS = np.sqrt(2.0)
_HALVINGS = 60


def rails(circuit: Circuit) -> int:
    """How many rails there are."""
    assert circuit.stage.supply is not None
    return 1 if circuit.stage.supply.negative.value == 0.0 else 2


def regulated(circuit: Circuit) -> bool:
    """Whether a regulator is described."""
    supply = circuit.supply
    if supply is None:
        return False
    stated = (supply.regulator_dropout_v, supply.regulator_rejection_db)
    return any(value is not None for value in (*stated, supply.regulator_noise_v_rms))


def mains_tolerance(circuit: Circuit) -> float:
    """How far the mains may stray."""
    assert circuit.stage.supply is not None
    stated = circuit.stage.supply.mains_tolerance
    return 0.0 if stated is None else stated.value


def crest_v(circuit: Circuit, *, mains: float = 1.0, off_load: bool = False) -> Array:
    """Highest voltage of a reservoir."""
    supply, stated = circuit.supply, circuit.stage.supply
    assert supply is not None
    assert stated is not None
    assert supply.secondary_v_rms is not None
    crest = CREST_OF_RMS * supply.secondary_v_rms * mains
    if off_load and supply.transformer_regulation is not None:
        crest = crest * (1.0 + supply.transformer_regulation)
    if supply.diode_drop_v is not None:
        crest = crest - stated.diodes_in_path * supply.diode_drop_v
    return np.asarray(np.maximum(crest, 0.0)[:, 0])


def ripple_hz(circuit: Circuit) -> Array:
    """How often a reservoir is filled."""
    supply, stated = circuit.supply, circuit.stage.supply
    assert supply is not None
    assert stated is not None
    assert supply.mains_frequency_hz is not None
    fillings = 2.0 if stated.rectifier == "full" else 1.0
    return np.asarray(fillings * supply.mains_frequency_hz[:, 0])


def ripple_v_pp(circuit: Circuit) -> Array:
    """Ripple of a reservoir by the rule of thumb: it is drained all the time."""
    return np.asarray(_fall_v_per_s(circuit) / ripple_hz(circuit))


def _fall_v_per_s(circuit: Circuit) -> Array:
    supply = circuit.supply
    assert supply is not None
    assert supply.load_current_a is not None
    assert supply.reservoir_f is not None
    return np.asarray((supply.load_current_a / supply.reservoir_f)[:, 0])


def charged_through_resistance(circuit: Circuit, *, mains: float = 1.0) -> Charging | None:
    """How a reservoir is charged through its transformer's winding.

    The secondary as stated is what stands behind the resistance.
    """
    supply, stated = circuit.supply, circuit.stage.supply
    assert supply is not None
    assert stated is not None
    if supply.transformer_ohm is None:
        return None
    assert supply.secondary_v_rms is not None
    assert supply.reservoir_f is not None
    assert supply.load_current_a is not None
    assert supply.mains_frequency_hz is not None
    none = np.zeros((circuit.draws, 1))
    drop = none if supply.diode_drop_v is None else stated.diodes_in_path * supply.diode_drop_v
    parts = (
        CREST_OF_RMS * supply.secondary_v_rms * mains,
        drop,
        supply.transformer_ohm,
        supply.reservoir_f,
        supply.load_current_a,
        supply.mains_frequency_hz,
        ripple_hz(circuit)[:, None],
    )
    return Winding(*((none + part)[:, 0] for part in parts)).charging()


def ripple_exact_v_pp(circuit: Circuit) -> Array:
    """Ripple of a reservoir drained by a constant current from crest to the next half-wave.

    With phi the angle left to the next crest, Vs (1 - cos phi) = (I/C)(T - phi/omega), bisected.
    Where the winding's resistance is stated, the reservoir is charged through it.
    """
    supply = circuit.supply
    assert supply is not None
    assert supply.secondary_v_rms is not None
    assert supply.mains_frequency_hz is not None
    charging = charged_through_resistance(circuit)
    if charging is not None:
        return np.asarray(charging.highest_v - charging.lowest_v)
    wave = CREST_OF_RMS * supply.secondary_v_rms[:, 0]
    turning = 2.0 * np.pi * supply.mains_frequency_hz[:, 0]
    fall, between = _fall_v_per_s(circuit), 1.0 / ripple_hz(circuit)
    meets = last(
        lambda angle: wave * (1.0 - np.cos(angle)) < fall * (between - angle / turning),
        np.zeros(circuit.draws),
        np.full(circuit.draws, 0.5 * np.pi),
        halvings=_HALVINGS,
    )
    fallen = fall * (between - meets / turning)
    empty = wave < fall * (between - 0.5 * np.pi / turning)
    crest = crest_v(circuit)
    return np.asarray(np.where(empty, crest, np.minimum(fallen, crest)))


def valley_v(circuit: Circuit, *, mains: float = 1.0) -> Array:
    """Lowest voltage of a reservoir in use."""
    charging = charged_through_resistance(circuit, mains=mains)
    if charging is not None:
        return charging.lowest_v
    return np.maximum(crest_v(circuit, mains=mains) - ripple_v_pp(circuit), 0.0)
