"""Which parts stand where: the input and output ladders of a circuit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.ladder import Part

Complex = NDArray[np.complex128]
CONTROL = "volume control"
"""What the control's two parts are called."""


def _resistor(name: str, value: Array | None, *, across: bool) -> list[Part]:
    return [] if value is None else [Part(name, "resistor", value, across=across)]


def _capacitor(name: str, value: Array | None, *, across: bool) -> list[Part]:
    return [] if value is None else [Part(name, "capacitor", value, across=across)]


def _control(circuit: Circuit, place: str) -> list[Part]:
    volume = circuit.stage.volume
    if volume is None or volume.place != place:
        return []
    assert circuit.volume_ohm is not None
    assert circuit.volume_ratio is not None
    whole, ratio = circuit.volume_ohm, circuit.volume_ratio
    return [
        Part(CONTROL, "resistor", whole * (1.0 - ratio), across=False),
        Part(CONTROL, "resistor", whole * ratio, across=True),
    ]


def source_parts(circuit: Circuit) -> list[Part]:
    """From the EMF to the stage's input socket, cable included."""
    return [
        *_resistor("source resistance", circuit.source_ohm, across=False),
        *_capacitor("source coupling", circuit.source_coupling_f, across=False),
        *_capacitor("input cable", circuit.input_cable_f, across=True),
    ]


def socket_parts(circuit: Circuit) -> list[Part]:
    """From the stage's input socket to the amplifier's input."""
    return [
        *_control(circuit, "before"),
        *_capacitor("input coupling", circuit.input_coupling_f, across=False),
        *_resistor("input series resistance", circuit.input_series_ohm, across=False),
        *_capacitor("input shunt capacitance", circuit.input_shunt_f, across=True),
        *_resistor("input resistance", circuit.input_ohm, across=True),
        *_capacitor("input capacitance", circuit.input_f, across=True),
    ]


def input_parts(circuit: Circuit) -> list[Part]:
    """From the EMF to the amplifier's input; of an inverting one, to its gain resistance."""
    return [*source_parts(circuit), *socket_parts(circuit), *_virtual_ground(circuit)]


def _virtual_ground(circuit: Circuit) -> list[Part]:
    """An inverting amplifier's gain leg, which ends at 0 V: the input's last load."""
    return [replace(part, across=part.kind == "resistor") for part in leg_parts(circuit)]


def leg_parts(circuit: Circuit) -> list[Part]:
    """From the input network to the inverting input of an inverting amplifier."""
    amplifier = circuit.stage.amplifier
    if amplifier is None or amplifier.topology != "inverting":
        return []
    return [
        *_capacitor("gain leg capacitor", circuit.gain_leg_f, across=False),
        *_resistor("gain resistance", circuit.gain_leg_ohm, across=False),
    ]


def output_parts(circuit: Circuit) -> list[Part]:
    """From the amplifier to the stage's output socket."""
    return [
        *_resistor("output resistance", circuit.output_ohm, across=False),
        *_capacitor("output coupling", circuit.output_coupling_f, across=False),
        *_control(circuit, "after"),
    ]


def load_parts(circuit: Circuit) -> list[Part]:
    """What hangs on the output socket: the cable and the load."""
    return [
        *_capacitor("output cable", circuit.output_cable_f, across=True),
        *_resistor("load", circuit.load_ohm, across=True),
        *_capacitor("load capacitance", circuit.load_f, across=True),
    ]
