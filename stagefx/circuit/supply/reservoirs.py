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
    """How many rails there are.

    Parameters
    ----------
    circuit : Circuit
        A circuit with a supply.

    Returns
    -------
    int
        1 where the negative rail is 0 V, else 2.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> rails(nominal(load_stage("line-stage")))
    2
    """
    assert circuit.stage.supply is not None
    return 1 if circuit.stage.supply.negative.value == 0.0 else 2


def regulated(circuit: Circuit) -> bool:
    """Whether a regulator is described.

    Parameters
    ----------
    circuit : Circuit
        Any circuit.

    Returns
    -------
    bool
        Whether its dropout, its rejection or its noise is stated.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> regulated(nominal(load_stage("bare-rails")))
    False
    """
    supply = circuit.supply
    if supply is None:
        return False
    stated = (supply.regulator_dropout_v, supply.regulator_rejection_db)
    return any(value is not None for value in (*stated, supply.regulator_noise_v_rms))


def mains_tolerance(circuit: Circuit) -> float:
    """How far the mains may stray.

    Parameters
    ----------
    circuit : Circuit
        A circuit with a supply.

    Returns
    -------
    float, ratio
        0 where it is not stated.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> mains_tolerance(nominal(load_stage("line-stage")))
    0.1
    """
    assert circuit.stage.supply is not None
    stated = circuit.stage.supply.mains_tolerance
    return 0.0 if stated is None else stated.value


def crest_v(circuit: Circuit, *, mains: float = 1.0, off_load: bool = False) -> Array:
    """Highest voltage of a reservoir.

    Parameters
    ----------
    circuit : Circuit
        Its supply's secondary is stated.
    mains : float, ratio
        Mains voltage over its nominal value.
    off_load : bool
        Whether nothing is drawn, so that the transformer's regulation comes on top.

    Returns
    -------
    array [draws], V
        Crest of the secondary less the diodes in its path.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> round(float(crest_v(nominal(load_stage("line-stage")))[0]), 5)
    20.4132
    """
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
    """How often a reservoir is filled.

    Parameters
    ----------
    circuit : Circuit
        Its supply's mains frequency is stated.

    Returns
    -------
    array [draws], Hz
        Twice the mains frequency with a full-wave rectifier.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> float(ripple_hz(nominal(load_stage("line-stage")))[0])
    100.0
    """
    supply, stated = circuit.supply, circuit.stage.supply
    assert supply is not None
    assert stated is not None
    assert supply.mains_frequency_hz is not None
    fillings = 2.0 if stated.rectifier == "full" else 1.0
    return np.asarray(fillings * supply.mains_frequency_hz[:, 0])


def ripple_v_pp(circuit: Circuit) -> Array:
    """Ripple of a reservoir by the rule of thumb: it is drained all the time.

    Parameters
    ----------
    circuit : Circuit
        Its supply's reservoir, load current and mains frequency are stated.

    Returns
    -------
    array [draws], V p-p
        I / (C x how often it is filled); a little more than is true.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> round(float(ripple_v_pp(nominal(load_stage("line-stage")))[0]), 6)
    0.2
    """
    return np.asarray(_fall_v_per_s(circuit) / ripple_hz(circuit))


def _fall_v_per_s(circuit: Circuit) -> Array:
    supply = circuit.supply
    assert supply is not None
    assert supply.load_current_a is not None
    assert supply.reservoir_f is not None
    return np.asarray((supply.load_current_a / supply.reservoir_f)[:, 0])


def charged_through_resistance(circuit: Circuit, *, mains: float = 1.0) -> Charging | None:
    """How a reservoir is charged through its transformer's winding.

    Parameters
    ----------
    circuit : Circuit
        Its supply's secondary, reservoir, load current and mains frequency are stated.
    mains : float, ratio
        Mains voltage over its nominal value.

    Returns
    -------
    Charging or None
        The steady state; None where the winding's resistance is not stated.

    Notes
    -----
    The secondary as stated is what stands behind the resistance.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> charged_through_resistance(nominal(load_stage("line-stage"))) is None
    True
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

    Parameters
    ----------
    circuit : Circuit
        Its supply's secondary, reservoir, load current and mains frequency are stated.

    Returns
    -------
    array [draws], V p-p
        Where the straight fall from the crest meets the next half-wave; the whole crest where the
        reservoir runs empty.

    Notes
    -----
    With phi the angle left to the next crest, Vs (1 - cos phi) = (I/C)(T - phi/omega), bisected.
    Where the winding's resistance is stated, the reservoir is charged through it.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> round(float(ripple_exact_v_pp(nominal(load_stage("line-stage")))[0]), 4)
    0.1914
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
    """Lowest voltage of a reservoir in use.

    Parameters
    ----------
    circuit : Circuit
        Its supply's secondary, reservoir, load current and mains frequency are stated.
    mains : float, ratio
        Mains voltage over its nominal value.

    Returns
    -------
    array [draws], V
        Crest less the ripple by the rule; exactly, where the winding's resistance is stated.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> round(float(valley_v(nominal(load_stage("line-stage")))[0]), 4)
    20.2132
    """
    charging = charged_through_resistance(circuit, mains=mains)
    if charging is not None:
        return charging.lowest_v
    return np.maximum(crest_v(circuit, mains=mains) - ripple_v_pp(circuit), 0.0)
