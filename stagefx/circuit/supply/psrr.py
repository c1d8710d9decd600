"""What of the supply's ripple and noise passes the rejections and reaches the load.

Both are referred to the device's input by its supply rejection and come out with its noise gain.
The stated rejections are those at low frequencies; a real device's falls with frequency and
differs between its rails, so regulator noise at treble frequencies is understated.
"""

from __future__ import annotations

import numpy as np

from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.ladder import laplace, solve
from stagefx.circuit.network.placement import load_parts, output_parts
from stagefx.circuit.supply.reservoirs import rails, ripple_hz, ripple_v_pp

SAWTOOTH_PP_PER_RMS = np.sqrt(12.0)
REGULATOR_NOISE_BAND_HZ = 20_000.0
"""Band over which a regulator's noise is stated; taken as white within it."""


def regulator_noise_density(circuit: Circuit) -> Array | None:
    """Regulators' noise as it appears between the device's inputs."""
    supply, rejection_db = circuit.supply, circuit.device.supply_rejection_db
    if supply is None or supply.regulator_noise_v_rms is None or rejection_db is None:
        return None
    power = supply.regulator_noise_v_rms**2 / REGULATOR_NOISE_BAND_HZ
    return np.asarray(rails(circuit) * power * 10.0 ** (-rejection_db / 10.0))


def ripple_at_load_v_rms(circuit: Circuit) -> Array | None:
    """Ripple of the supply at the load, as a sawtooth.

    All harmonics are passed as the ripple's own frequency is.
    """
    supply, device = circuit.supply, circuit.device
    if circuit.stage.amplifier is None or supply is None or device.supply_rejection_db is None:
        return None
    needed = (supply.reservoir_f, supply.load_current_a, supply.mains_frequency_hz)
    if any(value is None for value in needed):
        return None
    rejected_db = device.supply_rejection_db[:, 0]
    if supply.regulator_rejection_db is not None:
        rejected_db = rejected_db + supply.regulator_rejection_db[:, 0]
    s = laplace(ripple_hz(circuit)[:, None])
    network = solve([*output_parts(circuit), *load_parts(circuit)], s).transfer
    around = np.abs(Amplifier(circuit, s).from_device_input * network)[:, 0]
    rms = ripple_v_pp(circuit) / SAWTOOTH_PP_PER_RMS
    return np.asarray(rms * 10.0 ** (-rejected_db / 20.0) * around)


def ripple_lines(circuit: Circuit, up_to_hz: float) -> tuple[Array, Array]:
    """The spectral lines of the supply's ripple."""
    stated = circuit.stage.supply
    assert stated is not None
    assert stated.mains_frequency is not None
    first = stated.mains_frequency.value * (2.0 if stated.rectifier == "full" else 1.0)
    order = np.arange(1, int(up_to_hz / first) + 1)
    return np.asarray(first * order), np.asarray(6.0 / (np.pi * order) ** 2)
