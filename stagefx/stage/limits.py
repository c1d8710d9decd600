"""Between what the amplifier's output can move, and how fast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stagefx.errors import StageError
from stagefx.stage.amplifier import Amplifier, time_constant_s
from stagefx.stage.circuit import Array, Circuit

_KILOHERTZ = 2j * np.pi * np.array([1000.0])


@dataclass(frozen=True)
class Limits:
    """The large-signal limits at the amplifier's output; None is no limit.

    Parameters
    ----------
    high_v, low_v : array [draws], V
        Highest and lowest voltage the output reaches, less its direct voltage; low is negative.
    slew_rise_v_per_s, slew_fall_v_per_s : array [draws], V/s, > 0
        Steepest rise and fall.
    time_constant_s : array [draws], s
        The closed loop's small-signal time constant N/w_t; 0 where the device is ideally fast.
    """

    high_v: Array | None
    low_v: Array | None
    slew_rise_v_per_s: Array | None
    slew_fall_v_per_s: Array | None
    time_constant_s: Array


def limits(circuit: Circuit) -> Limits | None:
    """The large-signal limits of a circuit's amplifier.

    Parameters
    ----------
    circuit : Circuit
        Any circuit.

    Returns
    -------
    Limits or None
        None without an amplifier.

    Raises
    ------
    StageError
        The rails are lower than what the device loses to them.

    Notes
    -----
    A rail less the swing loss, or the output current into all that hangs on the output at 1 kHz,
    whichever comes first.  Where a capacitor hangs straight on the output, the output current
    also limits the slope.

    Examples
    --------
    >>> from stagefx.stage import nominal, stage_from
    >>> found = limits(
    ...     nominal(
    ...         stage_from(
    ...             {
    ...                 "supply": {"positive": "15 V", "negative": "-15 V"},
    ...                 "amplifier": {
    ...                     "topology": "follower",
    ...                     "swing_loss_high": "1.5 V",
    ...                     "swing_loss_low": "1.5 V",
    ...                 },
    ...             }
    ...         )
    ...     )
    ... )
    >>> float(found.high_v[0]), float(found.low_v[0])
    (13.5, -13.5)
    """
    if circuit.stage.amplifier is None:
        return None
    high, low = _levels(circuit)
    rise, fall = circuit.device.slew_rise_v_per_s, circuit.device.slew_fall_v_per_s
    current = _current_slope(circuit)
    constant = time_constant_s(circuit)
    return Limits(
        high,
        low,
        _smaller(rise, current),
        _smaller(fall, current),
        np.zeros(circuit.draws) if constant is None else constant[:, 0],
    )


def _smaller(limit: Array | None, current: Array | None) -> Array | None:
    if limit is None or current is None:
        chosen = limit if current is None else current
        return None if chosen is None else chosen[:, 0]
    return np.asarray(np.minimum(limit, current)[:, 0])


def _current_slope(circuit: Circuit) -> Array | None:
    """Output current over a capacitor that no resistor keeps apart, V/s."""
    if circuit.device.output_current_a is None or circuit.output_ohm is not None:
        return None
    hanging = [c for c in (circuit.output_cable_f, circuit.load_f) if c is not None]
    total = sum(hanging, start=np.zeros((circuit.draws, 1)))
    if circuit.output_coupling_f is not None or not np.all(total > 0.0):
        return None
    return np.asarray(circuit.device.output_current_a / total)


def _levels(circuit: Circuit) -> tuple[Array | None, Array | None]:
    supply, device = circuit.stage.supply, circuit.device
    if supply is None:
        return None, None
    none = np.zeros((circuit.draws, 1))
    lost_high = none if device.swing_loss_high_v is None else device.swing_loss_high_v
    lost_low = none if device.swing_loss_low_v is None else device.swing_loss_low_v
    high, low = supply.positive.value - lost_high, supply.negative.value + lost_low
    if device.output_current_a is not None:
        amplifier = Amplifier(circuit, _KILOHERTZ)
        admittance = np.abs(amplifier.load_admittance + amplifier.feedback_load)
        with np.errstate(divide="ignore"):
            reach = device.output_current_a / admittance
        high, low = np.minimum(high, reach), np.maximum(low, -reach)
    direct = stated_direct_v(circuit)
    if np.any(high - direct <= 0.0) or np.any(low - direct >= 0.0):
        raise StageError(
            f"[supply] rails of {supply.positive.value:g} V and {supply.negative.value:g} V leave "
            "the device no swing; raise the rails, or give smaller swing_loss_high and "
            "swing_loss_low"
        )
    return (high - direct)[:, 0], (low - direct)[:, 0]


def stated_direct_v(circuit: Circuit) -> Array:
    """Direct voltage at the amplifier's output whose sign is known.

    Parameters
    ----------
    circuit : Circuit
        A circuit with an amplifier.

    Returns
    -------
    array [draws, 1], V
        From the source's stated offset, and the amplifier's where the stage itself states it; a
        device class's offset has no known sign and is left out.

    Examples
    --------
    >>> from stagefx.stage import nominal, stage_from
    >>> stage = stage_from({"source": {"offset": "50 mV"}, "amplifier": {"gain": 4.0}})
    >>> float(stated_direct_v(nominal(stage))[0, 0])
    0.2
    """
    amplifier = circuit.stage.amplifier
    assert amplifier is not None
    almost_direct = Amplifier(circuit, 2j * np.pi * np.array([1e-6]))
    total = np.zeros((circuit.draws, 1))
    if circuit.stage.source.offset is not None and not _blocked(circuit):
        passed = almost_direct.driving.transfer * almost_direct.ideal_gain
        total = total + circuit.stage.source.offset.value * passed.real
    if amplifier.offset_voltage is not None:
        around = 1.0 / np.abs(almost_direct.feedback_share)
        total = total + amplifier.offset_voltage.value * around
    return np.asarray(total)


def _blocked(circuit: Circuit) -> bool:
    """Whether a capacitor stands between the source's direct voltage and the amplifier."""
    inverting = circuit.stage.amplifier is not None and (
        circuit.stage.amplifier.topology == "inverting"
    )
    blocking = (circuit.source_coupling_f, circuit.input_coupling_f)
    return any(c is not None for c in blocking) or (inverting and circuit.gain_leg_f is not None)
