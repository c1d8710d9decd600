"""The whole stage at given frequencies, from the source's EMF to the load."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.ladder import Thevenin, input_admittance, inverse, laplace, solve
from stagefx.circuit.network.placement import (
    input_parts,
    leg_parts,
    load_parts,
    output_parts,
    socket_parts,
    source_parts,
)

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Response:
    """What a circuit does at given frequencies."""

    circuit: Circuit
    hz: Array

    @cached_property
    def s(self) -> Complex:
        """The Laplace variable."""
        return laplace(self.hz)

    @cached_property
    def amplifier(self) -> Amplifier | None:
        """The amplifier, where there is one."""
        return None if self.circuit.stage.amplifier is None else Amplifier(self.circuit, self.s)

    @cached_property
    def input(self) -> Thevenin:
        """EMF to amplifier input; without an amplifier, EMF to load."""
        parts = input_parts(self.circuit)
        if self.amplifier is None:
            parts = [*parts, *output_parts(self.circuit), *load_parts(self.circuit)]
        return solve(parts, self.s, temperature_k=self.circuit.temperature_k)

    @cached_property
    def output(self) -> Complex:
        """Amplifier output to load; 1 without an amplifier."""
        if self.amplifier is None:
            return np.ones_like(self.input.transfer)
        parts = [*output_parts(self.circuit), *load_parts(self.circuit)]
        return solve(parts, self.s).transfer

    @cached_property
    def to_amplifier_output(self) -> Complex:
        """EMF to amplifier output, as loaded."""
        if self.amplifier is None:
            return self.input.transfer
        return np.asarray(self.input.transfer * self.amplifier.closed_loop_gain)

    @cached_property
    def to_load(self) -> Complex:
        """EMF to load."""
        return np.asarray(self.to_amplifier_output * self.output)

    @cached_property
    def at_input_socket(self) -> Complex:
        """EMF to the stage's input socket, as loaded."""
        source = solve(source_parts(self.circuit), self.s)
        shorted = np.isinf(self.input_admittance)
        kept = 1.0 + source.impedance_ohm * np.where(shorted, 0.0, self.input_admittance)
        return np.asarray(np.where(shorted, 0.0, source.transfer / kept))

    @cached_property
    def input_impedance_ohm(self) -> Complex:
        """Impedance at the stage's input socket, cable excluded; infinite where nothing loads."""
        return inverse(self.input_admittance)

    @cached_property
    def input_admittance(self) -> Complex:
        """Admittance at the stage's input socket, cable excluded, siemens."""
        parts, end = socket_parts(self.circuit), None
        if self.amplifier is None:
            parts = [*parts, *output_parts(self.circuit), *load_parts(self.circuit)]
        elif leg := leg_parts(self.circuit):
            # a real device does not hold its inverting input quite at 0 V
            parts, end = [*parts, *leg], self.amplifier.virtual_ground_ohm
        return input_admittance(parts, self.s, ended_by_ohm=end)

    @cached_property
    def unloaded(self) -> Complex:
        """EMF to the stage's output socket with its cable and load taken off."""
        bare = replace(self.circuit, output_cable_f=None, load_ohm=None, load_f=None)
        return Response(bare, self.hz).to_load

    @cached_property
    def output_impedance_ohm(self) -> Complex:
        """Impedance at the stage's output socket, cable excluded."""
        parts = output_parts(self.circuit)
        if self.amplifier is None:
            before = [*source_parts(self.circuit), *socket_parts(self.circuit)]
            return solve([*before, *parts], self.s).impedance_ohm
        driven = solve(parts, self.s, driven_from_ohm=self.amplifier.output_impedance_ohm)
        return driven.impedance_ohm
