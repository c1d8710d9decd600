"""Direct voltage: what offset and bias current leave at the output and at the loudspeaker."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.ladder import Part
from stagefx.circuit.network.placement import load_parts, output_parts, socket_parts, source_parts


def direct_path(parts: Sequence[Part], draws: int) -> tuple[Array, Array]:
    """Walk a ladder with direct current: a capacitor in series ends it, one across is not there."""
    transfer, resistance = np.ones(draws), np.zeros(draws)
    for part in parts:
        value = part.value[:, 0]
        if part.kind == "capacitor":
            if not part.across:
                transfer, resistance = 0.0 * transfer, np.full(draws, np.inf)
        elif not part.across:
            resistance = resistance + value
        else:
            open_circuit = np.isinf(resistance)
            finite = np.where(open_circuit, 0.0, resistance)
            total = np.where(finite + value > 0.0, finite + value, 1.0)
            transfer = transfer * value / total
            resistance = np.where(open_circuit, value, finite * value / total)
    return np.asarray(transfer), np.asarray(resistance)


def output_direct_v(circuit: Circuit) -> Array:
    """Largest direct voltage at the amplifier's output.

    N (offset + bias |Rs - Rf || Rg|) + |source offset x gain|, all at direct current.

    Rs is what the non-inverting input sees, Rf || Rg what the inverting one does; a capacitor in
    the gain leg makes the noise gain 1 and leaves Rf alone.
    """
    amplifier, device = circuit.stage.amplifier, circuit.device
    assert amplifier is not None
    before = [*source_parts(circuit), *socket_parts(circuit)]
    transfer, seen = direct_path(before, circuit.draws)
    inverting = amplifier.topology == "inverting"
    noise_gain, fed_back, gain = _at_direct_current(circuit, seen)
    apart = np.abs((0.0 if inverting else seen) - fed_back)
    total = np.zeros(circuit.draws)
    if device.offset_voltage_v is not None:
        total = total + np.abs(device.offset_voltage_v[:, 0])
    if device.bias_current_a is not None:
        bias = np.abs(device.bias_current_a[:, 0])
        total = total + np.where(bias > 0.0, bias, 1.0) * np.where(bias > 0.0, apart, 0.0)
    total = total * noise_gain
    if circuit.source_offset_v is not None:
        total = total + np.abs(circuit.source_offset_v[:, 0] * transfer * gain)
    return np.asarray(total)


def _at_direct_current(circuit: Circuit, driving_ohm: Array) -> tuple[Array, Array, Array]:
    """Noise gain, resistance at the inverting input, and gain from input network to output."""
    amplifier, one = circuit.stage.amplifier, np.ones(circuit.draws)
    assert amplifier is not None
    inverting = amplifier.topology == "inverting"
    feedback = 0.0 * one if circuit.feedback_ohm is None else circuit.feedback_ohm[:, 0]
    if amplifier.topology == "follower":
        return one, feedback, one
    if circuit.gain is not None:
        gain = circuit.gain[:, 0] * one
        return gain + (1.0 if inverting else 0.0), 0.0 * one, gain
    assert circuit.gain_leg_ohm is not None
    leg = circuit.gain_leg_ohm[:, 0] + (driving_ohm if inverting else 0.0)
    if circuit.gain_leg_f is not None:
        leg = np.full(circuit.draws, np.inf)
    noise_gain = 1.0 + feedback / leg
    parallel = feedback / noise_gain
    return noise_gain, parallel, noise_gain - 1.0 if inverting else noise_gain


def speaker_direct_v(circuit: Circuit) -> Array | None:
    """Largest direct voltage at a loudspeaker [draws], V: 0 behind a capacitor, None if blocked.

    A power amplifier whose coupling is not stated is taken as DC-coupled, the worse of the two;
    None without a listening chain, too.
    """
    chain = circuit.stage.listening
    if chain is None or chain.amplifier_coupling == "ac":
        return None
    transfer, _ = direct_path([*output_parts(circuit), *load_parts(circuit)], circuit.draws)
    at_output = np.where(transfer > 0.0, output_direct_v(circuit), 0.0)
    return np.asarray(at_output * transfer * chain.amplifier_gain)


def coupling_unknown(circuit: Circuit) -> bool:
    """Whether a power amplifier is described and its coupling is not."""
    chain = circuit.stage.listening
    return chain is not None and chain.amplifier_coupling is None


def bias_path_missing(circuit: Circuit) -> bool:
    """Whether bias current flows and no resistance leads it to ground."""
    return circuit.stage.amplifier is not None and bool(np.isinf(output_direct_v(circuit)[0]))
