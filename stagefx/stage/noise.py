"""The noise of a stage at its load: every contributor through its own gain.

White parts count from 0 Hz to a brick wall at 20 kHz, 1/f parts from 20 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.stage.amplifier import Amplifier
from stagefx.stage.circuit import Array, Circuit
from stagefx.stage.ladder import BOLTZMANN_J_PER_K, laplace, solve
from stagefx.stage.network import load_parts, output_parts
from stagefx.stage.response import Response

AUDIO_BAND_HZ = 20_000.0
FLICKER_FROM_HZ = 20.0

Densities = dict[str, Array]
"""Noise at the load by contributor, V²/Hz, each of shape (draws, frequencies)."""


@dataclass(frozen=True)
class NoiseDensity:
    """Noise at the load, its white and 1/f parts apart.

    Parameters
    ----------
    white : dict of str to array [draws, frequencies], V²/Hz
        Counts from 0 Hz.
    flicker : dict of str to array [draws, frequencies], V²/Hz
        Counts from 20 Hz.
    """

    white: Densities
    flicker: Densities


def noise_density(circuit: Circuit, hz: Array) -> NoiseDensity:
    """Noise density at the load, contributor by contributor.

    Parameters
    ----------
    circuit : Circuit
        Any circuit.
    hz : array [frequencies], Hz, > 0
        Where to look.

    Returns
    -------
    NoiseDensity
        V²/Hz at the load.

    Notes
    -----
    Thermal noise is 4 k T R for every real impedance (Nyquist, Physical Review 32, 1928,
    110-113); the device's noise voltage and the noise currents of both inputs see the loop's
    noise gain; both inputs have the stated noise current, not correlated.

    Examples
    --------
    >>> from stagefx.stage import nominal, stage_from
    >>> stage = stage_from({"source": {"resistance": "1 kohm"}})
    >>> density = noise_density(nominal(stage), np.array([1e3])).white["source resistance"]
    >>> round(float(np.sqrt(density[0, 0])) * 1e9, 4)
    4.0578
    """
    response = Response(circuit, hz)
    white: Densities = {}
    flicker: Densities = {}
    to_load = np.abs(response.output) ** 2
    if response.amplifier is None:
        white.update(response.input.noise)
    else:
        gain = np.abs(response.amplifier.closed_loop_gain) ** 2 * to_load
        white.update({name: psd * gain for name, psd in response.input.noise.items()})
        _add_device(white, flicker, circuit, response, to_load)
        white.update(_output_noise(circuit, response))
    return NoiseDensity(white, flicker)


def _add_device(
    white: Densities, flicker: Densities, circuit: Circuit, response: Response, to_load: Array
) -> None:
    amplifier, device = response.amplifier, circuit.device
    assert amplifier is not None
    around = np.abs(amplifier.correction / amplifier.feedback_share) ** 2 * to_load
    hz = np.asarray(response.hz)
    if device.voltage_noise_v_rthz is not None:
        white["voltage noise"] = device.voltage_noise_v_rthz**2 * around
        if device.voltage_noise_corner_hz is not None:
            corner = device.voltage_noise_corner_hz / hz
            flicker["voltage noise"] = white["voltage noise"] * corner
    impedances = {"current noise, feedback": _feedback_impedance(amplifier)}
    if amplifier.topology != "inverting":
        impedances["current noise, input"] = response.input.impedance_ohm
    if device.current_noise_a_rthz is not None:
        for name, impedance in impedances.items():
            white[name] = (device.current_noise_a_rthz * np.abs(impedance)) ** 2 * around
            if device.current_noise_corner_hz is not None:
                flicker[name] = white[name] * device.current_noise_corner_hz / hz
    density = 4.0 * BOLTZMANN_J_PER_K * circuit.temperature_k
    if amplifier.feedback is not None and amplifier.topology != "follower":
        thermal = _feedback_thermal(amplifier)
        white["feedback pair"] = density * thermal * around


def _feedback_impedance(amplifier: Amplifier) -> NDArray[np.complex128]:
    """What the inverting input sees, output and EMF taken as 0 V."""
    if amplifier.feedback is None:
        return np.zeros_like(amplifier.ideal_gain)
    if amplifier.topology == "follower":
        return amplifier.feedback
    assert amplifier.leg is not None
    return np.asarray(amplifier.feedback * amplifier.leg / (amplifier.feedback + amplifier.leg))


def _feedback_thermal(amplifier: Amplifier) -> Array:
    """Real part of the feedback path's impedance, ohm; an inverting leg's source left out.

    The source network of an inverting amplifier has its own rows; counting it here again would
    double it.
    """
    assert amplifier.leg is not None
    assert amplifier.feedback is not None
    whole = _feedback_impedance(amplifier)
    if amplifier.topology != "inverting":
        return np.asarray(whole.real)
    into_leg = np.abs(amplifier.feedback / (amplifier.feedback + amplifier.leg)) ** 2
    return np.asarray(whole.real - into_leg * amplifier.driving.impedance_ohm.real)


def _output_noise(circuit: Circuit, response: Response) -> Densities:
    """Thermal noise of the output parts, the amplifier's own output being quiet."""
    assert response.amplifier is not None
    parts = [*output_parts(circuit), *load_parts(circuit)]
    driven = solve(
        parts,
        laplace(response.hz),
        temperature_k=circuit.temperature_k,
        driven_from_ohm=response.amplifier.output_impedance_ohm,
    )
    return driven.noise


@dataclass(frozen=True)
class NoiseBudget:
    """Noise voltages at the load, contributor by contributor.

    Parameters
    ----------
    contributors : dict of str to array [draws], V rms
        Each one alone.
    total : array [draws], V rms
        Root of the sum of their squares.
    """

    contributors: dict[str, Array]
    total: Array


_EDGES_HZ = (
    0.0, 0.02, 0.1, 0.5, 2.0, 8.0, 20.0, 60.0, 200.0, 600.0, 2e3, 5e3, 1e4, 1.5e4, AUDIO_BAND_HZ,
)  # fmt: skip


def _quadrature(edges: tuple[float, ...], order: int = 12) -> tuple[Array, Array]:
    """Frequencies and weights of Gauss-Legendre integration, panel by panel."""
    nodes, weights = np.polynomial.legendre.leggauss(order)
    low, high = np.array(edges[:-1])[:, None], np.array(edges[1:])[:, None]
    hz = 0.5 * (high - low) * nodes + 0.5 * (high + low)
    return hz.ravel(), np.ravel(0.5 * (high - low) * weights)


def noise_budget(circuit: Circuit, *, weighting: Array | None = None) -> NoiseBudget:
    """Noise at the load over the audio band, contributor by contributor.

    Parameters
    ----------
    circuit : Circuit
        Any circuit.
    weighting : array [frequencies of `noise_frequencies`]
        Power weighting, 1 where left out.

    Returns
    -------
    NoiseBudget
        V rms over 20 kHz.

    Examples
    --------
    >>> from stagefx.stage import nominal, stage_from
    >>> budget = noise_budget(nominal(stage_from({"source": {"resistance": "10 kohm"}})))
    >>> round(float(budget.total[0]) * 1e6, 6)
    1.814697
    """
    hz, weights = _quadrature(_EDGES_HZ)
    density = noise_density(circuit, hz)
    power = weights if weighting is None else weights * weighting
    parts: dict[str, Array] = {name: psd @ power for name, psd in density.white.items()}
    audible = np.where(hz >= FLICKER_FROM_HZ, power, 0.0)
    for name, psd in density.flicker.items():
        parts[name] = parts[name] + psd @ audible
    none = np.zeros(circuit.draws)
    total = np.sqrt(sum(parts.values(), start=none))
    return NoiseBudget({name: np.sqrt(p) for name, p in parts.items()}, total)


def noise_frequencies() -> Array:
    """The frequencies at which `noise_budget` weighs the noise.

    Returns
    -------
    array [frequencies], Hz
        Nodes of the integration over 0 Hz to 20 kHz.

    Examples
    --------
    >>> round(float(noise_frequencies().max()))
    19954
    """
    return _quadrature(_EDGES_HZ)[0]


def noise_bands(circuit: Circuit) -> tuple[Array, Array]:
    """Noise at the load in third-octave bands.

    Parameters
    ----------
    circuit : Circuit
        Any circuit; its first draw is used.

    Returns
    -------
    band_hz : array [30], Hz
        Exact base-ten mid-band frequencies from 20 Hz to 16 kHz (IEC 61260-1).
    v_rms : array [30], V rms
        Noise within each band.

    Examples
    --------
    >>> from stagefx.stage import nominal, stage_from
    >>> hz, volts = noise_bands(nominal(stage_from({"source": {"resistance": "10 kohm"}})))
    >>> round(float(hz[0]), 3), round(float(volts[17]) * 1e9, 1)
    (19.953, 194.9)
    """
    middles = 10.0 ** (np.arange(13, 43) / 10.0)
    nodes, weights = np.polynomial.legendre.leggauss(6)
    low, high = middles[:, None] * 10.0**-0.05, middles[:, None] * 10.0**0.05
    hz = (0.5 * (high - low) * nodes + 0.5 * (high + low)).ravel()
    density = noise_density(circuit, hz)
    total = sum(
        (psd[0] for psd in (*density.white.values(), *density.flicker.values())),
        start=np.zeros(hz.size),
    )
    power = (total.reshape(middles.size, -1) * (0.5 * (high - low) * weights)).sum(axis=1)
    return middles, np.sqrt(power)
