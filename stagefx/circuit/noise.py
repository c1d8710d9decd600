"""The noise of a stage at its load: every contributor through its own gain.

White parts count from 0 Hz to a brick wall at 20 kHz, 1/f parts from 20 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.ladder import BOLTZMANN_J_PER_K, laplace, solve
from stagefx.circuit.network.placement import leg_parts, load_parts, output_parts
from stagefx.circuit.response import Response
from stagefx.circuit.supply.psrr import regulator_noise_density, ripple_at_load_v_rms, ripple_lines

AUDIO_BAND_HZ = 20_000.0
FLICKER_FROM_HZ = 20.0

Complex = NDArray[np.complex128]
Densities = dict[str, Array]
"""Noise at the load by contributor, V²/Hz, each of shape (draws, frequencies)."""


@dataclass(frozen=True)
class NoiseDensity:
    """Noise at the load, its white and 1/f parts apart."""

    white: Densities
    flicker: Densities


def noise_density(circuit: Circuit, hz: Array) -> NoiseDensity:
    """Noise density at the load, contributor by contributor.

    Thermal noise is 4 k T R for every real impedance (Nyquist, Physical Review 32, 1928,
    110-113); the device's noise voltage and the noise currents of both inputs see the loop's
    noise gain; both inputs have the stated noise current, not correlated.
    """
    response = Response(circuit, hz)
    white: Densities = {}
    flicker: Densities = {}
    to_load = np.abs(response.output) ** 2
    if response.amplifier is None:
        white.update(response.input.noise)
    else:
        gain = np.abs(response.amplifier.closed_loop_gain) ** 2 * to_load
        fed_back = {part.name for part in leg_parts(circuit)}  # counted with the feedback pair
        for name, psd in response.input.noise.items():
            if name not in fed_back:
                white[name] = psd * gain
        _add_device(white, flicker, circuit, response, to_load)
        white.update(_output_noise(circuit, response))
    return NoiseDensity(white, flicker)


def _add_device(
    white: Densities, flicker: Densities, circuit: Circuit, response: Response, to_load: Array
) -> None:
    amplifier, device = response.amplifier, circuit.device
    assert amplifier is not None
    around = np.abs(amplifier.from_device_input) ** 2 * to_load
    hz = np.asarray(response.hz)
    if device.voltage_noise_v_rthz is not None:
        white["voltage noise"] = device.voltage_noise_v_rthz**2 * around
        if device.voltage_noise_corner_hz is not None:
            corner = device.voltage_noise_corner_hz / hz
            flicker["voltage noise"] = white["voltage noise"] * corner
    path = _FeedbackPath(amplifier)
    seen = {"current noise, feedback": path.current_ohm}
    if amplifier.topology != "inverting":
        seen["current noise, input"] = response.input.impedance_ohm
    if device.current_noise_a_rthz is not None:
        for name, impedance in seen.items():
            white[name] = (device.current_noise_a_rthz * np.abs(impedance)) ** 2 * around
            if device.current_noise_corner_hz is not None:
                flicker[name] = white[name] * device.current_noise_corner_hz / hz
    regulators = regulator_noise_density(circuit)
    if regulators is not None:
        white["regulator noise"] = regulators * around
    if amplifier.feedback is not None:
        density = 4.0 * BOLTZMANN_J_PER_K * circuit.temperature_k
        white["feedback pair"] = density * path.thermal_ohm * around


@dataclass(frozen=True)
class _FeedbackPath:
    """What the feedback path's noise comes to as a voltage at the device's input.

    Its currents also load the output through the device's output resistance Ro: Ro/A, the small
    term in each.
    """

    amplifier: Amplifier

    @property
    def parallel_ohm(self) -> Complex:
        """What the inverting input sees, output and EMF taken as 0 V."""
        feedback = self.amplifier.feedback
        if feedback is None:
            return np.zeros_like(self.amplifier.ideal_gain)
        if self.amplifier.topology == "follower":
            return feedback
        assert self.amplifier.leg is not None
        return np.asarray(feedback * self.amplifier.leg / (feedback + self.amplifier.leg))

    @property
    def through_output_ohm(self) -> Complex:
        return np.asarray(self.amplifier.open_loop_inverse * self.amplifier.output_ohm)

    @property
    def current_ohm(self) -> Complex:
        """Volts for each ampere into the inverting input."""
        if self.amplifier.feedback is None:
            return self.parallel_ohm
        return self.parallel_ohm - self.through_output_ohm * self.amplifier.feedback_share

    @property
    def thermal_ohm(self) -> Array:
        """The resistance that would be as noisy as the feedback pair."""
        feedback_ohm, leg_ohm = (
            self.amplifier.circuit.feedback_ohm,
            self.amplifier.circuit.gain_leg_ohm,
        )
        assert feedback_ohm is not None
        from_output = 1.0 - self.amplifier.feedback_share
        current = np.abs(self.parallel_ohm + self.through_output_ohm * from_output) ** 2
        total = current / np.where(feedback_ohm > 0.0, feedback_ohm, np.inf)
        if leg_ohm is not None:
            volts = from_output - self.through_output_ohm * self.amplifier.feedback_load
            total = total + np.abs(volts) ** 2 * leg_ohm
        return np.asarray(total)


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


def noise_bands(circuit: Circuit) -> tuple[Array, Array]:
    """Noise at the load in third-octave bands."""
    middles, volts = noise_bands_by_draw(circuit)
    return middles, volts[0]


def noise_bands_by_draw(circuit: Circuit) -> tuple[Array, Array]:
    """Middles of third-octave bands [30], and noise at the load in them [draws, 30], V rms."""
    middles = 10.0 ** (np.arange(13, 43) / 10.0)
    nodes, weights = np.polynomial.legendre.leggauss(6)
    low, high = middles[:, None] * 10.0**-0.05, middles[:, None] * 10.0**0.05
    hz = (0.5 * (high - low) * nodes + 0.5 * (high + low)).ravel()
    density = noise_density(circuit, hz)
    total = sum(
        (*density.white.values(), *density.flicker.values()),
        start=np.zeros((circuit.draws, hz.size)),
    )
    by_band = total.reshape(circuit.draws, middles.size, -1)
    power = (by_band * (0.5 * (high - low) * weights)).sum(axis=2)
    ripple = ripple_at_load_v_rms(circuit)
    if ripple is not None:
        lines_hz, share = ripple_lines(circuit, AUDIO_BAND_HZ)
        within = (lines_hz >= low) & (lines_hz < high)
        power = power + ripple[:, None] ** 2 * (within * share).sum(axis=1)
    return middles, np.sqrt(power)
