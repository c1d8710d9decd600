"""A parasitic oscillation on its way to the loudspeaker."""

from __future__ import annotations

import numpy as np

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.ladder import laplace, solve
from stagefx.circuit.network.placement import load_parts, output_parts

HIGHEST_HEARD_HZ = 20_000.0


def ultrasonic_v_rms(circuit: Circuit) -> Array | None:
    """The stated oscillation's voltage at a loudspeaker.

    The power amplifier is taken as linear: past its own clipping or slewing it gives less.
    """
    tone, chain = circuit.stage.oscillation, circuit.stage.listening
    if tone is None or chain is None or circuit.chain is None:
        return None
    hz = np.array([tone.frequency.value])
    network = solve([*output_parts(circuit), *load_parts(circuit)], laplace(hz)).transfer
    volts = tone.level.value / np.sqrt(2.0) * np.abs(network) * chain.amplifier_gain
    if circuit.chain.amplifier_bandwidth_hz is not None:
        volts = volts / np.sqrt(1.0 + (hz / circuit.chain.amplifier_bandwidth_hz) ** 2)
    return np.broadcast_to(volts, (circuit.draws, 1))[:, 0]


def ultrasonic_w(circuit: Circuit) -> Array | None:
    """The stated oscillation's power in a loudspeaker."""
    volts = ultrasonic_v_rms(circuit)
    if volts is None or circuit.chain is None or circuit.chain.speaker_ohm is None:
        return None
    return np.asarray(volts**2 / circuit.chain.speaker_ohm[:, 0])
