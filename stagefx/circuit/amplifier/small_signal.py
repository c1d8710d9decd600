"""The amplifier's small-signal behaviour: ideal gain, loop, closed loop and output impedance.

The open loop is A(s) = A0 / ((1 + s A0/w_t)(1 + s/w_2)) behind the device's output resistance;
the feedback parts and the load are solved with it exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.ladder import Thevenin, input_admittance, solve
from stagefx.circuit.network.placement import load_parts, output_parts, socket_parts, source_parts

Complex = NDArray[np.complex128]
_KILOHERTZ = np.array([1000.0])


@dataclass(frozen=True)
class Amplifier:
    """A circuit's amplifier at given frequencies.

    Solved at the output node with the device's output resistance Ro, the load admittance Y_L and
    the feedback path; with k = 1/(1 + Ro (Y_L + Y_fb)) and feedback share beta, the loop gain is
    T = A beta k (textbook feedback theory; R. D. Middlebrook's loop gain at the device's output).
    """

    circuit: Circuit
    s: Complex

    @property
    def topology(self) -> str:
        """``"non-inverting"``, ``"inverting"`` or ``"follower"``."""
        amplifier = self.circuit.stage.amplifier
        assert amplifier is not None
        return amplifier.topology

    @cached_property
    def feedback(self) -> Complex | None:
        """Impedance from output to inverting input, ohm; None where only a gain is stated."""
        resistance = self.circuit.feedback_ohm
        if resistance is None:
            return None
        capacitance = self.circuit.feedback_f
        if capacitance is None:
            return np.asarray(resistance + 0.0 * self.s)
        return np.asarray(resistance / (1.0 + self.s * resistance * capacitance))

    @cached_property
    def leg(self) -> Complex | None:
        """Impedance from inverting input to 0 V (of an inverting one, to the EMF), ohm."""
        if self.circuit.gain_leg_ohm is None:
            return None
        leg = self.circuit.gain_leg_ohm + 0.0 * self.s
        if self.circuit.gain_leg_f is not None:
            leg = leg + 1.0 / (self.s * self.circuit.gain_leg_f)
        if self.topology == "inverting":
            leg = leg + self.driving.impedance_ohm
        return np.asarray(leg)

    @cached_property
    def driving(self) -> Thevenin:
        """The input network, the gain leg of an inverting amplifier left off."""
        return solve([*source_parts(self.circuit), *socket_parts(self.circuit)], self.s)

    @cached_property
    def ideal_gain(self) -> Complex:
        """Output over amplifier input with an infinitely fast device; negative if inverting.

        For an inverting amplifier the input is the voltage across the gain resistance.
        """
        shape = np.broadcast_shapes((self.circuit.draws, 1), self.s.shape)
        flat: Complex = np.ones(shape, dtype=np.complex128)
        inverting = self.topology == "inverting"
        if self.topology == "follower":
            return flat
        if self.circuit.gain is not None:
            return np.asarray(flat * self.circuit.gain * (-1.0 if inverting else 1.0))
        assert self.feedback is not None
        assert self.leg is not None
        if inverting:
            assert self.circuit.gain_leg_ohm is not None
            return np.asarray(-self.feedback / self.circuit.gain_leg_ohm * flat)
        return np.asarray(1.0 + self.feedback / self.leg)

    @cached_property
    def feedback_share(self) -> Complex:
        """Share of the output voltage that reaches the inverting input (beta)."""
        if self.topology == "follower":
            return np.ones_like(self.ideal_gain)
        if self.circuit.gain is not None:
            return np.asarray(1.0 / self.noise_gain + 0.0 * self.ideal_gain)
        assert self.feedback is not None
        assert self.leg is not None
        return np.asarray(self.leg / (self.leg + self.feedback))

    @cached_property
    def noise_gain(self) -> Array:
        """Gain from the inputs to the output above the gain leg's corner, shape (draws, 1)."""
        ones: Array = np.ones((self.circuit.draws, 1))
        if self.topology == "follower":
            return ones
        if self.circuit.gain is not None:
            return self.circuit.gain + (1.0 if self.topology == "inverting" else 0.0) * ones
        assert self.circuit.feedback_ohm is not None
        assert self.circuit.gain_leg_ohm is not None
        return 1.0 + self.circuit.feedback_ohm / self.circuit.gain_leg_ohm

    @cached_property
    def open_loop_inverse(self) -> Complex:
        """1/A of the device; 0 where it is ideal."""
        device = self.circuit.device
        direct: Array | float = (
            0.0 if device.open_loop_gain is None else 1.0 / device.open_loop_gain
        )
        inverse = direct + 0.0 * self.s
        if device.gain_bandwidth_hz is not None:
            inverse = inverse + self.s / (2.0 * np.pi * device.gain_bandwidth_hz)
        if device.second_pole_hz is not None:
            inverse = inverse * (1.0 + self.s / (2.0 * np.pi * device.second_pole_hz))
        return np.asarray(inverse)

    @cached_property
    def output_ohm(self) -> Array | float:
        """The device's own output resistance, ohm, shape (draws, 1)."""
        resistance = self.circuit.device.open_loop_output_ohm
        return 0.0 if resistance is None else resistance

    @cached_property
    def feedback_load(self) -> Complex | float:
        """Admittance of the feedback path as a load on the output, siemens."""
        if self.topology == "follower" or self.feedback is None:
            return 0.0
        assert self.leg is not None
        return np.asarray(1.0 / (self.feedback + self.leg))

    @cached_property
    def load_admittance(self) -> Complex:
        """Admittance of all that hangs on the amplifier's output, siemens."""
        return input_admittance([*output_parts(self.circuit), *load_parts(self.circuit)], self.s)

    @cached_property
    def divided(self) -> Complex:
        """1/k: what the device's output resistance loses into load and feedback path."""
        return np.asarray(1.0 + self.output_ohm * (self.load_admittance + self.feedback_load))

    @cached_property
    def loop_gain(self) -> Complex:
        """T = A beta k; infinite where the device is ideal."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(self.feedback_share / (self.open_loop_inverse * self.divided))

    @cached_property
    def correction(self) -> Complex:
        """Closed-loop gain over ideal gain: T/(1 + T), with the feedforward of an inverting one."""
        forward = self.feedback_share
        if self.topology == "inverting" and self.feedback is not None:
            forward = forward * (1.0 - self.open_loop_inverse * self.output_ohm / self.feedback)
        return np.asarray(forward * self.from_device_input)

    @cached_property
    def from_device_input(self) -> Complex:
        """Output over a voltage between the device's inputs, 1/(beta + 1/(A k))."""
        return np.asarray(1.0 / (self.feedback_share + self.open_loop_inverse * self.divided))

    @cached_property
    def closed_loop_gain(self) -> Complex:
        """Output over amplifier input, as loaded."""
        return np.asarray(self.ideal_gain * self.correction)

    @cached_property
    def virtual_ground_ohm(self) -> Complex:
        """Impedance at the inverting input, the gain leg left off; 0 with an ideal device."""
        assert self.feedback is not None
        loaded = 1.0 + self.output_ohm * self.load_admittance
        reach = self.feedback * loaded + self.output_ohm
        return np.asarray(self.open_loop_inverse * reach / (1.0 + self.open_loop_inverse * loaded))

    @cached_property
    def output_impedance_ohm(self) -> Complex:
        """Impedance of the closed loop at the amplifier's output, without output parts and load."""
        lost = self.open_loop_inverse * (1.0 + self.output_ohm * self.feedback_load)
        return np.asarray(self.output_ohm * self.open_loop_inverse / (self.feedback_share + lost))


def time_constant_s(circuit: Circuit) -> Array | None:
    """The closed loop's small-signal time constant tau = N/w_t."""
    if circuit.stage.amplifier is None or circuit.device.gain_bandwidth_hz is None:
        return None
    noise_gain = Amplifier(circuit, 2j * np.pi * _KILOHERTZ).noise_gain
    return np.asarray(noise_gain / (2.0 * np.pi * circuit.device.gain_bandwidth_hz))
