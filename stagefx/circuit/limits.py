"""Between what the amplifier's output can move, and how fast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stagefx.circuit.amplifier.small_signal import Amplifier, time_constant_s
from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.placement import load_parts, output_parts
from stagefx.circuit.response import Response
from stagefx.errors import StageError

_KILOHERTZ = 2j * np.pi * np.array([1000.0])
_ALMOST_DIRECT_HZ = np.array([1e-6])


@dataclass(frozen=True)
class Limits:
    """The large-signal limits at the amplifier's output; None is no limit."""

    high_v: Array | None
    low_v: Array | None
    slew_rise_v_per_s: Array | None
    slew_fall_v_per_s: Array | None
    time_constant_s: Array


def limits(circuit: Circuit) -> Limits | None:
    """The large-signal limits of a circuit's amplifier.

    A rail less the swing loss, or the output current into all that hangs on the output at 1 kHz,
    whichever comes first.  Where a capacitor hangs straight on the output, the output current
    also limits the slope.
    """
    if circuit.stage.amplifier is None:
        return None
    high, low = _levels(circuit)
    rise, fall = circuit.device.slew_rise_v_per_s, circuit.device.slew_fall_v_per_s
    current = current_slope_v_per_s(circuit)
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


def current_slope_v_per_s(circuit: Circuit) -> Array | None:
    """How fast the output current charges a capacitor that no resistor keeps apart."""
    current, between = circuit.device.output_current_a, output_parts(circuit)
    resistors = [part for part in between if part.kind == "resistor" and not part.across]
    if current is None or any(np.any(part.value > 0.0) for part in resistors):
        return None
    hanging = [part.value for part in load_parts(circuit) if part.kind == "capacitor"]
    total = sum(hanging, start=np.zeros((circuit.draws, 1)))
    if circuit.output_coupling_f is not None:  # in series, and no resistor
        total = total * circuit.output_coupling_f / (total + circuit.output_coupling_f)
    return None if not np.all(total > 0.0) else np.asarray(current / total)


def current_reach_v(circuit: Circuit) -> Array | None:
    """How far the output current drives all that hangs on the amplifier's output, at 1 kHz."""
    current = circuit.device.output_current_a
    if current is None:
        return None
    amplifier = Amplifier(circuit, _KILOHERTZ)
    admittance = np.abs(amplifier.load_admittance + amplifier.feedback_load)
    with np.errstate(divide="ignore"):
        return np.asarray(current / admittance)


def rail_swing_v(circuit: Circuit) -> tuple[Array, Array] | None:
    """How far the rails let the output swing."""
    supply, device = circuit.supply, circuit.device
    if supply is None:
        return None
    none = np.zeros((circuit.draws, 1))
    lost_high = none if device.swing_loss_high_v is None else device.swing_loss_high_v
    lost_low = none if device.swing_loss_low_v is None else device.swing_loss_low_v
    return supply.positive_v - lost_high, supply.negative_v + lost_low


def _levels(circuit: Circuit) -> tuple[Array | None, Array | None]:
    swing, reach = rail_swing_v(circuit), current_reach_v(circuit)
    if swing is None:
        return None, None
    high, low = swing
    if reach is not None:
        high, low = np.minimum(high, reach), np.maximum(low, -reach)
    direct = stated_direct_v(circuit)
    if np.all((high - direct <= 0.0) | (low - direct >= 0.0)):
        stated = circuit.stage.supply
        assert stated is not None
        raise StageError(
            f"[supply] rails of {stated.positive.value:g} V and {stated.negative.value:g} V leave "
            "the device no swing; raise the rails, or give smaller swing_loss_high and "
            "swing_loss_low"
        )
    # a draw of a spread that has no swing at all clips at once
    return np.maximum(high - direct, 0.0)[:, 0], np.minimum(low - direct, 0.0)[:, 0]


def stated_direct_v(circuit: Circuit) -> Array:
    """Direct voltage at the amplifier's output whose sign is known."""
    amplifier = circuit.stage.amplifier
    assert amplifier is not None
    response = Response(circuit, _ALMOST_DIRECT_HZ)
    almost_direct = response.amplifier
    assert almost_direct is not None
    total = np.zeros((circuit.draws, 1))
    if circuit.source_offset_v is not None and not _blocked(circuit):
        passed = response.input.transfer * almost_direct.ideal_gain
        total = total + circuit.source_offset_v * passed.real
    if amplifier.offset_voltage is not None and circuit.device.offset_voltage_v is not None:
        around = 1.0 / np.abs(almost_direct.feedback_share)
        total = total + circuit.device.offset_voltage_v * around
    return np.asarray(total)


def _blocked(circuit: Circuit) -> bool:
    """Whether a capacitor stands between the source's direct voltage and the amplifier."""
    inverting = circuit.stage.amplifier is not None and (
        circuit.stage.amplifier.topology == "inverting"
    )
    blocking = (circuit.source_coupling_f, circuit.input_coupling_f)
    return any(c is not None for c in blocking) or (inverting and circuit.gain_leg_f is not None)
