"""A parasitic oscillation on its way to the loudspeaker."""

from __future__ import annotations

import numpy as np

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.ladder import laplace, solve
from stagefx.circuit.network.placement import load_parts, output_parts

HIGHEST_HEARD_HZ = 20_000.0


def ultrasonic_v_rms(circuit: Circuit) -> Array | None:
    """The stated oscillation's voltage at a loudspeaker.

    Parameters
    ----------
    circuit : Circuit
        Any circuit.

    Returns
    -------
    array [draws], V rms, or None
        Through the output network and the power amplifier with its one pole; None without an
        oscillation or a listening chain.

    Notes
    -----
    The power amplifier is taken as linear: past its own clipping or slewing it gives less.

    Examples
    --------
    >>> from stagefx.circuit.circuit import nominal
    >>> from stagefx.circuit.description.files import stage_from
    >>> chain = {"amplifier_gain": 27, "amplifier_bandwidth": "100 kHz", "distance": "3 m"}
    >>> chain |= {"speaker_impedance": "8 ohm", "speaker_sensitivity": "87 dB"}
    >>> tone = {"level": "0.6 V p-p", "frequency": "1.8 MHz"}
    >>> stage = stage_from({"oscillation": tone, "listening": chain})
    >>> round(float(ultrasonic_v_rms(nominal(stage))[0]), 6)
    0.317708
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
    """The stated oscillation's power in a loudspeaker.

    Parameters
    ----------
    circuit : Circuit
        Any circuit.

    Returns
    -------
    array [draws], W, or None
        None where `ultrasonic_v_rms` is, or without a speaker_impedance.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> ultrasonic_w(nominal(load_stage("line-stage"))) is None
    True
    """
    volts = ultrasonic_v_rms(circuit)
    if volts is None or circuit.chain is None or circuit.chain.speaker_ohm is None:
        return None
    return np.asarray(volts**2 / circuit.chain.speaker_ohm[:, 0])
